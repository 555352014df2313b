"""Reading what an outbox sent. Nothing in it is believed before its type and size are seen."""

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from qc_app.phrase import phrase
from qc_app.refusal import Refusal
from qc_app.work.find import LARGEST_NUMBER

SCHEMA = 1
LARGEST_BATCH = 1024 * 1024
MOST_ENTRIES = 50
LARGEST_SEQUENCE = 2**31 - 1
DEEPEST = 8
"""Levels of objects and lists that the content of an entry may have; the forms need four."""
YEARS = range(1970, 2200)
"""Of a time on a tablet: one whose clock has lost its battery begins again in 1970."""

_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.ASCII | re.IGNORECASE)
_UNSTORABLE = re.compile("[\0\ud800-\udfff]")


class Malformed(Refusal):
    """What was sent is not built as the outbox of a tablet builds it."""

    def __init__(self, what: str) -> None:
        super().__init__(phrase("What was sent cannot be read: {what} is not as it should be."), what=what)


@dataclass(frozen=True)
class Entry:
    """One entry. ``content`` is as it came; the form that takes it reads it further."""

    uuid: UUID
    sequence: int
    person: int
    entered_at: datetime
    form: str
    content: dict[str, Any]


@dataclass(frozen=True)
class Spoiled:
    """An entry of which no more than its number can be read."""

    uuid: UUID
    reason: Malformed


@dataclass(frozen=True)
class Batch:
    """What came at once. ``clock`` is what the tablet's clock showed; None where it says nothing any more."""

    outbox: UUID
    written: int
    clock: datetime | None
    entries: tuple[Entry | Spoiled, ...]


def read_batch(body: bytes) -> Batch:
    """Reads the body of a request.

    Raises
    ------
    Malformed
        If it is not a batch. An entry that cannot be read comes as ``Spoiled`` and leaves the others be.
    """
    if len(body) > LARGEST_BATCH:
        raise Malformed("length")
    sent = mapping(load(body), "batch")
    if whole(sent.get("schema"), "schema") != SCHEMA:
        raise Malformed("schema")
    entries = listed(sent.get("entries"), "entries", MOST_ENTRIES)
    return Batch(
        uuid(sent.get("outbox"), "outbox"),
        whole(sent.get("written"), "written", 0, LARGEST_SEQUENCE),
        moment(sent.get("clock"), "clock"),
        tuple(read_entry(entry) for entry in entries),
    )


def load(body: bytes) -> Any:
    """JSON, with finite numbers only.

    Raises
    ------
    Malformed
        If it is none, or nested beyond reason.
    """
    try:
        return json.loads(body, parse_float=_finite, parse_constant=_finite)
    except (ValueError, RecursionError) as error:
        raise Malformed("batch") from error


def read_entry(given: Any) -> Entry | Spoiled:
    """One entry of a batch. Raises Malformed only if not even its number can be read."""
    sent = mapping(given, "entry")
    number = uuid(sent.get("uuid"), "uuid")
    try:
        return _entry(number, sent)
    except Malformed as reason:
        return Spoiled(number, reason)


def _entry(number: UUID, sent: Mapping[str, Any]) -> Entry:
    content = sent.get("content")
    if _depth(content) > DEEPEST:
        raise Malformed("content")
    return Entry(
        number,
        whole(sent.get("sequence"), "sequence", 1, LARGEST_SEQUENCE),
        whole(sent.get("person"), "person"),
        moment(sent.get("entered_at"), "entered_at"),
        text(sent.get("form"), "form", 40),
        mapping(content, "content"),
    )


def mapping(value: Any, what: str) -> dict[str, Any]:
    """A JSON object. This and its neighbours raise Malformed, naming ``what``, for anything else."""
    if not isinstance(value, dict):
        raise Malformed(what)
    return value


def listed(value: Any, what: str, most: int) -> list[Any]:
    """A list of no more than so many."""
    if not isinstance(value, list) or len(value) > most:
        raise Malformed(what)
    return value


def text(value: Any, what: str, most: int) -> str:
    """Text of no more than so many characters; those that no database keeps are replaced."""
    if not isinstance(value, str) or len(value) > most:
        raise Malformed(what)
    return _UNSTORABLE.sub("\N{REPLACEMENT CHARACTER}", value)


def whole(value: Any, what: str, least: int = 1, most: int = LARGEST_NUMBER) -> int:
    """A whole number between two others."""
    if type(value) is not int or not least <= value <= most:
        raise Malformed(what)
    return value


def uuid(value: Any, what: str) -> UUID:
    """A UUID in its usual writing."""
    if not isinstance(value, str) or not _UUID.fullmatch(value):
        raise Malformed(what)
    return UUID(value)


def moment(value: Any, what: str) -> datetime:
    """A time with its offset from UTC."""
    try:
        found = datetime.fromisoformat(text(value, what, 40))
    except ValueError as error:
        raise Malformed(what) from error
    if found.tzinfo is None or found.year not in YEARS:
        raise Malformed(what)
    return found


def _finite(written: str) -> float:
    number = float(written)
    if not math.isfinite(number):
        raise ValueError(f"{written} is no finite number")
    return number


def _depth(value: Any) -> int:
    deepest, level = 0, [value]
    while level and deepest <= DEEPEST:
        deepest += 1
        inside = [v for v in level if isinstance(v, dict | list)]
        level = [below for v in inside for below in (v.values() if isinstance(v, dict) else v)]
    return deepest
