"""Files handed in for import: kept as they came, looked at, then taken."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.records.upload import Upload
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.readings_file import READINGS_COLUMNS, examine_readings, take_readings
from qc_app.work.schedule_file import SCHEDULE_COLUMNS, examine_schedule, take_schedule
from qc_app.work.sheet import Column, Examined, Row, Taken, read_rows

LONGEST_NAME = 200


TAKEN_AT_ONCE = 500
"""Rows taken in one transaction, so that stations never wait for a whole file."""

Rows = bytes | Sequence[Row]


@dataclass(frozen=True)
class Importable:
    """A kind of file that can be imported."""

    columns: tuple[Column, ...]
    examine: Callable[[Session, Person, str, Rows, datetime], Examined]
    take: Callable[[Session, Person, str, Rows, datetime], Taken]


IMPORTABLE = {
    "schedule": Importable(SCHEDULE_COLUMNS, examine_schedule, take_schedule),
    "readings": Importable(READINGS_COLUMNS, examine_readings, take_readings),
}


def keep_upload(
    database: Database, person_id: int, what: str, name: str, content: bytes, now: datetime
) -> int:
    """Keeps a file as it came, after making sure that it can be read at all; returns its number.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, or the file as a whole cannot be read.
    """
    with database.read() as session:
        importable(what).examine(session, session.get_one(Person, person_id), name, content, now)
    upload = Upload(
        person_id=person_id,
        what=what,
        name=name[-LONGEST_NAME:],
        sha256=hashlib.sha256(content).hexdigest(),
        content=content,
        uploaded_at=now,
    )
    with database.write() as session:
        session.add(upload)
        session.flush()
        return upload.id


def examine(session: Session, person: Person, upload: Upload, now: datetime) -> Examined:
    """What taking an upload would do."""
    return importable(upload.what).examine(session, person, upload.name, upload.content, now)


def take(database: Database, person_id: int, upload_id: int, now: datetime) -> int:
    """Takes the good rows of an upload, some hundreds at a time; returns how many were added.

    Taking is safe to repeat: were it cut off half-way, what is here already is left as it is.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, or there is no such file; then nothing is added.
    """
    with database.read() as session:
        person = session.get_one(Person, person_id)
        upload = find.upload(session, person, upload_id)
        name, kind = upload.name, importable(upload.what)
        examined = kind.examine(session, person, name, read_rows(name, upload.content), now)
        good = [taken.row for taken in examined.good]
    added = 0
    for start in range(0, len(good), TAKEN_AT_ONCE):
        with database.write() as session:
            person = session.get_one(Person, person_id)
            added += kind.take(session, person, name, good[start : start + TAKEN_AT_ONCE], now).added
    with database.write() as session:
        _log_taken(session, person_id, upload_id, added, examined, now)
    return added


def _log_taken(
    session: Session, person_id: int, upload_id: int, added: int, examined: Examined, now: datetime
) -> None:
    person, upload = session.get_one(Person, person_id), session.get_one(Upload, upload_id)
    upload.taken_at = now
    facts = {
        "file": upload.name,
        "sha256": upload.sha256,
        "added": added,
        "unchanged": examined.unchanged,
        "refused": len(examined.bad),
    }
    append_event(session, person.plant, f"{upload.what} imported", facts, at=now, person=person)


def importable(what: str) -> Importable:
    """The kind of file by name; Refusal if there is no such kind."""
    if what not in IMPORTABLE:
        raise Refusal("Files that can be imported: {known}.", known=", ".join(IMPORTABLE))
    return IMPORTABLE[what]
