"""Photos that belong to readings: taken in before the entry that names them, and shown again."""

import re
from datetime import datetime

from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.photo import Photo
from qc_app.records.photo_store import PhotoStore, name_of
from qc_app.refusal import Refusal
from qc_app.work.find import NotFound, Visitor, person

LARGEST_PHOTO = 2 * 1024 * 1024
MEDIA_TYPE = "image/jpeg"
_NAME = re.compile(r"[0-9a-f]{64}", re.ASCII)

# ITU-T T.81, table B.1: markers that begin a frame say its size; these others in their range do not.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD8)})
_SCAN, _END = 0xDA, 0xD9


class PhotoRefused(Refusal):
    """What was sent is no photo this log takes."""


def keep_photo(
    database: Database,
    store: PhotoStore,
    visitor: Visitor,
    person_id: int,
    name: str,
    content: bytes,
    now: datetime,
) -> None:
    """Keeps a photo under its name. The same photo again changes nothing.

    Whether somebody really took it is asked when the entry comes that names it: a photo alone says nothing.

    Raises
    ------
    Refusal
        If the plant has no such person, or it is no JPEG, too large, or not the one named.
    """
    with database.read() as session:
        person(session, visitor, person_id)
    width, height = _checked(name, content)
    store.write(content)
    with database.write() as session:
        found = session.get(Photo, name)
        if found is not None and found.plant_id != visitor.plant_id:
            raise PhotoRefused("This photo belongs to another plant.")
        if found is None:
            session.add(
                Photo(
                    sha256=name,
                    plant_id=visitor.plant_id,
                    media_type=MEDIA_TYPE,
                    size=len(content),
                    width=width,
                    height=height,
                    person_id=person_id,
                    received_at=now,
                )
            )


def photo(session: Session, store: PhotoStore, visitor: Visitor, name: str) -> bytes:
    """The bytes of a photo of the visitor's plant. Raises NotFound if there is no such photo."""
    found = session.get(Photo, name) if _NAME.fullmatch(name) else None
    if found is None or found.plant_id != visitor.plant_id:
        raise NotFound("There is no such photo in this plant.")
    return store.read(name)


def size_of(content: bytes) -> tuple[int, int]:
    """Width and height of a JPEG in pixels, from the header of its frame (ITU-T T.81, annex B).

    Raises
    ------
    PhotoRefused
        If it is no JPEG.
    """
    if not content.startswith(b"\xff\xd8\xff"):
        raise PhotoRefused("A photo must be a JPEG; this is something else.")
    at = 2
    while at + 4 <= len(content) and content[at] == 0xFF:
        marker = content[at + 1]
        if marker in _FRAMES:
            return _frame_size(content[at : at + 9])
        if marker in (_SCAN, _END):
            break
        has_length = marker not in _WITHOUT_LENGTH and marker != 0xFF
        at += 2 + int.from_bytes(content[at + 2 : at + 4]) if has_length else 1 if marker == 0xFF else 2
    raise PhotoRefused("This JPEG is damaged: its size cannot be read. Take the photo again.")


def _frame_size(header: bytes) -> tuple[int, int]:
    height, width = int.from_bytes(header[5:7]), int.from_bytes(header[7:9])
    if len(header) < 9 or not width or not height:
        raise PhotoRefused("This JPEG is damaged: its size cannot be read. Take the photo again.")
    return width, height


def _checked(name: str, content: bytes) -> tuple[int, int]:
    if len(content) > LARGEST_PHOTO:
        raise PhotoRefused("A photo has at most 2 MB.")
    if not _NAME.fullmatch(name) or name_of(content) != name:
        raise PhotoRefused("This photo was damaged on its way. Send it again.")
    return size_of(content)
