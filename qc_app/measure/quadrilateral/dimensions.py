"""What the shop asks of a shape, from its six lengths, and how uncertain each answer is.

Let N be the line from the middle of edge AB to the middle of edge DC, and U the line from the middle of end
DA to the middle of end CB. As vectors AC = N + U and BD = N − U, so that (parallelogram law, and Euler's
theorem on quadrilaterals)

    4 U·N = AC² − BD²
    4 U²  = AC² + BD² + AB² + DC² − DA² − CB²
    4 N²  = AC² + BD² + DA² + CB² − AB² − DC²
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc_app.measure.quadrilateral.adjustment import (
    AB,
    AC,
    BD,
    CB,
    DA,
    DC,
    Adjustment,
    FloatArray,
    parts,
    products,
    propagated,
)

# signs of the squares of AB, DC, DA, CB, AC, BD in 4 N² and 4 U²
_WIDTH_SIGNS = np.array([[-1.0], [-1.0], [1.0], [1.0], [1.0], [1.0]])
_LENGTH_SIGNS = np.array([[1.0], [1.0], [-1.0], [-1.0], [1.0], [1.0]])

DIMENSIONS = (
    "diagonal_difference",
    "lean",
    "angle",
    "length_taper",
    "width_taper",
    "mid_length",
    "mid_width",
)


@dataclass(frozen=True, eq=False)
class _Middle:
    """Lengths of the middle lines U and N, and the lean: the part of N that lies along U."""

    length: FloatArray
    width: FloatArray
    lean: FloatArray


def _middle(lengths: FloatArray) -> _Middle:
    squares = lengths * lengths
    diagonals = squares[AC] + squares[BD]
    sides = squares[AB] + squares[DC] - squares[DA] - squares[CB]
    length, width = np.sqrt(diagonals + sides) / 2, np.sqrt(diagonals - sides) / 2
    return _Middle(length, width, (squares[AC] - squares[BD]) / (4 * length))


def dimensions(lengths: FloatArray) -> dict[str, FloatArray]:
    """Each of ``DIMENSIONS`` for closing ``lengths`` (6, n): inches, the angle in degrees."""
    found = np.empty((len(DIMENSIONS), lengths.shape[1]))
    for part in parts(lengths.shape[1]):
        ab, dc, da, cb, ac, bd = lengths[:, part]
        middle = _middle(lengths[:, part])
        angle = np.degrees(np.arcsin(middle.lean / middle.width))
        found[:, part] = ac - bd, middle.lean, angle, ab - dc, da - cb, middle.length, middle.width
    return dict(zip(DIMENSIONS, found, strict=True))


def standard_uncertainties(adjustment: Adjustment, reading_uncertainty: FloatArray) -> dict[str, FloatArray]:
    """The standard uncertainty of each of ``DIMENSIONS``, by propagation from those of the readings (6,).

    Law of propagation, JCGM 100:2008, 5.1.2, and 5.2 for the correlation that the adjustment brings (clause
    numbers from memory). A reading that was not taken counts with 0.
    """
    return {
        name: propagated(_through(adjustment, slopes), reading_uncertainty)
        for name, slopes in _sensitivities(adjustment.lengths).items()
    }


def _through(adjustment: Adjustment, slopes: FloatArray) -> FloatArray:
    """How a quantity with ``slopes`` in the adjusted lengths answers to the readings."""
    closing = adjustment.gradient
    moved = adjustment.weights[:, None] * closing
    share = products(slopes, moved) / products(closing, moved)
    through: FloatArray = slopes - share * closing
    return through


def _sensitivities(lengths: FloatArray) -> dict[str, FloatArray]:
    """How each of ``DIMENSIONS`` grows with each of the adjusted lengths, (6, n) each."""
    middle = _middle(lengths)
    zero = np.zeros_like(lengths)
    difference, length_taper, width_taper = zero.copy(), zero.copy(), zero.copy()
    difference[AC], difference[BD] = 1, -1
    length_taper[AB], length_taper[DC] = 1, -1
    width_taper[DA], width_taper[CB] = 1, -1
    mid_length = _LENGTH_SIGNS * lengths / (4 * middle.length)
    mid_width = _WIDTH_SIGNS * lengths / (4 * middle.width)
    lean = difference * lengths / (2 * middle.length) - middle.lean / middle.length * mid_length
    cosine = np.sqrt(1 - (middle.lean / middle.width) ** 2)
    angle = np.degrees((lean - middle.lean / middle.width * mid_width) / (middle.width * cosine))
    return dict(
        zip(
            DIMENSIONS,
            (difference, lean, angle, length_taper, width_taper, mid_length, mid_width),
            strict=True,
        )
    )
