"""Least-squares adjustment of six lengths that must close to a plane quadrilateral.

Four corners in a plane have five degrees of freedom in shape, so six lengths obey one condition. It is
linearised by the self-stress of the six bars: with α the areas of the triangles left when a corner is taken
away (signed so that they sum to zero), small changes that keep the figure plane satisfy Σ αᵢ αⱼ lᵢⱼ dlᵢⱼ =
0 (Connelly, "Rigidity and energy", Inventiones mathematicae 66 (1982), for the stress of a quadrilateral
with its diagonals; checked in the tests against exact arithmetic). The adjustment with one condition
equation is the classical one of surveying (Mikhail and Ackermann, "Observations and least squares", 1976;
from memory), iterated until the readings no longer move.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc_app.refusal import Refusal

FloatArray = NDArray[np.float64]

AB, DC, DA, CB, AC, BD = range(6)
NAMES = ("AB", "DC", "DA", "CB", "AC", "BD")

_MOST_ROUNDS = 60
_SETTLED = 3e-14
"""Part of the six lengths together that the remaining error must stay below: the last places of a float."""
_FIRST_CHANGE = 0.01
_LARGEST_MISCLOSURE = 0.5
"""Part of the shorter diagonal; a larger misclosure is no slip of the tape."""
_PANELS_AT_ONCE = 8192


@dataclass(frozen=True, eq=False)
class Adjustment:
    """Adjusted lengths of n panels; rows in the order of ``NAMES``, inches.

    ``lengths`` (6, n): close to a plane quadrilateral ``gradient`` (6, n): by how much the misclosure grows
    with each reading, the mean over the diagonals being 1 ``weights`` (6,): relative variances that say
    which lengths may move ``closing`` (n,): misclosure of the readings in inches at the diagonals, positive
    where the diagonals read long
    """

    lengths: FloatArray
    gradient: FloatArray
    weights: FloatArray
    closing: FloatArray


def adjust(lengths: FloatArray, weights: FloatArray) -> Adjustment:
    """The nearest lengths that close, ``weights`` saying how far each may move (0: not at all).

    ``lengths`` (6, n) in inches, ``weights`` (6,). Raises ``Refusal`` when a panel's lengths contradict
    each other so much that no convex quadrilateral is near.
    """
    adjusted, gradient = np.empty_like(lengths), np.empty_like(lengths)
    closing = np.empty(lengths.shape[1])
    for part in parts(lengths.shape[1]):
        read = lengths[:, part]
        fitted, slopes, settled = _adjust(read, weights[:, None])
        # the diagonals' mean coefficient becomes 1, which states the misclosure in inches at the diagonals
        slopes *= 2 / (slopes[AC] + slopes[BD])
        closing[part] = _products(slopes, read - fitted)
        likely = np.abs(closing[part]) < _LARGEST_MISCLOSURE * fitted[AC:].min(axis=0)
        _check(settled & likely, part.start, lengths.shape[1])
        adjusted[:, part], gradient[:, part] = fitted, slopes
    return Adjustment(adjusted, gradient, weights, closing)


def parts(panels: int) -> Iterator[slice]:
    """Slices of so many panels that their arrays stay in the processor's cache."""
    return (slice(start, start + _PANELS_AT_ONCE) for start in range(0, panels, _PANELS_AT_ONCE))


def _adjust(read: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    lengths, whole = read, read.sum(axis=0)
    before = _FIRST_CHANGE * whole
    for _ in range(_MOST_ROUNDS):
        # a wild round may divide by zero: its panel does not settle and is refused
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            gap, gradient = _closing(lengths)
            moved = weights * gradient
            moved *= -(gap + _products(gradient, read - lengths)) / _products(gradient, moved)
            moved += read
            change = np.abs(moved - lengths).max(axis=0)
            # the changes shrink by a steady ratio, so the next one tells the error that is left
            settled = change * np.minimum(change / before, 1) <= _SETTLED * whole
        lengths, before = moved, np.maximum(change, _SETTLED * whole)
        if settled.all():
            break
    return lengths, gradient, settled & (gradient[AC] * gradient[BD] > 0) & (lengths > 0).all(axis=0)


def _check(is_sound: NDArray[np.bool_], start: int, panels: int) -> None:
    if is_sound.all():
        return
    if panels == 1:
        raise Refusal(
            "The six readings contradict each other too much to belong to one panel. Check the units."
        )
    raise Refusal(
        "The six readings of panel {panel} contradict each other too much. Check the units.",
        panel=start + int(np.argmin(is_sound)) + 1,
    )


def _closing(lengths: FloatArray) -> tuple[FloatArray, FloatArray]:
    """By how much DC is longer than the other five allow, and how that grows with each length."""
    ab, dc, _, _, _, _ = lengths
    xc, yc, xd, yd = corners_c_and_d(lengths)
    closed = np.sqrt((xc - xd) ** 2 + (yc - yd) ** 2)
    abc, dab, cda = ab * yc, ab * yd, xc * yd - xd * yc
    bcd = abc + cda - dab
    gradient = np.empty_like(lengths)
    gradient[AB], gradient[DC] = -bcd * cda, -abc * dab
    gradient[DA], gradient[CB] = -abc * bcd, -dab * cda
    gradient[AC], gradient[BD] = bcd * dab, cda * abc
    gradient *= lengths
    gradient /= -abc * dab * closed
    return dc - closed, gradient


def corners_c_and_d(lengths: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """x and y of corners C and D, with A at the origin and B on the x axis; from all lengths but DC."""
    ab = lengths[AB]
    squares = lengths * lengths
    half = 0.5 / ab
    xc = (squares[AB] + squares[AC] - squares[CB]) * half
    xd = (squares[AB] + squares[DA] - squares[BD]) * half
    # a rounding error or a wild round may reach below zero; the rounds then do not settle and the panel is
    # refused
    yc = np.sqrt(np.maximum(squares[AC] - xc * xc, 0))
    yd = np.sqrt(np.maximum(squares[DA] - xd * xd, 0))
    return xc, yc, xd, yd


def _products(one: FloatArray, other: FloatArray) -> FloatArray:
    products: FloatArray = np.einsum("in,in->n", one, other)
    return products
