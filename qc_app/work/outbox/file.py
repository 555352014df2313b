"""The file into which a tablet that cannot reach the server saved its outbox, handed in by a lead."""

import base64
import binascii
import json
from dataclasses import dataclass
from datetime import datetime

from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.photo_store import PhotoStore
from qc_app.records.shop import Person
from qc_app.records.tablet import Tablet
from qc_app.work import find
from qc_app.work.outbox.answer import State
from qc_app.work.outbox.batch import (
    LARGEST_SEQUENCE,
    Batch,
    Entry,
    Malformed,
    listed,
    load,
    mapping,
    moment,
    read_entry,
    text,
    uuid,
    whole,
)
from qc_app.work.outbox.take import Taken, take
from qc_app.work.photos import LARGEST_PHOTO, keep_photo
from qc_app.work.roles import Act, require

LARGEST_OUTBOX_FILE = 64 * 1024 * 1024
MOST_ENTRIES_IN_FILE = 5000
MOST_PHOTOS_IN_FILE = 500


@dataclass(frozen=True)
class OutboxFile:
    """What such a file holds."""

    batch: Batch
    tablet: int | None
    photos: dict[str, bytes]


def read_file(body: bytes) -> OutboxFile:
    """Reads such a file. Raises Malformed if it is none."""
    sent = mapping(load(body), "file")
    if sent.get("log") != "qc":
        raise Malformed("file")
    moment(sent.get("exported_at"), "exported_at")
    entries = listed(sent.get("entries"), "entries", MOST_ENTRIES_IN_FILE)
    batch = Batch(
        uuid(sent.get("outbox"), "outbox"),
        whole(sent.get("written"), "written", 0, LARGEST_SEQUENCE),
        None,
        tuple(read_entry(entry) for entry in entries),
    )
    photos = mapping(sent.get("photos", {}), "photos")
    if len(photos) > MOST_PHOTOS_IN_FILE:
        raise Malformed("photos")
    tablet = sent.get("tablet")
    return OutboxFile(
        batch,
        whole(tablet, "tablet") if tablet is not None else None,
        {name: _decoded(coded) for name, coded in photos.items()},
    )


def take_file(
    database: Database, store: PhotoStore, person_id: int, file: OutboxFile, now: datetime
) -> Taken:
    """Takes the entries of a file as if the tablet had sent them; they are its people's, not the lead's.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, the plant has no such tablet, or a photo cannot be taken.
    """
    with database.read() as session:
        by = session.get_one(Person, person_id)
        require(by, Act.IMPORT_OUTBOX)
        visitor: Person | Tablet = by if file.tablet is None else find.tablet(session, by, file.tablet)
        for name, content in file.photos.items():
            owner = _owner(file.batch, name, by)
            keep_photo(database, store, visitor, owner, name, content, now)
        taken = take(database, visitor, file.batch, now, vouched=True)
    with database.write() as session:
        by = session.get_one(Person, person_id)
        kept = sum(answer.state is State.KEPT for answer in taken.answers)
        facts = {"outbox": str(file.batch.outbox), "entries": len(taken.answers), "kept": kept}
        append_event(session, by.plant, "outbox file taken in", facts, at=now, person=by)
    return taken


def _owner(batch: Batch, photo: str, by: Person) -> int:
    """Who took a photo: the person of the entry that names it."""
    entries = (entry for entry in batch.entries if isinstance(entry, Entry))
    return next((entry.person for entry in entries if photo in json.dumps(entry.content)), by.id)


def _decoded(coded: object) -> bytes:
    try:
        return base64.b64decode(text(coded, "photo", 2 * LARGEST_PHOTO), validate=True)
    except (binascii.Error, ValueError) as error:
        raise Malformed("photo") from error
