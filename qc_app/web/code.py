"""Square codes to scan, drawn as one path."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import segno

QUIET_ZONE = 4
"""Modules of white that a reader needs around the code (ISO/IEC 18004, quiet zone of a QR code)."""


@dataclass(frozen=True)
class Code:
    """A text as a square code of ``side`` modules, drawn by ``path``."""

    text: str
    side: int
    path: str


def code_of(text: str) -> Code:
    """The code that says a text."""
    code = segno.make_qr(text, error="m")
    rows = [bytes(row) for row in code.matrix_iter(border=QUIET_ZONE)]
    return Code(text, len(rows), "".join(_runs(rows)))


def _runs(rows: list[bytes]) -> Iterator[str]:
    """The dark modules of each row, run by run, as closed parts of one SVG path."""
    for y, row in enumerate(rows):
        x = 0
        for is_dark, run in groupby(row):
            length = len(list(run))
            if is_dark:
                yield f"M{x} {y}h{length}v1h-{length}z"
            x += length
