"""PINs: who stands at an enrolled tablet. A PIN says nothing anywhere else, and is kept only as its hash."""

import re
from datetime import datetime, timedelta
from itertools import pairwise

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.records.tablet import Tablet, TabletSignIn
from qc_app.refusal import Refusal
from qc_app.work.people import password_hasher
from qc_app.work.roles import Act, may, require
from qc_app.work.sign_in import (
    SignInRefused,
    Trial,
    forget_failures,
    hash_of_nobody,
    matches,
    note_failure,
    refuse_impatient,
)

HOLDS_FOR = timedelta(days=30)
"""How long somebody who signed in on a tablet may go on making entries there."""

FREE_ATTEMPTS_PER_TABLET = 10
_PIN = re.compile(r"[0-9]{4,8}", re.ASCII)


def set_pin(session: Session, by: Person, person: Person, pin: str, now: datetime) -> None:
    """Sets somebody's PIN; everybody may set their own.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, the person belongs to another plant or records nothing, or the PIN has not 4 to 8
        digits or is one that everybody tries first.
    """
    if by.id != person.id:
        require(by, Act.KEEP_SHOP)
    if by.plant_id != person.plant_id:
        raise Refusal("{name} belongs to another plant.", name=person.name)
    if not _PIN.fullmatch(pin):
        raise Refusal("A PIN has 4 to 8 digits and nothing else.", about="pin")
    if _is_trivial(pin):
        raise Refusal(
            "This PIN is too easy to guess: not the same digit throughout, and no digits in a row, "
            "up or down.",
            about="pin",
        )
    if not may(person, Act.RECORD):
        raise Refusal(
            "{name} needs no PIN: it is for those who record readings on tablets.",
            about="pin",
            name=person.name,
        )
    person.pin_hash = password_hasher().hash(pin)
    append_event(session, by.plant, "PIN set", {"person": person.name}, at=now, person=by)


def sign_in_by_pin(database: Database, tablet_id: int, person_id: int, pin: str, now: datetime) -> Person:
    """Notes that somebody proved with a PIN to be at a tablet.

    Raises
    ------
    SignInRefused
        If the PIN is not that person's, or it was tried too often for this person or on this tablet: after
        the first few wrong attempts each further one must wait twice as long as the one before, up to 15
        minutes, and nobody is ever locked out for good.
    """
    # No sign-in name holds a space, so these count apart from wrong passwords.
    trial = Trial(f"pin {person_id}", f"tablet {tablet_id}")
    with database.read() as session:
        refuse_impatient(session, trial, now, FREE_ATTEMPTS_PER_TABLET)
        person = _somebody_at(session, tablet_id, person_id)
        pin_hash = person.pin_hash if person else None
    # Outside any transaction: the check is slow on purpose.
    is_right = matches(pin_hash or hash_of_nobody(), pin) and pin_hash is not None
    with database.write() as session:
        found = _somebody_at(session, tablet_id, person_id)
        if is_right and found is not None:
            forget_failures(session, trial)
            note_sign_in(session, tablet_id, found.id, now)
            session.flush()
            session.expunge(found)
            return found
        note_failure(session, trial, now)
    raise SignInRefused("This PIN is not right. Check it and try again.", seconds=0)


def note_sign_in(session: Session, tablet_id: int, person_id: int, now: datetime) -> None:
    """Notes that somebody proved to be at a tablet."""
    session.add(TabletSignIn(tablet_id=tablet_id, person_id=person_id, at=now))


def was_here(session: Session, tablet_id: int, person_id: int, now: datetime) -> bool:
    """Whether somebody signed in on a tablet lately enough to make entries there."""
    query = select(TabletSignIn.id).where(
        TabletSignIn.tablet_id == tablet_id,
        TabletSignIn.person_id == person_id,
        TabletSignIn.at > now - HOLDS_FOR,
    )
    return session.scalar(query.limit(1)) is not None


def people_with_pin(session: Session, plant_id: int) -> list[Person]:
    """Who can sign in on the tablets of a plant, by name."""
    everybody = session.scalars(
        select(Person)
        .where(Person.plant_id == plant_id, Person.active, Person.pin_hash.is_not(None))
        .order_by(Person.name)
    )
    return [person for person in everybody if may(person, Act.RECORD)]


def _somebody_at(session: Session, tablet_id: int, person_id: int) -> Person | None:
    """The person, if of the tablet's plant and one who records, and if the tablet is still enrolled."""
    tablet, person = session.get(Tablet, tablet_id), session.get(Person, person_id)
    if tablet is None or tablet.revoked_at is not None or person is None or not may(person, Act.RECORD):
        return None
    return person if person.plant_id == tablet.plant_id else None


def _is_trivial(pin: str) -> bool:
    """All the same, or a run up or down, over the end as in 7890 too."""
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    return len(steps) == 1 and steps <= {0, 1, 9}
