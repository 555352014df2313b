"""Files handed in for import: kept as they came, looked at, then taken."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.records.upload import Upload
from qc_app.refusal import Refusal
from qc_app.work.readings_file import READINGS_COLUMNS, examine_readings, take_readings
from qc_app.work.roles import Act, require
from qc_app.work.schedule_file import SCHEDULE_COLUMNS, examine_schedule, take_schedule
from qc_app.work.sheet import Column, Examined, Taken

LONGEST_NAME = 200


@dataclass(frozen=True)
class Importable:
    """A kind of file that can be imported."""

    columns: tuple[Column, ...]
    examine: Callable[[Session, Person, str, bytes, datetime], Examined]
    take: Callable[[Session, Person, str, bytes, datetime], Taken]


IMPORTABLE = {
    "schedule": Importable(SCHEDULE_COLUMNS, examine_schedule, take_schedule),
    "readings": Importable(READINGS_COLUMNS, examine_readings, take_readings),
}


def keep_upload(
    session: Session, person: Person, what: str, name: str, content: bytes, now: datetime
) -> Upload:
    """Keeps a file as it came, after making sure that it can be read at all.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, or the file as a whole cannot be read.
    """
    require(person, Act.IMPORT)
    importable(what).examine(session, person, name, content, now)
    upload = Upload(
        person_id=person.id,
        what=what,
        name=name[-LONGEST_NAME:],
        sha256=hashlib.sha256(content).hexdigest(),
        content=content,
        uploaded_at=now,
    )
    session.add(upload)
    session.flush()
    return upload


def examine(session: Session, person: Person, upload: Upload, now: datetime) -> Examined:
    """What taking an upload would do."""
    return importable(upload.what).examine(session, person, upload.name, upload.content, now)


def take(session: Session, person: Person, upload: Upload, now: datetime) -> Taken:
    """Takes the good rows of an upload."""
    taken = importable(upload.what).take(session, person, upload.name, upload.content, now)
    upload.taken_at = now
    facts = {
        "file": upload.name,
        "sha256": upload.sha256,
        "added": taken.added,
        "unchanged": taken.unchanged,
        "refused": len(taken.bad),
    }
    append_event(session, person.plant, f"{upload.what} imported", facts, at=now, person=person)
    return taken


def importable(what: str) -> Importable:
    """The kind of file by name; Refusal if there is no such kind."""
    if what not in IMPORTABLE:
        raise Refusal("Files that can be imported: {known}.", known=", ".join(IMPORTABLE))
    return IMPORTABLE[what]
