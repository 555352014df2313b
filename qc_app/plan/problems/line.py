"""On which line of a control plan a field stands."""

import re
from collections.abc import Sequence

from qc_app.plan.edit import Path

_HEADER = re.compile(r"^\s*\[")


def line_of(text: str, path: Path) -> int | None:
    """The line where a field stands, or else its table; None if neither is found. Lines count from 1."""
    lines = text.splitlines()
    start, end = _block(lines, path)
    if start is None:
        return None
    named = path[2:] if start else path
    for key in reversed([step for step in named if isinstance(step, str)]):
        # The last key first: of limits.upper the line with upper, also where limits stand on one line.
        for number in range(start, end):
            if re.search(rf"(^|[\s{{,]){re.escape(key)}\s*=", lines[number]):
                return number + 1
    return start + 1 if start else None


def _block(lines: Sequence[str], path: Path) -> tuple[int | None, int]:
    """First line of the table that a path leads into and the line after its last; the top otherwise."""
    if len(path) < 2 or path[0] not in ("characteristic", "station", "kind"):
        return 0, len(lines)
    pattern = r"^\s*\[\[\s*characteristic\s*\]\]"
    nth, inside = path[1], r"^\s*\[\s*characteristic\."
    if path[0] != "characteristic":
        pattern, nth, inside = rf'^\s*\[\s*{path[0]}\."?{re.escape(str(path[1]))}"?\s*\]', 0, r"^\b\B"
    starts = [number for number, line in enumerate(lines) if re.search(pattern, line)]
    if not isinstance(nth, int) or nth >= len(starts):
        return None, 0
    start = starts[nth]
    after = range(start + 1, len(lines))
    ends = (n for n in after if _HEADER.match(lines[n]) and not re.search(inside, lines[n]))
    return start, next(ends, len(lines))
