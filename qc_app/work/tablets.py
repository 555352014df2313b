"""Tablets: invited by the quality manager, enrolled once with a code, revoked when lost.

A tablet holds a random credential in a cookie; the database holds only its SHA-256.
"""

from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.tablet import Tablet
from qc_app.work.sign_in import hash_of

SEEN_EVERY = timedelta(minutes=5)
"""How often the time of last use is written; more often would make every page a write."""


def holder_of(session: Session, credential: str) -> Tablet | None:
    """The tablet that holds a credential, unless it was revoked."""
    return session.scalars(
        select(Tablet).where(Tablet.credential_hash == hash_of(credential), Tablet.revoked_at.is_(None))
    ).first()


def is_due_to_be_seen(tablet: Tablet, now: datetime) -> bool:
    """Whether the time of last use should be written again."""
    return tablet.seen_at is None or now - tablet.seen_at > SEEN_EVERY


def see(session: Session, tablet_id: int, now: datetime) -> None:
    """Writes the time of last use."""
    session.get_one(Tablet, tablet_id).seen_at = now
