"""Squareness from the two diagonals alone, taking the nominal size for true."""

import math
from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.length import Length, positive_inches
from qc_app.refusal import Refusal

_OTHER_UNIT = Fraction(1, 4)
"""Part of the sides' squares by which the diagonals' may be off; beyond it one was read in another unit."""


@dataclass(frozen=True, slots=True)
class Squareness:
    """How far a panel of known size is racked.

    Corners A, B, C, D go round the panel; AB and DC are the long edges, AC and BD the diagonals. Every figure
    is positive when AC is the longer diagonal, that is when edge DC is shifted in the direction from A to B.

    ``exact_difference``  AC − BD as an exact length
    ``lean``              shift of edge DC along AB, over the whole width, inches
    ``angle``             by which the ends are off square, degrees
    """

    exact_difference: Length
    lean: float
    angle: float

    @property
    def diagonal_difference(self) -> float:
        """AC − BD in inches."""
        return float(self.exact_difference)


def square_from_diagonals(
    length: Length | float, width: Length | float, ac: Length | float, bd: Length | float
) -> Squareness:
    """Squareness of a panel of nominal ``length`` × ``width`` from its diagonals; floats are inches.

    The panel is taken for a parallelogram of the nominal size: AC² − BD² = 4 · length · lean (parallelogram
    law). Equal diagonals do not prove a rectangle: a panel with unequal edges needs ``solve``.

    Raises ``Refusal`` for a size or diagonal that is zero, negative or not finite, for a diagonal that no
    panel with these sides can have, and for diagonals too far from the nominal size to be in the same unit.

    >>> square = square_from_diagonals(288, 96, 303.625, 303.5625)
    >>> square.diagonal_difference, round(square.lean, 4), round(square.angle, 4)
    (0.0625, 0.0329, 0.0197)
    """
    edge, end = positive_inches(length, "length"), positive_inches(width, "width")
    first, second = positive_inches(ac, "diagonal AC"), positive_inches(bd, "diagonal BD")
    for diagonal, name in ((first, "AC"), (second, "BD")):
        _check_triangle(diagonal, name, edge, end)
    _check_unit(edge, end, first, second)
    lean = (first**2 - second**2) / (4 * edge)
    angle = math.degrees(math.asin(lean / end))
    return Squareness(Length(first - second), float(lean), angle)


def _check_triangle(diagonal: Fraction, name: str, edge: Fraction, end: Fraction) -> None:
    if not abs(edge - end) < diagonal < edge + end:
        raise Refusal(
            "Diagonal {name} of {diagonal} in cannot be: it must lie between {least} in and {most} in.",
            name=name,
            diagonal=float(diagonal),
            least=float(abs(edge - end)),
            most=float(edge + end),
        )


def _check_unit(edge: Fraction, end: Fraction, first: Fraction, second: Fraction) -> None:
    # AC² + BD² = 2 (edge² + end²) for every parallelogram, however far it is racked
    sides = 2 * (edge**2 + end**2)
    if abs(first**2 + second**2 - sides) > _OTHER_UNIT * sides:
        raise Refusal(
            "Diagonals of {ac} in and {bd} in do not fit a panel {length} in × {width} in. Check the units.",
            ac=float(first),
            bd=float(second),
            length=float(edge),
            width=float(end),
        )
