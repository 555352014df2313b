"""Taking a batch: each entry in a transaction of its own, so that a bad one never holds up the others."""

import logging
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.records.database import Database
from qc_app.records.tablet import OutboxEntry
from qc_app.refusal import Refusal, shortened
from qc_app.work.find import Visitor
from qc_app.work.outbox.answer import Answer, Reason, State, from_store
from qc_app.work.outbox.author import NobodysEntry, Sender, author
from qc_app.work.outbox.batch import Batch, Entry, Spoiled
from qc_app.work.outbox.forms import FORMS, Unrecordable
from qc_app.work.outbox.occasion import Occasion
from qc_app.work.outbox.sequence import highest, meet, missing, skew, watch_gaps
from qc_app.work.record import NotYet

log = logging.getLogger("qc_app")


class UsedBefore(Refusal):
    """The number of an entry was used before for another one."""


@dataclass(frozen=True)
class Taken:
    """The answers to a batch, and the lowest numbers that have not come."""

    answers: tuple[Answer, ...]
    missing: tuple[int, ...]


@dataclass(frozen=True)
class Arrival:
    """One batch on its way in."""

    database: Database
    sender: Sender
    batch: Batch
    now: datetime


def take(
    database: Database, visitor: Visitor, batch: Batch, now: datetime, *, vouched: bool = False
) -> Taken:
    """Stores what an outbox sent and answers each entry. The same entry again gets the same answer.

    ``vouched`` says that the batch comes from a file, for which somebody who may import it stands: its people
    need not have signed in, and it says nothing about the tablet as it is now.
    """
    arrival = Arrival(database, Sender.of(visitor, vouched=vouched), batch, now)
    with database.write() as session:
        before = highest(session, batch.outbox)
        tablet = arrival.sender.tablet(session)
        if tablet is not None and not vouched:
            meet(session, tablet, batch, now)
    entries = sorted(batch.entries, key=lambda entry: getattr(entry, "sequence", 0))
    answers = tuple(_answer(arrival, entry) for entry in entries)
    with database.write() as session:
        tablet = arrival.sender.tablet(session)
        if tablet is not None:
            came = {entry.sequence for entry in entries if isinstance(entry, Entry)}
            watch_gaps(session, tablet, batch.outbox, before, came, now)
        return Taken(answers, tuple(missing(session, batch.outbox, batch.written)))


def _answer(arrival: Arrival, entry: Entry | Spoiled) -> Answer:
    if isinstance(entry, Spoiled):
        return _refused(arrival, entry.uuid, (Reason.of(entry.reason),))
    try:
        return _take(arrival, entry)
    except Exception:
        log.exception("entry %s could not be taken", entry.uuid)
        unforeseen = NotYet(
            phrase("Something went wrong here. This stays on the tablet and is sent again by itself.")
        )
        return _later(arrival, entry, unforeseen)


def _take(arrival: Arrival, entry: Entry) -> Answer:
    try:
        with arrival.database.write() as session:
            return _same_again(session, arrival, entry) or _keep(session, arrival, entry)
    except NotYet as reason:
        return _later(arrival, entry, reason)
    except (UsedBefore, NobodysEntry) as refusal:
        return _refused(arrival, entry.uuid, (Reason.of(refusal),))
    except Unrecordable as unrecordable:
        answer = _refused(arrival, entry.uuid, unrecordable.reasons)
    except Refusal as refusal:
        answer = _refused(arrival, entry.uuid, (Reason.of(refusal),))
    with arrival.database.write() as session:
        _store(session, arrival, entry, answer)
    return answer


def _same_again(session: Session, arrival: Arrival, entry: Entry) -> Answer | None:
    """The answer given before, if this entry came before.

    Raises
    ------
    UsedBefore
        If another entry came under this number.
    """
    found = session.get(OutboxEntry, entry.uuid)
    if found is not None:
        sent = (arrival.sender.plant_id, entry.person, entry.form, entry.content)
        if (found.person.plant_id, found.person_id, found.form, found.content) != sent:
            raise UsedBefore(phrase("This entry is stored already, with other content. Enter it anew."))
        return from_store(found.uuid, found.kept, found.received_at, found.answer)
    taken = select(OutboxEntry.uuid).where(
        OutboxEntry.outbox == arrival.batch.outbox, OutboxEntry.sequence == entry.sequence
    )
    if session.scalar(taken) is not None:
        raise UsedBefore(
            phrase("Another entry came from this tablet as number {given}. Enter this one anew."),
            given=entry.sequence,
        )
    return None


def _keep(session: Session, arrival: Arrival, entry: Entry) -> Answer:
    """Does what the entry asks and stores it. Raises Refusal, NotYet or Unrecordable if that cannot be."""
    who = author(session, arrival.sender, entry.person, arrival.now)
    form = FORMS.get(entry.form)
    if form is None:
        raise Refusal(phrase("There is no form “{given}”."), given=shortened(entry.form))
    on = Occasion(who, arrival.sender.tablet(session), _corrected(arrival, entry), arrival.now, entry.uuid)
    taken = form(session, on, entry.content)
    answer = Answer(entry.uuid, State.KEPT, arrival.now, readings=taken.readings, remarks=taken.remarks)
    _store(session, arrival, entry, answer)
    return answer


def _corrected(arrival: Arrival, entry: Entry) -> datetime:
    """When the entry was made by our clock, and never after now."""
    return min(entry.entered_at - skew(arrival.batch, arrival.now), arrival.now)


def _store(session: Session, arrival: Arrival, entry: Entry, answer: Answer) -> None:
    session.add(
        OutboxEntry(
            uuid=entry.uuid,
            outbox=arrival.batch.outbox,
            sequence=entry.sequence,
            tablet_id=arrival.sender.tablet_id,
            person_id=entry.person,
            form=entry.form,
            content=entry.content,
            entered_at=entry.entered_at,
            received_at=arrival.now,
            kept=answer.state is State.KEPT,
            answer=answer.to_store(),
        )
    )


def _refused(arrival: Arrival, uuid: UUID, reasons: tuple[Reason, ...]) -> Answer:
    return Answer(uuid, State.REFUSED, arrival.now, reasons=reasons)


def _later(arrival: Arrival, entry: Entry, reason: Refusal) -> Answer:
    return Answer(entry.uuid, State.LATER, arrival.now, reasons=(Reason.of(reason),))
