"""A folder of photos, each under the SHA-256 of its bytes, so that none can change unnoticed."""

import hashlib
import os
from pathlib import Path
from uuid import uuid4

from sqlalchemy import Engine

from qc_app.refusal import Refusal

FOLDER_VARIABLE = "QC_PHOTOS"


class NoFolder(Refusal):
    """Nobody said where photos are kept."""


class Damaged(Refusal):
    """What is in the folder is not what was put there."""


class PhotoStore:
    """The folder. ``None`` stands for a log that was told of none, and keeps no photos."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder

    def write(self, content: bytes) -> str:
        """Keeps a photo and returns its name. Once it returns, the photo outlives a power cut.

        Raises
        ------
        NoFolder
            If there is no folder to keep it in.
        """
        name = name_of(content)
        place = self._place(name)
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            beside = place.with_name(f".{place.name}-{uuid4().hex}")
            with beside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(place)
            _sync_folder(place.parent)
        return name

    def read(self, name: str) -> bytes:
        """The photo of that name.

        Raises
        ------
        NoFolder, Damaged
            If there is no folder; or the photo is missing there or was changed.
        """
        try:
            content = self._place(name).read_bytes()
        except FileNotFoundError as error:
            raise Damaged(
                "This photo is missing in the folder of photos. Restore it from a backup."
            ) from error
        if name_of(content) != name:
            raise Damaged("This photo was damaged in the folder of photos. Restore it from a backup.")
        return content

    def _place(self, name: str) -> Path:
        if self._folder is None:
            raise NoFolder(
                "This log was not told where to keep photos. Set {variable} to a folder.",
                variable=FOLDER_VARIABLE,
            )
        return self._folder / name[:2] / name[2:]


def photo_folder(engine: Engine) -> Path | None:
    """Where photos are kept unless said otherwise: as ``QC_PHOTOS`` says, or beside the SQLite file."""
    said = os.environ.get(FOLDER_VARIABLE)
    if said:
        return Path(said)
    file = engine.url.database if engine.dialect.name == "sqlite" else None
    return Path(f"{file}.photos") if file else None


def name_of(content: bytes) -> str:
    """The name of a photo: SHA-256 of its bytes, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def _sync_folder(folder: Path) -> None:
    """Makes a new name in a folder outlive a power cut, where the system can."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
