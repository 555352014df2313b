"""Density, in the units of the shop and of the standards."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.mass import GRAMS_PER_POUND

POUND_PER_CUBIC_FOOT = float(GRAMS_PER_POUND / 1000 / Fraction(3048, 10_000) ** 3)
"""In kg/m³: 0.45359237 / 0.3048³ = 16.01846…, both factors exact (NIST SP 811, appendix B.8)."""


@dataclass(frozen=True, order=True, slots=True)
class Density:
    """Mass by volume, held in kg/m³."""

    kilograms_per_cubic_metre: float

    @classmethod
    def from_pounds_per_cubic_foot(cls, pounds: float) -> Density:
        return cls(pounds * POUND_PER_CUBIC_FOOT)

    @property
    def pounds_per_cubic_foot(self) -> float:
        return self.kilograms_per_cubic_metre / POUND_PER_CUBIC_FOOT
