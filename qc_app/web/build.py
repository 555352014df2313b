"""Which build of the pages this is: a name that changes whenever a file that browsers see changes."""

from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

from flask import Flask

LENGTH = 12
"""Hexadecimal digits of a build's name."""


def build_of(*folders: Path) -> str:
    """The first digits of SHA-256 over the names and contents of all files in the folders."""
    digest = sha256()
    for folder in folders:
        for file in _files_in(folder):
            content = file.read_bytes()
            # Lengths go in front, so that no two sets of files read alike.
            name = file.relative_to(folder).as_posix().encode()
            digest.update(b"%d %s %d " % (len(name), name, len(content)) + content)
    return digest.hexdigest()[:LENGTH]


def build(app: Flask) -> str:
    """The build that a program serves: its static files stand under that name."""
    return (app.static_url_path or "").rpartition("/")[2]


def _files_in(folder: Path) -> Iterator[Path]:
    """Every file, in the same order on every system, without the hidden ones that editors leave."""
    found = (f for f in folder.rglob("*") if f.is_file() and not f.name.startswith("."))
    yield from sorted(found, key=lambda file: file.relative_to(folder).as_posix())
