"""Times as files state them: ISO 8601, with an offset or in the plant's local time."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from qc_app.refusal import Refusal, shortened

_DATE_AND_TIME = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?(?: ?(?P<offset>Z|[+-]\d\d:?\d\d))?", re.ASCII
)
YEARS = range(1970, 3000)
"""Anything else is a slip of the keyboard."""


def parse_time(text: str, zone: ZoneInfo) -> datetime:
    """The instant in UTC that a text states; without an offset it is the local time of ``zone``.

    Raises
    ------
    Refusal
        If it is no date with a time, lies outside the years 1970 to 2999, or is an hour that the clocks went
        through twice or not at all.

    >>> parse_time("2026-03-02 09:30", ZoneInfo("America/New_York")).isoformat()
    '2026-03-02T14:30:00+00:00'
    """
    written = text.strip().upper()
    match = _DATE_AND_TIME.fullmatch(written)
    try:
        stated = datetime.fromisoformat(written.replace(" ", "T", 1).replace(" ", "")) if match else None
    except ValueError:
        stated = None
    if match is None or stated is None or stated.year not in YEARS:
        raise Refusal(
            "A time is written like 2026-03-02T09:30 or 2026-03-02T14:30Z. Given: “{given}”.",
            given=shortened(text),
        )
    return stated.astimezone(UTC) if match["offset"] else _from_local(stated, zone)


def _from_local(stated: datetime, zone: ZoneInfo) -> datetime:
    earlier, later = (stated.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    instant = earlier.astimezone(UTC)
    if instant.astimezone(zone).replace(tzinfo=None) != stated:
        raise Refusal(
            "At {given} local time the clocks were put forward; there was no such time.",
            given=stated.isoformat(" "),
        )
    if earlier.utcoffset() != later.utcoffset():
        raise Refusal(
            "{given} local time came twice, as the clocks were put back. Add the offset, such as {offset}.",
            given=stated.isoformat(" "),
            offset=earlier.isoformat()[-6:],
        )
    return instant
