"""The folder that keeps the shop's authority and this machine's certificate."""

import os
import tempfile
from datetime import datetime
from pathlib import Path

from qc_app.refusal import Refusal
from qc_app.serve.addresses import Machine
from qc_app.serve.authority import Identity, is_an_authority, is_due, issue, make_authority, read_identity

AUTHORITY = "authority.pem"
CERTIFICATE = "server.pem"


def open_authority(folder: Path, name: str, now: datetime) -> Identity:
    """The authority kept in a folder; made for the machine of that name where there is none yet.

    An authority that is there is never replaced, since every tablet trusts just this one.

    Raises
    ------
    Refusal
        If its file is damaged or out of date, or the folder cannot be used.
    """
    path = folder / AUTHORITY
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if path.exists():
            return _checked(path, now)
        made = make_authority(name, now)
        _write(path, made.pem())
    except OSError as error:
        raise _unusable(folder, error) from error
    return made


def certificate_file(folder: Path, authority: Identity, machine: Machine, now: datetime) -> Path:
    """The file of a certificate that names this machine and is good for a while yet; renewed where it is due.

    Raises
    ------
    Refusal
        If the folder cannot be used.
    """
    path = folder / CERTIFICATE
    try:
        if not _is_good(path, authority, machine, now):
            _write(path, issue(authority, machine, now).pem())
    except OSError as error:
        raise _unusable(folder, error) from error
    return path


def _checked(path: Path, now: datetime) -> Identity:
    try:
        authority = read_identity(path.read_bytes())
    except ValueError as error:
        raise _damaged(path) from error
    certificate = authority.certificate
    if not is_an_authority(certificate):
        raise _damaged(path)
    if not certificate.not_valid_before_utc <= now < certificate.not_valid_after_utc:
        raise Refusal(
            "The shop's authority in {path} is good from {start} to {end}, and the clock here says {now}. "
            "Set the clock. If it is right, move the file away, start again, and trust the new authority "
            "on every tablet.",
            path=path,
            start=certificate.not_valid_before_utc.date(),
            end=certificate.not_valid_after_utc.date(),
            now=now.date(),
        )
    return authority


def _is_good(path: Path, authority: Identity, machine: Machine, now: datetime) -> bool:
    if not path.exists():
        return False
    try:
        kept = read_identity(path.read_bytes())
    except ValueError:
        return False  # nobody trusts this one by itself, so a new one does as well
    return not is_due(kept.certificate, authority, machine, now)


def _write(path: Path, content: bytes) -> None:
    """Whole or not at all, and readable by nobody else from the first byte on."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _damaged(path: Path) -> Refusal:
    return Refusal(
        "The shop's authority in {path} is damaged. Put the file back from a copy. If there is none, move it "
        "away, start again, and trust the new authority on every tablet.",
        path=path,
    )


def _unusable(folder: Path, error: OSError) -> Refusal:
    return Refusal(
        "The folder {folder} for certificates cannot be used: {said}. Choose another with "
        "--certificate-folder.",
        folder=folder,
        said=error.strerror or error,
    )
