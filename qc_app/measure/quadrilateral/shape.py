"""The measured shape of one panel, or of many at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist
from typing import Any, Generic, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from qc_app.measure.quadrilateral import dimensions as dims
from qc_app.measure.quadrilateral.adjustment import (
    AB,
    AC,
    BD,
    CB,
    DA,
    NAMES,
    Adjustment,
    FloatArray,
    adjust,
    parts,
    propagated,
)
from qc_app.measure.quadrilateral.readings import Readings
from qc_app.measure.quadrilateral.slips import Suspect, ranked
from qc_app.refusal import Refusal

T = TypeVar("T")
"""``float`` for one panel, an array of floats for many."""
B = TypeVar("B")
"""``bool`` for one panel, an array of them for many."""


@dataclass(frozen=True, slots=True)
class SquaringMove:
    """How to rack a panel square; a taper stays, since racking does not change the sides.

    ``corner``    the corner to push along its edge
    ``towards``   the corner to push it towards
    ``distance``  how far, inches
    ``diagonal``  what both diagonals then read, inches
    """

    corner: str
    towards: str
    distance: float
    diagonal: float


@dataclass(frozen=True, eq=False)
class PanelShape(Generic[T, B]):
    """Least-squares shape of a panel; every figure a float, or an array with one value for each panel.

    Corners A, B, C, D go round the panel; AB and DC are its edges, DA and CB its ends. All in inches, the
    angle in degrees. The misclosure and what follows from it are None when no reading is redundant.

    ``corners``                 (…, 4, 2): A at the origin, B on the x axis, C and D above it
    ``misclosure``              by how much the diagonals read long against the sides; negative: short
    ``misclosure_uncertainty``  standard uncertainty of the misclosure
    ``is_consistent``           whether the misclosure is within what the uncertainties allow
    ``false_alarm_rate``        probability that sound readings are called inconsistent
    ``diagonal_difference``     AC − BD of the adjusted shape
    ``lean``                    shift of the middle of DC along the panel; positive when AC is longer than BD
    ``angle``                   by which the middle lines are off square, with the sign of the lean
    ``length_taper``            AB − DC
    ``width_taper``             DA − CB
    ``mid_length``              from the middle of DA to the middle of CB
    ``mid_width``               from the middle of AB to the middle of DC
    """

    corners: FloatArray
    misclosure: T | None
    misclosure_uncertainty: T | None
    is_consistent: B | None
    false_alarm_rate: float
    diagonal_difference: T
    lean: T
    angle: T
    length_taper: T
    width_taper: T
    mid_length: T
    mid_width: T
    _readings: Readings
    _adjustment: Adjustment

    @property
    def misclosure_ratio(self) -> T | None:
        """Misclosure over its standard uncertainty."""
        if self.misclosure is None:
            return None
        return self.misclosure / self.misclosure_uncertainty  # type: ignore[operator, no-any-return]

    @property
    def readings(self) -> dict[str, T]:
        """The readings that were taken, by name."""
        return self._by_name(self._readings.lengths)

    @property
    def adjusted(self) -> dict[str, T]:
        """All six lengths of the adjusted shape, by name."""
        lengths = self._adjustment.lengths
        shape = self._readings.shape
        return {name: _as_given(row, shape) for name, row in zip(NAMES, lengths, strict=True)}

    @property
    def residuals(self) -> dict[str, T]:
        """Reading − adjusted length, by name."""
        return self._by_name(self._readings.lengths - self._adjustment.lengths)

    @cached_property
    def standard_uncertainties(self) -> dict[str, T]:
        """The standard uncertainty of each dimension: ``standard_uncertainties["lean"]``, and so on.

        A side that was not read is taken for its nominal size without uncertainty.
        """
        found = dims.standard_uncertainties(self._adjustment, self._readings.uncertainty)
        return {name: _as_given(values, self._readings.shape) for name, values in found.items()}

    def suspects(self, system: Literal["imperial", "metric"] = "imperial") -> tuple[Suspect, ...]:
        """Which single reading could explain an inconsistent panel, most plausible first.

        Empty for a consistent panel. One redundant reading cannot name the culprit for certain.

        Raises ``Refusal`` for an array of panels: look at one of them, ``shape[i]``.
        """
        self._check_one("suspects")
        if self.is_consistent is not False:
            return ()
        read = self._readings.lengths
        gradient = self._adjustment.gradient[:, 0]
        spread = float(propagated(self._adjustment.gradient, self._readings.uncertainty)[0])
        expected, uncertainties = {}, {}
        for row, name in enumerate(NAMES):
            alone = np.zeros(6)
            alone[row] = 1
            try:
                expected[name] = float(adjust(read, alone).lengths[row, 0])
            except Refusal:
                continue  # no change of this reading alone closes the figure
            uncertainties[name] = spread / abs(float(gradient[row]))
        values = {name: float(read[row, 0]) for row, name in enumerate(NAMES) if name in expected}
        length, width = self._readings.nominal[:, 0]
        sizes = (length, length, width, width, np.hypot(length, width), np.hypot(length, width))
        nominal = dict(zip(NAMES, map(float, sizes), strict=True))
        return ranked(values, expected, uncertainties, nominal, system)

    @property
    def squaring_move(self) -> SquaringMove | None:
        """How to rack the panel square; None when it is square, and when the readings do not agree.

        Readings that do not agree are to be taken again first. Raises ``Refusal`` for an array of panels.
        """
        self._check_one("a squaring move")
        lean = float(self.lean)  # type: ignore[arg-type]
        if lean == 0 or self.is_consistent is False:
            return None
        corner, towards = ("C", "D") if lean > 0 else ("D", "C")
        ac, bd = self._adjustment.lengths[4:, 0]
        return SquaringMove(corner, towards, abs(lean), float(np.sqrt((ac**2 + bd**2) / 2)))

    def __getitem__(self, panel: int) -> PanelShape[float, bool]:
        """One panel out of an array, counted along the flattened array; ``IndexError`` beyond its end."""
        one = slice(panel, panel + 1) if panel >= 0 else slice(panel, panel + 1 or None)
        read, fitted = self._readings, self._adjustment
        if read.lengths[:, one].shape[1] != 1:
            raise IndexError(panel)
        return shape_of(
            Readings(read.lengths[:, one], read.is_read, read.nominal[:, one], read.uncertainty, ()),
            Adjustment(
                fitted.lengths[:, one], fitted.gradient[:, one], fitted.weights, fitted.misclosure[one]
            ),
            self.false_alarm_rate,
        )

    def _check_one(self, wanted: str) -> None:
        if self._readings.shape != ():
            raise Refusal("Ask {wanted} of one panel at a time.", wanted=wanted)

    def _by_name(self, rows: FloatArray) -> dict[str, T]:
        taken = zip(NAMES, rows, self._readings.is_read, strict=True)
        return {name: _as_given(row, self._readings.shape) for name, row, is_read in taken if is_read}


def shape_of(readings: Readings, adjustment: Adjustment, false_alarm_rate: float) -> PanelShape[Any, Any]:
    """The shape that ``adjustment`` gives to ``readings``."""
    shape = readings.shape
    misclosure = spread = is_consistent = None
    if readings.is_read.all():
        deviation = propagated(adjustment.gradient, readings.uncertainty)
        accepted = np.abs(adjustment.misclosure) <= _two_sided(false_alarm_rate) * deviation
        misclosure, spread = _as_given(adjustment.misclosure, shape), _as_given(deviation, shape)
        is_consistent = _as_given(accepted, shape)
    found = {name: _as_given(row, shape) for name, row in dims.dimensions(adjustment.lengths).items()}
    return PanelShape(
        corners=_corners(adjustment.lengths).reshape(*shape, 4, 2),
        misclosure=misclosure,
        misclosure_uncertainty=spread,
        is_consistent=is_consistent,
        false_alarm_rate=false_alarm_rate,
        **found,
        _readings=readings,
        _adjustment=adjustment,
    )


def _corners(lengths: FloatArray) -> FloatArray:
    """Corners (n, 4, 2) of closing ``lengths`` (6, n): A at the origin, B on the x axis, C and D above it."""
    corners = np.zeros((lengths.shape[1], 4, 2))
    for part in parts(lengths.shape[1]):
        squares = lengths[:, part] * lengths[:, part]
        half = 0.5 / lengths[AB, part]
        xc = (squares[AB] + squares[AC] - squares[CB]) * half
        xd = (squares[AB] + squares[DA] - squares[BD]) * half
        corners[part, 1, 0] = lengths[AB, part]
        corners[part, 2, 0], corners[part, 2, 1] = xc, np.sqrt(squares[AC] - xc * xc)
        corners[part, 3, 0], corners[part, 3, 1] = xd, np.sqrt(squares[DA] - xd * xd)
    return corners


def _as_given(values: NDArray[Any], shape: tuple[int, ...]) -> Any:
    """A plain number where one panel came in, an array of the shape that came in where there were many."""
    return values.reshape(shape) if shape else values.item()


def _two_sided(rate: float) -> float:
    """How many standard deviations a normal variable exceeds, up or down, with probability ``rate``."""
    return NormalDist().inv_cdf(1 - rate / 2)
