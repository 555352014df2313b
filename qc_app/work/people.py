"""Adding people. Passwords are kept only as argon2id hashes."""

import re
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.event import append_event
from qc_app.records.shop import Person, Plant
from qc_app.refusal import Refusal, shortened
from qc_app.work.roles import Act, Role, require

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
    session: Session, by: Person, name: str, sign_in_name: str, role: str, password: str, now: datetime
) -> Person:
    """Adds somebody to the plant of ``by``.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, or a name, the role or the password cannot be taken.
    """
    require(by, Act.KEEP_SHOP)
    person = enrol(session, by.plant, name, sign_in_name, role, password)
    append_event(session, by.plant, "person added", {"name": person.name, "role": role}, at=now, person=by)
    return person


def enrol(session: Session, plant: Plant, name: str, sign_in_name: str, role: str, password: str) -> Person:
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
    if role not in tuple(Role):
        raise Refusal(
            "A role is one of {roles}. Given: “{given}”.", roles=", ".join(Role), given=shortened(role)
        )
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
    )
    session.add(person)
    session.flush()
    return person
