"""Masses: exact values, and what people type for them.

Exact factors (NIST SP 811, appendix B.8): 1 lb = 0.45359237 kg = 16 oz.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.entry import DECIMAL, LONGEST_ENTRY, decimal_number, exact, tidied
from qc_app.refusal import Refusal, shortened

GRAMS_PER_POUND = Fraction(45_359_237, 100_000)
GRAMS_PER_OUNCE = GRAMS_PER_POUND / 16

_GRAMS_PER_UNIT = {"": Fraction(1), "g": Fraction(1), "kg": Fraction(1000)}
_GRAMS_PER_UNIT |= {"oz": GRAMS_PER_OUNCE, "lb": GRAMS_PER_POUND, "lbs": GRAMS_PER_POUND}
_MASS = re.compile(rf"(?P<number>{DECIMAL}) ?(?P<unit>g|kg|oz|lbs?|)")


@dataclass(frozen=True, order=True, slots=True)
class Mass:
    """A mass in grams, exact; raises ``Refusal`` for NaN and infinity."""

    grams: Fraction

    def __post_init__(self) -> None:
        object.__setattr__(self, "grams", exact(self.grams, "mass"))

    @classmethod
    def from_grams(cls, grams: float | Fraction) -> Mass:
        return cls(exact(grams, "mass"))

    @classmethod
    def from_ounces(cls, ounces: float | Fraction) -> Mass:
        return cls(exact(ounces, "mass") * GRAMS_PER_OUNCE)

    @classmethod
    def from_pounds(cls, pounds: float | Fraction) -> Mass:
        return cls(exact(pounds, "mass") * GRAMS_PER_POUND)

    @property
    def ounces(self) -> Fraction:
        return self.grams / GRAMS_PER_OUNCE

    @property
    def pounds(self) -> Fraction:
        return self.grams / GRAMS_PER_POUND

    def __sub__(self, other: Mass) -> Mass:
        return Mass(self.grams - other.grams) if isinstance(other, Mass) else NotImplemented


def parse_mass(text: str) -> Mass:
    """The exact mass that ``text`` states: ``60``, ``60.0 g``, ``2.1 oz``, ``0.06 kg``, ``1.5 lb``.

    A bare number is grams. Raises ``Refusal`` for anything else.

    >>> parse_mass("60.0 g") == parse_mass("60")
    True
    """
    match = _MASS.fullmatch(tidied(text).lower()) if len(text) <= LONGEST_ENTRY else None
    if match is None:
        raise Refusal("“{given}” is not a mass. Write one such as 60.0 g or 2.1 oz.", given=shortened(text))
    return Mass(decimal_number(match["number"]) * _GRAMS_PER_UNIT[match["unit"]])


def positive_grams(mass: Mass | float, name: str) -> Fraction:
    """The exact grams of a mass that must be more than zero; a plain number is grams.

    Raises ``Refusal`` naming the quantity.
    """
    grams = mass.grams if isinstance(mass, Mass) else exact(mass, name)
    if grams <= 0:
        raise Refusal("The {name} must be more than zero, not {grams} g.", name=name, grams=float(grams))
    return grams
