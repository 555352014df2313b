"""Whose an entry is: the tablet says so, and the person proved with a PIN to have been there."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.records.shop import Person
from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal
from qc_app.work.find import Visitor
from qc_app.work.outbox.batch import Batch, Entry
from qc_app.work.pins import was_here
from qc_app.work.record import NotYet
from qc_app.work.roles import Act, may


class NobodysEntry(Refusal):
    """An entry whose person is not of this plant; it cannot be stored under anybody's name."""


class NotSignedIn(NotYet):
    """The person must sign in first; then the entry goes by itself."""


@dataclass(frozen=True)
class Sender:
    """Where a batch comes from: a tablet, or somebody signed in by password.

    ``vouched`` says that somebody who may import outboxes stands for who wrote it.
    """

    plant_id: int
    tablet_id: int | None
    person_id: int | None
    vouched: bool = False

    @classmethod
    def of(cls, visitor: Visitor, *, vouched: bool = False) -> "Sender":
        is_tablet = isinstance(visitor, Tablet)
        return cls(
            visitor.plant_id, visitor.id if is_tablet else None, None if is_tablet else visitor.id, vouched
        )

    def tablet(self, session: Session) -> Tablet | None:
        """The tablet, in a session."""
        return session.get_one(Tablet, self.tablet_id) if self.tablet_id is not None else None


def author(session: Session, sender: Sender, person_id: int, now: datetime) -> Person:
    """The person an entry names, once it is proven to be theirs.

    Raises
    ------
    NobodysEntry
        If the plant has no such person.
    NotSignedIn
        If the person has yet to sign in, or may not record at present.
    """
    person = session.get(Person, person_id)
    if person is None or person.plant_id != sender.plant_id:
        raise NobodysEntry(phrase("This plant has nobody with the number {given}."), given=person_id)
    if not may(person, Act.RECORD):
        raise NotSignedIn(
            phrase("{name} may not record any more. Ask the quality manager."), name=person.name
        )
    _refuse_unproven(session, sender, person, now)
    return person


def languages(session: Session, sender: Sender, batch: Batch) -> dict[UUID, str]:
    """The language of whoever made each entry, where they chose one."""
    entries = [entry for entry in batch.entries if isinstance(entry, Entry)]
    rows = session.execute(
        select(Person.id, Person.language).where(
            Person.plant_id == sender.plant_id,
            Person.id.in_({entry.person for entry in entries}),
            Person.language.is_not(None),
        )
    )
    spoken = {person_id: str(language) for person_id, language in rows}
    return {entry.uuid: spoken[entry.person] for entry in entries if entry.person in spoken}


def _refuse_unproven(session: Session, sender: Sender, person: Person, now: datetime) -> None:
    tablet = sender.tablet(session)
    if sender.vouched:
        return
    if tablet is None and sender.person_id != person.id:
        raise NotSignedIn(phrase("{name} must sign in to send these."), name=person.name)
    if tablet is not None and not was_here(session, tablet.id, person.id, now):
        raise NotSignedIn(
            phrase("{name} has not signed in on this tablet. Sign in with the PIN, and this is sent."),
            name=person.name,
        )
