"""Signing in and out. A browser holds a random token; the database holds only its SHA-256."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

from sqlalchemy import ColumnElement, delete, func, select
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
    trial = Trial(name.replace("\0", "").strip().lower()[:60], address[:60])
    with database.read() as session:
        _refuse_if_too_often(session, trial, now)
        person = session.scalars(
            select(Person).where(Person.sign_in_name == trial.sign_in_name, Person.active)
        ).first()
        known, password_hash = person is not None, person.password_hash if person else hash_of_nobody()
        person_id = person.id if person else None
    # Outside any transaction: the check is slow on purpose.
    is_right = matches(password_hash, password) and known
    with database.write() as session:
        if not is_right or person_id is None:
            note_failure(session, trial, now)
            token = None
        else:
            forget_failures(session, trial)
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


@dataclass(frozen=True)
class Trial:
    """Who is tried, and from where."""

    sign_in_name: str
    address: str


def refuse_impatient(session: Session, trial: Trial, now: datetime, free_per_address: int) -> None:
    """Raises SignInRefused while this person, or this device, must wait before the next attempt."""
    by_name = _failures(session, FailedSignIn.sign_in_name == trial.sign_in_name, now)
    by_address = _failures(session, FailedSignIn.address == trial.address, now)
    left = max(_left(by_name, FREE_ATTEMPTS, now), _left(by_address, free_per_address, now))
    if left > 0:
        raise SignInRefused("Too many wrong attempts. Wait {seconds} seconds and try again.", seconds=left)


def note_failure(session: Session, trial: Trial, now: datetime) -> None:
    """Counts a wrong attempt, and forgets those that count no more."""
    session.execute(delete(FailedSignIn).where(FailedSignIn.at <= now - COUNTED))
    session.add(FailedSignIn(sign_in_name=trial.sign_in_name, address=trial.address, at=now))


def forget_failures(session: Session, trial: Trial) -> None:
    """Forgets a person's wrong attempts after a right one."""
    session.execute(delete(FailedSignIn).where(FailedSignIn.sign_in_name == trial.sign_in_name))


def _refuse_if_too_often(session: Session, trial: Trial, now: datetime) -> None:
    by_address, _last = _failures(session, FailedSignIn.address == trial.address, now)
    if by_address >= ATTEMPTS_PER_ADDRESS:
        raise SignInRefused("Too many wrong attempts from this device. Wait 15 minutes and try again.")
    refuse_impatient(session, trial, now, ATTEMPTS_PER_ADDRESS)


def _failures(session: Session, whose: ColumnElement[bool], now: datetime) -> tuple[int, datetime]:
    """How many wrong attempts count at present, and when the last of them was."""
    count, last = session.execute(
        select(func.count(), func.max(FailedSignIn.at)).where(whose, FailedSignIn.at > now - COUNTED)
    ).one()
    return count, last or now


def _left(failures: tuple[int, datetime], free: int, now: datetime) -> int:
    """Seconds still to wait; each further attempt waits twice as long as the one before."""
    count, last = failures
    if count < free:
        return 0
    wait = min(timedelta(seconds=4 * 2 ** min(count - free, MOST_DOUBLINGS)), COUNTED)
    left = (last + wait - now).total_seconds()
    return int(left) + 1 if left > 0 else 0


def matches(secret_hash: str, secret: str) -> bool:
    """Whether a password or PIN is the one that was hashed."""
    from argon2.exceptions import InvalidHashError, VerificationError

    try:
        return password_hasher().verify(secret_hash, secret)
    except (VerificationError, InvalidHashError):
        return False


@lru_cache(maxsize=1)
def hash_of_nobody() -> str:
    """Verified against when there is no such person, so that the answer takes as long and tells nothing."""
    return password_hasher().hash(secrets.token_urlsafe())


def hash_of(token: str) -> str:
    """What is stored of a random token: its SHA-256."""
    return hashlib.sha256(token.encode()).hexdigest()
