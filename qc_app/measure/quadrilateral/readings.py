"""Tape readings of one panel or of many, taken in and checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc_app.measure.length import Length
from qc_app.measure.quadrilateral.adjustment import AB, AC, BD, CB, DA, DC, NAMES, FloatArray
from qc_app.refusal import Refusal

Reading = Length | float | NDArray[np.float64] | Sequence[float] | Sequence[Length]
Pair = tuple[Reading | None, Reading | None]

_OTHER_UNIT = 3.0
"""A reading more than so many times its nominal size, or less than that part of it, is in another unit."""

# each diagonal with the sides from its first and from its second end to a third corner
_TRIANGLES = ((AC, AB, CB), (AC, DA, DC), (BD, AB, DA), (BD, CB, DC))


@dataclass(frozen=True, eq=False)
class Readings:
    """Six lengths of n panels in inches; one that was not read holds a start value.

    ``lengths``      (6, n), rows in the order of ``NAMES``
    ``is_read``      (6,), which of them were read
    ``nominal``      (2, n), length and width
    ``uncertainty``  (6,), standard uncertainties of the readings, 0 where none was taken
    ``shape``        of the arrays that came in; () for one panel
    """

    lengths: FloatArray
    is_read: NDArray[np.bool_]
    nominal: FloatArray
    uncertainty: FloatArray
    shape: tuple[int, ...]


def take(
    length: Reading, width: Reading, edges: Pair, ends: Pair, diagonals: Pair, uncertainty: object
) -> Readings:
    """The readings as arrays.

    Raises ``Refusal`` naming the first reading that cannot be, its value and the rule.
    """
    given = [*edges, *ends, *diagonals]
    is_read = np.array([reading is not None for reading in given])
    _check_enough(is_read)
    nominal = [length, width]
    starts = [length, length, width, width, None, None]
    values = [start if reading is None else reading for reading, start in zip(given, starts, strict=True)]
    arrays = [np.asarray(0.0 if value is None else value, dtype=float) for value in [*values, *nominal]]
    shape = np.broadcast_shapes(*(array.shape for array in arrays))
    lengths = np.array([np.broadcast_to(array, shape).ravel() for array in arrays])
    rows = [row for row in range(8) if row > BD or values[row] is not None]
    _check_positive(lengths, rows)
    _check_unit(lengths, [row for row in range(6) if is_read[row]])
    _check_triangles(lengths, [triangle for triangle in _TRIANGLES if is_read[triangle[0]]])
    for missing, read in ((AC, BD), (BD, AC)):
        if not is_read[missing]:
            lengths[missing] = _other_diagonal(lengths, read)
    spread = np.where(is_read, _uncertainties(uncertainty), 0.0)
    return Readings(lengths[:6], is_read, lengths[6:], spread, shape)


def _check_enough(is_read: NDArray[np.bool_]) -> None:
    diagonals = is_read[[AC, BD]].sum()
    if diagonals == 0 or (diagonals == 1 and not is_read[[AB, DC, DA, CB]].all()):
        raise Refusal("Read both diagonals, or all four sides and one diagonal.")


def _name(row: int, panel: int, panels: int) -> str:
    name = (*NAMES, "length", "width")[row]
    return name if panels == 1 else f"{name} of panel {panel + 1}"


def _check_positive(lengths: FloatArray, rows: list[int]) -> None:
    good = np.isfinite(lengths) & (lengths > 0)
    if not good[rows].all():
        row, panel = next((row, int(np.argmin(good[row]))) for row in rows if not good[row].all())
        raise Refusal(
            "Reading {reading} must be a finite number of inches, more than zero, not {value}.",
            reading=_name(row, panel, lengths.shape[1]),
            value=float(lengths[row, panel]),
        )


def _check_unit(lengths: FloatArray, rows: list[int]) -> None:
    length, width = lengths[6], lengths[7]
    diagonal = np.sqrt(length * length + width * width)
    for row in rows:
        nominal = diagonal if row in (AC, BD) else length if row in (AB, DC) else width
        odd = (lengths[row] > _OTHER_UNIT * nominal) | (_OTHER_UNIT * lengths[row] < nominal)
        if odd.any():
            panel = int(np.argmax(odd))
            raise Refusal(
                "Reading {reading} of {value} in is far from the {nominal} in of this panel. Check its unit.",
                reading=_name(row, panel, lengths.shape[1]),
                value=float(lengths[row, panel]),
                nominal=round(float(nominal[panel]), 3),
            )


def _check_triangles(lengths: FloatArray, triangles: list[tuple[int, int, int]]) -> None:
    for diagonal, one, other in triangles:
        longest, shortest = lengths[one] + lengths[other], np.abs(lengths[one] - lengths[other])
        odd = (lengths[diagonal] >= longest) | (lengths[diagonal] <= shortest)
        if odd.any():
            panel = int(np.argmax(odd))
            raise Refusal(
                "Diagonal {reading} of {value} in cannot be: "
                "sides {one} and {other} leave {shortest} to {longest} in.",
                reading=_name(diagonal, panel, lengths.shape[1]),
                value=float(lengths[diagonal, panel]),
                one=NAMES[one],
                other=NAMES[other],
                shortest=float(shortest[panel]),
                longest=float(longest[panel]),
            )


def _other_diagonal(lengths: FloatArray, read: int) -> FloatArray:
    """The diagonal not read, from the two triangles that the sides form with the diagonal ``read``."""
    base = lengths[read]
    ends = []
    for one, other in ((one, other) for diagonal, one, other in _TRIANGLES if diagonal == read):
        x = (lengths[one] ** 2 + base**2 - lengths[other] ** 2) / (2 * base)
        ends.append((x, np.sqrt(np.maximum(lengths[one] ** 2 - x**2, 0))))
    (x1, y1), (x2, y2) = ends
    diagonal: FloatArray = np.hypot(x1 - x2, y1 + y2)
    return diagonal


def _uncertainties(uncertainty: object) -> FloatArray:
    values = np.asarray(uncertainty, dtype=float)
    if values.shape not in ((), (6,)):
        raise Refusal(
            "Give one standard uncertainty for all readings, or six: {names}.", names=", ".join(NAMES)
        )
    if not (np.isfinite(values) & (values > 0)).all():
        raise Refusal(
            "The uncertainty of a reading must be a finite number of inches, more than zero, not {value}.",
            value=float(values.ravel()[np.argmin(np.isfinite(values) & (values > 0))]),
        )
    return np.broadcast_to(values, (6,))
