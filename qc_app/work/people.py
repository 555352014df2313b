"""Adding people and changing their roles. Passwords are kept only as argon2id hashes."""

import re
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from qc_app.records.building import Building
from qc_app.records.event import append_event
from qc_app.records.shop import Person, Plant, SignIn
from qc_app.refusal import Refusal, shortened
from qc_app.work.roles import LAST_ONE_STAYS, OF_ONE_BUILDING, Act, Role, require

if TYPE_CHECKING:
    from argon2 import PasswordHasher

HASHING_COST = (3, 65_536, 4)
"""Passes, KiB and lanes of argon2id: above the floor of OWASP ASVS 5.0, appendix C."""

SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 128
_SIGN_IN_NAME = re.compile(r"[a-z0-9][a-z0-9._-]{1,59}")


@lru_cache(maxsize=1)
def password_hasher() -> "PasswordHasher":
    """Hashes passwords with argon2id at the stated cost."""
    from argon2 import PasswordHasher

    passes, kibibytes, lanes = HASHING_COST
    return PasswordHasher(time_cost=passes, memory_cost=kibibytes, parallelism=lanes)


def add_person(
    session: Session,
    by: Person,
    name: str,
    sign_in_name: str,
    role: str,
    password: str,
    now: datetime,
    building: Building | None = None,
) -> Person:
    """Adds somebody to the plant of ``by``; a customer or site crew lead to one ``building``.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, or a name, the role, the building or the password cannot be taken.
    """
    require(by, Act.KEEP_SHOP)
    person = enrol(session, by.plant, name, sign_in_name, role, password, building)
    facts = {"name": person.name, "sign_in_name": person.sign_in_name, "role": role} | _named(building)
    append_event(session, by.plant, "person added", facts, at=now, person=by)
    return person


def change_person(
    session: Session,
    by: Person,
    person: Person,
    role: str,
    building: Building | None,
    active: bool,
    now: datetime,
) -> None:
    """Gives somebody another role or building, shuts them out or lets them in again; ends their sign-ins.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, it is about themselves or somebody of another plant, the role does not fit the
        building, or it would take the plant's last quality manager or administrator away.
    """
    require(by, Act.KEEP_SHOP)
    if by.plant_id != person.plant_id:
        raise Refusal("{name} belongs to another plant.", name=person.name)
    if by.id == person.id:
        raise Refusal("Somebody else must change your own role.", about="role")
    building = _building_for(role, building, person.plant)
    number = building.id if building else None
    if (person.role, person.building_id, person.active) == (role, number, active):
        return
    if person.active and not (active and role == person.role):
        _refuse_last(session, person)
    facts = {
        "name": person.name,
        "sign_in_name": person.sign_in_name,
        "from": _said(person.role, person.active),
        "to": _said(role, active),
        "role": role,
    }
    person.role, person.building_id, person.active = role, number, active
    _end_sign_ins(session, person, now)
    append_event(session, by.plant, "role changed", facts | _named(building), at=now, person=by)


def _refuse_last(session: Session, person: Person) -> None:
    """Raises Refusal if nobody else in the plant has a role that it must not be without."""
    others = select(Person.id).where(
        Person.plant_id == person.plant_id,
        Person.role == person.role,
        Person.active,
        Person.id != person.id,
    )
    if person.role in LAST_ONE_STAYS and session.scalar(others.limit(1)) is None:
        raise Refusal(
            "{name} is the last one here with this role. Give it to somebody else first.",
            about="role",
            name=person.name,
        )


def _end_sign_ins(session: Session, person: Person, now: datetime) -> None:
    """Whoever is signed in under an old role signs in again under the new one.

    That they stood at a tablet stays: entries made there before are theirs, if their new role records.
    """
    session.execute(
        update(SignIn).where(SignIn.person_id == person.id, SignIn.ended_at.is_(None)).values(ended_at=now)
    )


def _said(role: str, active: bool) -> str:
    return role if active else "shut out"


def _named(building: Building | None) -> dict[str, str]:
    return {"building": building.code} if building else {}


def _building_for(role: str, building: Building | None, plant: Plant) -> Building | None:
    """The building that the role sees, None where it sees the plant.

    Raises
    ------
    Refusal
        If there is no such role, or it needs a building of the plant and none is given.
    """
    if role not in tuple(Role):
        raise Refusal(
            "A role is one of {roles}. Given: “{given}”.", roles=", ".join(Role), given=shortened(role)
        )
    if role not in OF_ONE_BUILDING:
        return None
    if building is None or building.plant_id != plant.id:
        raise Refusal("Choose the building that this person sees.", about="building")
    return building


def enrol(
    session: Session,
    plant: Plant,
    name: str,
    sign_in_name: str,
    role: str,
    password: str,
    building: Building | None = None,
) -> Person:
    """The row for a new person, after checking every part of it."""
    if not name.strip() or len(name) > 120:
        raise Refusal(
            "A name needs 1 to 120 characters. Given: “{given}”.", about="name", given=shortened(name)
        )
    sign_in = sign_in_name.strip().lower()
    if not _SIGN_IN_NAME.fullmatch(sign_in):
        raise Refusal(
            "A sign-in name has 2 to 60 letters, digits, dots or dashes. Given: “{given}”.",
            about="sign_in_name",
            given=shortened(sign_in_name),
        )
    seen = _building_for(role, building, plant)
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise Refusal(
            "A password needs {shortest} to {longest} characters.",
            about="password",
            shortest=SHORTEST_PASSWORD,
            longest=LONGEST_PASSWORD,
        )
    if session.scalar(select(Person.id).where(Person.sign_in_name == sign_in)):
        raise Refusal("The sign-in name “{given}” is taken.", about="sign_in_name", given=sign_in)
    person = Person(
        plant_id=plant.id,
        name=name.strip(),
        sign_in_name=sign_in,
        role=role,
        password_hash=password_hasher().hash(password),
        active=True,
        building_id=seen.id if seen else None,
    )
    session.add(person)
    session.flush()
    return person
