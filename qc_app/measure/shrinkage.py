"""How a member changes across the grain when its moisture content changes.

Along the grain wood hardly moves (0.1 to 0.2 % from green to oven-dry, Wood Handbook chapter 4), so panel
lengths stay while depths and widths change. All three formulas hold below fibre saturation, taken at 30 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from qc_app.refusal import Refusal

FIBRE_SATURATION = 30.0
"""Percent moisture content above which wood does not swell (Wood Handbook, chapter 4)."""
COEFFICIENT_RANGE = (6.0, 14.0)
"""Percent moisture content within which the coefficient of table 13-5 holds."""


def change_coefficient(shrinkage_percent: float) -> float:
    """Dimensional change coefficient C per percent of moisture, from the shrinkage green to oven-dry.

    C = (S/30) / (100 − 20 S/30): the relation between tables 4-3 and 13-5 of the Wood Handbook.

    Raises ``Refusal`` for a shrinkage that is not above 0 and below 30 %.

    >>> round(change_coefficient(7.0), 5)
    0.00245
    """
    if not 0 < shrinkage_percent < 30:
        raise Refusal("A shrinkage lies between 0 and 30 %, not {value} %.", value=shrinkage_percent)
    slope = shrinkage_percent / FIBRE_SATURATION
    return slope / (100 - 20 * slope)


def change_by_coefficient(size: float, coefficient: float, from_percent: float, to_percent: float) -> float:
    """Change of ``size`` across the grain, in its unit: size · C · (to − from).

    Wood Handbook (FPL-GTR-282), chapter 13, estimation using the dimensional change coefficient. Positive
    is growth.

    Raises ``Refusal`` for a moisture content outside 6 to 14 %, and for a size or coefficient not more than
    zero.

    >>> round(change_by_coefficient(9.15, 0.00245, 8, 11), 5)
    0.06725
    """
    _check_positive(size, "size")
    _check_positive(coefficient, "coefficient")
    for percent in (from_percent, to_percent):
        _check_percent(percent, *COEFFICIENT_RANGE)
    return size * coefficient * (to_percent - from_percent)


def change_by_shrinkage(
    size: float, shrinkage_percent: float, from_percent: float, to_percent: float
) -> float:
    """Change of ``size`` across the grain, in its unit, anywhere below fibre saturation.

    size · (to − from) / (30 · 100 / S − 30 + from): Wood Handbook (FPL-GTR-282), chapter 13, calculation
    from total shrinkage. A moisture content above 30 % counts as 30 %.

    Raises ``Refusal`` for a size that is not more than zero, a shrinkage that is not above 0 and below 30 %,
    and a moisture content outside 0 to 200 %.

    >>> round(change_by_shrinkage(11.25, 7.6, 19, 12), 3)
    -0.205
    """
    _check_positive(size, "size")
    if not 0 < shrinkage_percent < 30:
        raise Refusal("A shrinkage lies between 0 and 30 %, not {value} %.", value=shrinkage_percent)
    start, end = (
        min(_check_percent(percent, 0, 200), FIBRE_SATURATION) for percent in (from_percent, to_percent)
    )
    return size * (end - start) / (FIBRE_SATURATION * 100 / shrinkage_percent - FIBRE_SATURATION + start)


@dataclass(frozen=True)
class ShrinkageLine:
    """Shrinkage from green in percent: ``intercept`` − ``slope`` · moisture content in percent."""

    intercept: float
    slope: float


# Green, "Moisture content and the shrinkage of lumber", FPL-RP-489, after PS 20; for 8 to 19 % moisture.
WIDTH = ShrinkageLine(6.031, 0.215)
THICKNESS = ShrinkageLine(5.062, 0.181)
# Cedars and redwood: ASTM D1990, from memory.
CEDAR_AND_REDWOOD_WIDTH = ShrinkageLine(3.454, 0.157)
CEDAR_AND_REDWOOD_THICKNESS = ShrinkageLine(2.816, 0.128)


def change_of_lumber(
    size: float, from_percent: float, to_percent: float, line: ShrinkageLine = WIDTH
) -> float:
    """Change of a width or thickness of softwood lumber, in its unit (FPL-RP-489, after PS 20).

    size · ((100 − S(to)) / (100 − S(from)) − 1) with S of ``line``, taken as 0 where the line gives less:
    there the wood is still green.

    Raises ``Refusal`` for a size that is not more than zero and a moisture content outside 0 to 200 %.

    >>> round(change_of_lumber(11.25, 19, 12), 2)
    -0.17
    """
    _check_positive(size, "size")
    before, after = (
        max(line.intercept - line.slope * _check_percent(percent, 0, 200), 0.0)
        for percent in (from_percent, to_percent)
    )
    return size * ((100 - after) / (100 - before) - 1)


def _check_positive(value: float, name: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise Refusal(
            "The {name} must be a finite number, more than zero, not {value}.", name=name, value=value
        )


def _check_percent(percent: float, least: float, most: float) -> float:
    if not least <= percent <= most:
        raise Refusal(
            "The moisture content must lie between {least} and {most} %, not {percent}.",
            least=least,
            most=most,
            percent=percent,
        )
    return percent
