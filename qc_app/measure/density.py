"""Density, in the units of the shop and of the standards."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.mass import GRAMS_PER_POUND

KILOGRAMS_PER_CUBIC_METRE = float(GRAMS_PER_POUND / 1000 / Fraction(3048, 10_000) ** 3)
"""One pound per cubic foot in kg/m³: 0.45359237 / 0.3048³ = 16.01846…"""


@dataclass(frozen=True, order=True, slots=True)
class Density:
    """Mass by volume, held in kg/m³."""

    kilograms_per_cubic_metre: float

    @classmethod
    def from_pounds_per_cubic_foot(cls, pounds: float) -> Density:
        return cls(pounds * KILOGRAMS_PER_CUBIC_METRE)

    @property
    def pounds_per_cubic_foot(self) -> float:
        return self.kilograms_per_cubic_metre / KILOGRAMS_PER_CUBIC_METRE
