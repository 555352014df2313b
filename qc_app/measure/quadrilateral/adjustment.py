"""Least-squares adjustment of six lengths that must close to a plane quadrilateral.

Four corners in a plane have five degrees of freedom in shape, so six lengths obey one condition. Let U join
the middles of the ends DA and CB, N those of the edges AB and DC, M those of the diagonals BD and AC. The
squares of the six lengths give their products (parallelogram law):

    4 U² = AC² + BD² + AB² + DC² − DA² − CB²        4 U·N = AC² − BD²
    4 N² = AC² + BD² + DA² + CB² − AB² − DC²        4 U·M = DC² − AB²
    4 M² = AB² + DC² + DA² + CB² − AC² − BD²        4 N·M = CB² − DA²

The figure is plane when M is a sum p U + r N. Written in the corners,

    2 (M − p U − r N) = α A + β B + γ C + δ D,
    α = 1 + (p + r),  β = −1 − (p − r),  γ = 1 − (p + r),  δ = −1 + (p − r).

α, β, γ, δ add up to 0, so the square of that vector is the negative of

    αβ AB² + γδ DC² + δα DA² + βγ CB² + αγ AC² + βδ BD²,

and the condition is that this sum be 0. p and r are those of the foot of the perpendicular, where the square
is least, so small changes of them do not count: the derivative of the sum by AB is 2 αβ AB, and so on. The
products αβ … are the stresses of the six bars in Connelly, "Rigidity and energy", Inventiones mathematicae 66
(1982), from memory. The tests compare the corners with a minimum found in 40 digits without any of this.

The adjustment with one condition equation is the classical one of surveying (Mikhail and Ackermann,
"Observations and least squares", 1976, from memory), iterated until the lengths no longer move.
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
"""Part of the six lengths together that the first round is expected to move them by at most."""
_LARGEST_MISCLOSURE = 0.5
"""Part of the shorter diagonal; a larger misclosure is no slip of the tape."""
_PANELS_AT_ONCE = 16384


@dataclass(frozen=True, eq=False)
class Adjustment:
    """Adjusted lengths of n panels; rows in the order of ``NAMES``, inches.

    ``lengths``     (6, n), close to a plane quadrilateral
    ``gradient``    (6, n), by how much the misclosure grows with each reading; mean of the two diagonals 1
    ``weights``     (6,), relative variances, which say how far each length may move (0: not at all)
    ``misclosure``  (n,), of the readings, in inches at the diagonals; positive where the diagonals read long
    """

    lengths: FloatArray
    gradient: FloatArray
    weights: FloatArray
    misclosure: FloatArray


def adjust(lengths: FloatArray, weights: FloatArray) -> Adjustment:
    """The nearest lengths that close, ``weights`` saying how far each may move (0: not at all).

    ``lengths`` (6, n) in inches, ``weights`` (6,). Raises ``Refusal`` when a panel's lengths contradict
    each other so much that no convex quadrilateral is near.
    """
    adjusted, gradient = np.empty_like(lengths), np.empty_like(lengths)
    misclosure = np.empty(lengths.shape[1])
    for part in parts(lengths.shape[1]):
        read = lengths[:, part]
        fitted, slopes, is_sound = _adjusted(read, weights[:, None])
        # the diagonals' mean coefficient becomes 1, which states the misclosure in inches at the diagonals
        slopes *= 2 / (slopes[AC] + slopes[BD])
        misclosure[part] = products(slopes, read - fitted)
        likely = np.abs(misclosure[part]) < _LARGEST_MISCLOSURE * fitted[AC:].min(axis=0)
        _check(is_sound & likely, part.start, lengths.shape[1])
        adjusted[:, part], gradient[:, part] = fitted, slopes
    return Adjustment(adjusted, gradient, weights, misclosure)


def parts(panels: int) -> Iterator[slice]:
    """Slices of so many panels that the arrays of one round stay in the processor's cache."""
    return (slice(start, start + _PANELS_AT_ONCE) for start in range(0, panels, _PANELS_AT_ONCE))


def _adjusted(read: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Lengths that close, the slopes of the condition there, and which panels settled on a convex figure."""
    lengths, whole = read, read.sum(axis=0)
    before = _FIRST_CHANGE * whole
    for _ in range(_MOST_ROUNDS):
        # a wild round may divide by zero: its panel does not settle and is refused
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            slopes, is_figure = _slopes(lengths)
            moved = weights * slopes
            # the condition is the sum of slopes · lengths, and its derivatives are twice the slopes
            moved *= products(slopes, lengths / 2 - read) / products(slopes, moved)
            moved += read
            step = moved - lengths
            change = np.abs(step, out=step).max(axis=0)
            # the changes shrink by a steady ratio, so the next one tells the error that is left
            settled = change * np.minimum(change / before, 1) <= _SETTLED * whole
        lengths, before = moved, np.maximum(change, _SETTLED * whole)
        if settled.all():
            break
    is_convex = is_figure & (slopes[AC] > 0) & (slopes[BD] > 0)
    return lengths, slopes, settled & is_convex & (lengths > 0).all(axis=0)


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


def _slopes(lengths: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Half the derivatives of the condition by each length, and whether U and N span an area at all.

    The variables hold 4 times the products of the vectors they name, and 16 times the square of the area.
    """
    ab, dc, da, cb, ac, bd = lengths * lengths
    diagonals, sides = ac + bd, ab + dc - da - cb
    uu, nn = diagonals + sides, diagonals - sides
    un, um, nm = ac - bd, dc - ab, cb - da
    area_squared = uu * nn - un * un
    p, r = (um * nn - nm * un) / area_squared, (nm * uu - um * un) / area_squared
    along, across = p + r, p - r
    a, b, c, d = 1 + along, -1 - across, 1 - along, across - 1
    slopes = np.empty_like(lengths)
    for bar, one, other in ((AB, a, b), (DC, c, d), (DA, d, a), (CB, b, c), (AC, a, c), (BD, b, d)):
        np.multiply(one, other, out=slopes[bar])
    slopes *= lengths
    return slopes, area_squared > 0


def products(one: FloatArray, other: FloatArray) -> FloatArray:
    """Sum over the six lengths of the products of ``one`` and ``other``, (6, n) each, for every panel."""
    summed: FloatArray = np.einsum("in,in->n", one, other)
    return summed


def propagated(slopes: FloatArray, uncertainty: FloatArray) -> FloatArray:
    """Standard uncertainty (n,) of what grows with six independent readings by ``slopes`` (6, n)."""
    contributions = slopes * uncertainty[:, None]
    spread: FloatArray = np.sqrt(products(contributions, contributions))
    return spread
