"""Changing a database by hand, as somebody with the file or the server in hand could; and what is found."""

from collections.abc import Callable
from pathlib import Path

from sqlalchemy import text
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.photo_store import PhotoStore
from qc_app.work.check_record import Head, Result, check_record


def open_to_tampering(session: Session) -> None:
    """Takes away what guards the tables: triggers, and that what is referred to must be there."""
    if session.get_bind().dialect.name != "sqlite":
        session.execute(text("SET LOCAL session_replication_role = replica"))
        return
    session.execute(text("PRAGMA defer_foreign_keys = ON"))
    guards = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%refuses%'"
    for name in session.scalars(text(guards)).all():
        session.execute(text(f"DROP TRIGGER {name}"))


def found_in(session: Session, photos: Path | None = None) -> list[str]:
    """What the check finds in a transaction that is not committed."""
    session.expire_all()
    return check_record(session, PhotoStore(photos), {}, lambda _chain, _events: None).findings


def result_of(database: Database, anchor: dict[str, Head] | None = None) -> Result:
    """What the check says of a database."""
    with database.snapshot() as session:
        return check_record(session, PhotoStore(None), anchor or {}, lambda _chain, _events: None)


def findings(database: Database) -> list[str]:
    """What the check finds."""
    return result_of(database).findings


def tamper(database: Database, change: Callable[[Session], object]) -> list[str]:
    """What the check finds after somebody changed a database by hand."""
    with database.write() as session:
        open_to_tampering(session)
        change(session)
    return findings(database)
