"""Points on the drawing of a panel, where a fault was found: ``250,500; 810,120``.

Each is thousandths of the length along AB and thousandths of the width towards D, from corner A.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from qc_app.refusal import Refusal, shortened

MOST_MARKS = 20
"""Points in one entry. More are counted without being pointed at."""

_MARK = re.compile(r"(\d{1,4})\s*,\s*(\d{1,4})", re.ASCII)
_WHOLE = 1000


@dataclass(frozen=True, order=True)
class PlaceMark:
    """One point, in thousandths of the panel's length and width from corner A."""

    along: int
    across: int


def parse_place_marks(text: str) -> tuple[PlaceMark, ...]:
    """The points that a text names, in its order; none in an empty text.

    Raises
    ------
    Refusal
        If a point is not two whole numbers from 0 to 1000, is named twice, or there are more than
        ``MOST_MARKS``.
    """
    if not text.strip():
        return ()
    parts = text.split(";")
    if len(parts) > MOST_MARKS:
        raise Refusal(
            "Mark at most {most} places on the drawing. Given: {given}.", most=MOST_MARKS, given=len(parts)
        )
    marks = tuple(_mark(part) for part in parts)
    if len(set(marks)) < len(marks):
        raise Refusal("A place is marked twice in “{given}”.", given=shortened(text.strip()))
    return marks


def format_place_marks(marks: Iterable[PlaceMark]) -> str:
    """The one way of writing these points; ``parse_place_marks`` reads it back.

    >>> format_place_marks(parse_place_marks(" 250 , 500;810,120"))
    '250,500; 810,120'
    """
    return "; ".join(f"{mark.along},{mark.across}" for mark in marks)


def _mark(part: str) -> PlaceMark:
    match = _MARK.fullmatch(part.strip())
    mark = PlaceMark(int(match[1]), int(match[2])) if match else None
    if mark is None or max(mark.along, mark.across) > _WHOLE:
        raise Refusal(
            "A place on the drawing is two numbers from 0 to 1000, such as 250,500. Given: “{given}”.",
            given=shortened(part.strip()),
        )
    return mark
