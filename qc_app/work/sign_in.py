"""Signing in and out. A browser holds a random token; the database holds only its SHA-256."""

import hashlib
import secrets
from datetime import datetime, timedelta
from functools import lru_cache

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.shop import FailedSignIn, Person, SignIn
from qc_app.refusal import Refusal
from qc_app.work.people import password_hasher

IDLE_LIMIT = timedelta(hours=12)
LONGEST = timedelta(days=7)
SEEN_EVERY = timedelta(minutes=5)
"""How often the time of last use is written; more often would make every page a write."""

COUNTED = timedelta(minutes=15)
FREE_ATTEMPTS = 5
MOST_DOUBLINGS = 8
ATTEMPTS_PER_ADDRESS = 40


class SignInRefused(Refusal):
    """Wrong name or password, or too many attempts."""


def sign_in(database: Database, name: str, password: str, address: str, now: datetime) -> str:
    """Checks name and password and opens a sign-in.

    Returns
    -------
    str
        The token for the browser's cookie.

    Raises
    ------
    SignInRefused
        If they do not match, or it was tried too often: after 5 wrong attempts within 15 minutes each further
        one must wait twice as long as the one before, up to 15 minutes.
    """
    # No name has a NUL, which PostgreSQL would not even look up.
    sign_in_name = name.replace("\0", "").strip().lower()[:60]
    with database.read() as session:
        _refuse_if_too_often(session, sign_in_name, address, now)
        person = session.scalars(
            select(Person).where(Person.sign_in_name == sign_in_name, Person.active)
        ).first()
        known, password_hash = person is not None, person.password_hash if person else _hash_of_nobody()
        person_id = person.id if person else None
    # Outside any transaction: the check is slow on purpose.
    matches = _matches(password_hash, password) and known
    with database.write() as session:
        if not matches or person_id is None:
            session.execute(delete(FailedSignIn).where(FailedSignIn.at <= now - COUNTED))
            session.add(FailedSignIn(sign_in_name=sign_in_name, address=address[:60], at=now))
            token = None
        else:
            session.execute(delete(FailedSignIn).where(FailedSignIn.sign_in_name == sign_in_name))
            token = open_sign_in(session, person_id, now)
    if token is None:
        raise SignInRefused("Name and password do not match. Check both and try again.")
    return token


def open_sign_in(session: Session, person_id: int, now: datetime) -> str:
    """A new token for a person whose identity has been proven."""
    token = secrets.token_urlsafe(32)
    session.add(SignIn(token_hash=hash_of(token), person_id=person_id, began_at=now, seen_at=now))
    return token


def who(session: Session, token: str, now: datetime) -> Person | None:
    """The person signed in with a token, if it is still good."""
    found = _find(session, token)
    if found is None or now - found.seen_at > IDLE_LIMIT or now - found.began_at > LONGEST:
        return None
    return found.person if found.person.active else None


def is_due_to_be_seen(session: Session, token: str, now: datetime) -> bool:
    """Whether the time of last use should be written again."""
    found = _find(session, token)
    return found is not None and now - found.seen_at > SEEN_EVERY


def see(session: Session, token: str, now: datetime) -> None:
    """Writes the time of last use."""
    found = _find(session, token)
    if found is not None:
        found.seen_at = now


def sign_out(session: Session, token: str, now: datetime) -> None:
    """Ends a sign-in; its token is worthless from then on."""
    found = _find(session, token)
    if found is not None:
        found.ended_at = now


def _find(session: Session, token: str) -> SignIn | None:
    return session.scalars(
        select(SignIn).where(SignIn.token_hash == hash_of(token), SignIn.ended_at.is_(None))
    ).first()


def _refuse_if_too_often(session: Session, sign_in_name: str, address: str, now: datetime) -> None:
    recent = FailedSignIn.at > now - COUNTED
    by_name, last = session.execute(
        select(func.count(), func.max(FailedSignIn.at)).where(
            FailedSignIn.sign_in_name == sign_in_name, recent
        )
    ).one()
    by_address = session.scalar(
        select(func.count()).select_from(FailedSignIn).where(FailedSignIn.address == address[:60], recent)
    )
    if (by_address or 0) >= ATTEMPTS_PER_ADDRESS:
        raise SignInRefused("Too many wrong attempts from this device. Wait 15 minutes and try again.")
    if by_name >= FREE_ATTEMPTS:
        doublings = min(by_name - FREE_ATTEMPTS, MOST_DOUBLINGS)
        wait = min(timedelta(seconds=4 * 2**doublings), COUNTED)
        left = (last + wait - now).total_seconds()
        if left > 0:
            raise SignInRefused(
                "Too many wrong attempts. Wait {seconds} seconds and try again.", seconds=int(left) + 1
            )


def _matches(password_hash: str, password: str) -> bool:
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return password_hasher().verify(password_hash, password)
    except (VerificationError, InvalidHashError):
        return False


@lru_cache(maxsize=1)
def _hash_of_nobody() -> str:
    # Verified against when there is no such person, so that the answer takes as long and tells nothing.
    return password_hasher().hash(secrets.token_urlsafe())


def hash_of(token: str) -> str:
    """What is stored of a random token: its SHA-256."""
    return hashlib.sha256(token.encode()).hexdigest()
