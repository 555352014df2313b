"""Moisture content of wood, as a percentage of its dry mass, and the climate that it follows."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from qc_app.measure.entry import LONGEST_ENTRY, decimal_number, tidied
from qc_app.refusal import Refusal, shortened

WETTEST = 200
"""Percent; green sapwood holds up to about this much water (Wood Handbook FPL-GTR-282, table 4-1)."""
EXTRAPOLATED_ABOVE = 95.0
"""Percent relative humidity where the table behind the equilibrium equation ends."""

_COLDEST, _HOTTEST = -40.0, 130.0
_MAGNUS_SLOPE, _MAGNUS_OFFSET = 17.625, 243.04  # the offset in °C

F = TypeVar("F", float, NDArray[np.float64])


def parse_percent(text: str) -> Fraction:
    """The exact percentage that ``text`` states: ``14.5``, ``14.5 %``, ``14,5%``; from 0 to 200.

    Raises ``Refusal`` for anything else.

    >>> parse_percent("14.5 %")
    Fraction(29, 2)
    """
    if len(text) > LONGEST_ENTRY:
        raise Refusal("“{given}” is too long for a percentage.", given=shortened(text))
    percent = decimal_number(tidied(text).removesuffix("%").rstrip())
    if percent > WETTEST:
        raise Refusal(
            "A percentage of {given} is out of reach: from 0 to {wettest}.",
            given=tidied(text),
            wettest=WETTEST,
        )
    return percent


def equilibrium_moisture_content(temperature_c: F, relative_humidity_percent: F) -> F:
    """Percent moisture that wood comes to in air of this temperature and relative humidity.

    Wood Handbook (FPL-GTR-282), equation 4-5, with its coefficients for °C; numbers or arrays. It was fitted
    to measurements on Sitka spruce and holds for other species within a point or so (from memory). Above
    ``EXTRAPOLATED_ABOVE`` percent relative humidity it goes beyond the table it was fitted to.

    Raises ``Refusal`` for a temperature outside −40 to 130 °C and a relative humidity outside 0 to 100 %.

    >>> round(equilibrium_moisture_content(21.1, 65), 1)
    12.0
    """
    _check_range(temperature_c, _COLDEST, _HOTTEST, "temperature", "°C")
    _check_range(relative_humidity_percent, 0, 100, "relative humidity", "%")
    t, h = temperature_c, relative_humidity_percent / 100
    w = 349 + 1.29 * t + 0.0135 * t**2
    kh = (0.805 + 0.000736 * t - 0.00000273 * t**2) * h
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    bound, dissolved = k1 * kh, k1 * k2 * kh**2
    return 1800 / w * (kh / (1 - kh) + (bound + 2 * dissolved) / (1 + bound + dissolved))


def dew_point(temperature_c: float, relative_humidity_percent: float) -> float:
    """°C at which air of this temperature and relative humidity begins to shed water.

    Magnus formula over water with the coefficients of Alduchov and Eskridge, "Improved Magnus form
    approximation of saturation vapor pressure", Journal of Applied Meteorology 35 (1996) 601-609, good to
    0.4 % of the vapour pressure from −40 to 50 °C. Coefficients and limits are from memory of the paper; the
    tests compare them with steam tables.

    Raises ``Refusal`` outside that range and for a relative humidity that is not above 0 and at most 100 %.

    >>> round(dew_point(20, 50), 1)
    9.3
    """
    _check_range(temperature_c, -40, 50, "temperature", "°C")
    _check_range(relative_humidity_percent, 0, 100, "relative humidity", "%")
    if relative_humidity_percent == 0:
        raise Refusal("Air without any moisture has no dew point.")
    saturated = _MAGNUS_SLOPE * temperature_c / (_MAGNUS_OFFSET + temperature_c)
    exponent = saturated + math.log(relative_humidity_percent / 100)
    return _MAGNUS_OFFSET * exponent / (_MAGNUS_SLOPE - exponent)


@dataclass(frozen=True)
class CorrectionTable:
    """The table of one pin meter: what its maker says to read at each temperature of the wood.

    Such a table belongs to an instrument and a species; none is built in. Values between are interpolated.

    ``temperatures_c``  °C, rising
    ``readings``        percent, rising
    ``corrected``       percent: ``corrected[i][j]`` for ``temperatures_c[i]`` and ``readings[j]``

    Raises ``Refusal`` for a table that is ragged, too small or not rising.
    """

    temperatures_c: tuple[float, ...]
    readings: tuple[float, ...]
    corrected: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        rows = len(self.corrected) == len(self.temperatures_c)
        if not rows or any(len(row) != len(self.readings) for row in self.corrected):
            raise Refusal(
                "A correction table needs one row for each temperature and one column for each reading."
            )
        for axis in (self.temperatures_c, self.readings):
            if len(axis) < 2 or any(later <= earlier for earlier, later in pairwise(axis)):
                raise Refusal("A correction table needs two or more rising temperatures and rising readings.")
        if not all(math.isfinite(value) for row in (*self.corrected, self.readings) for value in row):
            raise Refusal("A correction table holds finite numbers only.")

    def corrected_reading(self, reading: float, temperature_c: float) -> float:
        """The moisture content behind ``reading`` at this temperature; ``Refusal`` beyond the table."""
        row, across = _place(self.temperatures_c, temperature_c, "temperature", "°C")
        column, along = _place(self.readings, reading, "reading", "%")
        upper, lower = (
            values[column] + along * (values[column + 1] - values[column])
            for values in self.corrected[row : row + 2]
        )
        return upper + across * (lower - upper)


def _place(axis: tuple[float, ...], value: float, name: str, unit: str) -> tuple[int, float]:
    _check_range(value, axis[0], axis[-1], name, unit)
    at = min(bisect_right(axis, value), len(axis) - 1) - 1
    return at, (value - axis[at]) / (axis[at + 1] - axis[at])


def _check_range(value: float | NDArray[np.float64], least: float, most: float, name: str, unit: str) -> None:
    odd = ~((np.asarray(value) >= least) & (np.asarray(value) <= most))
    if odd.any():
        raise Refusal(
            "The {name} must lie between {least} and {most} {unit}, not {value}.",
            name=name,
            least=least,
            most=most,
            unit=unit,
            value=float(np.asarray(value).ravel()[np.argmax(odd)]),
        )
