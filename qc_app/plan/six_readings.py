"""Sides and diagonals of a panel read together: do they fit one panel, and what is its shape?

Characteristics that a control plan puts ``together`` are typed on one page. Where they name lines from corner
to corner, the readings are tested against each other before they are stored.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from qc_app.measure.length import Length, parse_length
from qc_app.measure.quadrilateral import PanelShape, solve
from qc_app.plan.characteristic import Characteristic
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal

EDGES, ENDS, DIAGONALS = ("AB", "DC"), ("DA", "CB"), ("AC", "BD")

Lines = Mapping[str, Length]
"""Lengths by the line they were measured along."""


@dataclass(frozen=True)
class Taken:
    """The entries of one reading taken together with others."""

    characteristic: Characteristic
    place: str
    entries: Mapping[str, str]


def lines_of(readings: Iterable[Taken]) -> dict[str, Length]:
    """The lengths that readings name by line; entries that cannot be read are left out."""
    lines = {}
    for taken in readings:
        named = taken.characteristic.lines(taken.place)
        for line, field in zip(named, taken.characteristic.method.fields, strict=False):
            try:
                lines[line] = parse_length(taken.entries.get(field.key, ""))
            except Refusal:
                continue
    return lines


def shape_of(subject: Subject, lines: Lines, tape_uncertainty: int) -> PanelShape[float, bool] | None:
    """The shape of a panel from its six readings; None unless all six are there.

    Raises
    ------
    Refusal
        If no panel near its nominal size has such sides and diagonals.
    """
    if not {*EDGES, *ENDS, *DIAGONALS} <= lines.keys():
        return None
    edges, ends, diagonals = (tuple(lines[name] for name in pair) for pair in (EDGES, ENDS, DIAGONALS))
    return solve(
        Length.from_nanometres(subject.length),
        Length.from_nanometres(subject.width),
        edges=(edges[0], edges[1]),
        ends=(ends[0], ends[1]),
        diagonals=(diagonals[0], diagonals[1]),
        uncertainty=Length.from_nanometres(tape_uncertainty),
    )
