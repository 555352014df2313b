"""What is typed into the fields of a method, and how a refused entry names its field."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

from qc_app.phrase import phrase
from qc_app.refusal import Refusal, shortened

LONGEST_TEXT = 40
"""Characters of a text, such as the setting of a blower."""

Entries = Mapping[str, str]
T = TypeVar("T")


class Entry(StrEnum):
    """What kind of thing is typed into one field.

    ``TEXT`` is a few words on one line; ``PLACES`` are points on the drawing of the panel (``place_marks``).
    """

    LENGTH = "length"
    MASS = "mass"
    PERCENT = "percent"
    COUNT = "count"
    YES_NO = "yes_no"
    TEXT = "text"
    PLACES = "places"


@dataclass(frozen=True)
class Field:
    """One thing to type. ``label`` and ``example`` are English phrases, to be translated where shown."""

    key: str
    label: str
    entry: Entry
    example: str = ""
    required: bool = True


class EntryRefused(Refusal):
    """An entry that cannot be read; ``about`` is the key of the field it was typed into."""

    def __init__(self, key: str, refusal: Refusal) -> None:
        super().__init__(refusal.sentence, about=key, **refusal.facts)


def has(entries: Entries, key: str) -> bool:
    """Whether anything was entered there."""
    return bool(entries.get(key, "").strip())


def read(entries: Entries, key: str, parse: Callable[[str], T]) -> T:
    """What an entry says; raises EntryRefused if it is empty or cannot be parsed."""
    try:
        if not has(entries, key):
            raise Refusal(phrase("Enter a value; nothing was entered."))
        return parse(entries[key])
    except Refusal as refusal:
        raise EntryRefused(key, refusal) from refusal


def parse_text(text: str) -> str:
    """A few words on one line, without space around them.

    Raises
    ------
    Refusal
        If there are more than ``LONGEST_TEXT`` characters or one that cannot be printed.
    """
    cleaned = text.strip()
    if len(cleaned) > LONGEST_TEXT or not cleaned.isprintable():
        raise Refusal(
            phrase("This takes at most {most} characters on one line. Given: “{given}”."),
            most=LONGEST_TEXT,
            given=shortened("".join(c if c.isprintable() else "□" for c in cleaned)),
        )
    return cleaned


def is_about(refusal: Refusal, name: str) -> bool:
    """Whether a refusal names this quantity."""
    return name in str(refusal.facts.get("name", ""))
