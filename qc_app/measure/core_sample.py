"""A core of blown fill: mass and size in, density out.

Exact factors (NIST SP 811, appendix B.8): 1 in = 25.4 mm, 1 lb = 0.45359237 kg = 16 oz.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.entry import DECIMAL, LONGEST_ENTRY, decimal_number, exact, tidied
from qc_app.measure.length import Length, positive_inches
from qc_app.refusal import Refusal, shortened

GRAMS_PER_POUND = Fraction(45_359_237, 100_000)
GRAMS_PER_OUNCE = GRAMS_PER_POUND / 16
KILOGRAMS_PER_CUBIC_METRE = float(GRAMS_PER_POUND / 1000 / Fraction(3048, 10_000) ** 3)
"""One pound per cubic foot in kg/m³: 0.45359237 / 0.3048³ = 16.01846…"""

_GRAMS_PER_UNIT = {"": Fraction(1), "g": Fraction(1), "kg": Fraction(1000)}
_GRAMS_PER_UNIT |= {"oz": GRAMS_PER_OUNCE, "lb": GRAMS_PER_POUND, "lbs": GRAMS_PER_POUND}
_MASS = re.compile(rf"(?P<number>{DECIMAL}) ?(?P<unit>g|kg|oz|lbs?|)")


@dataclass(frozen=True, order=True, slots=True)
class Mass:
    """A mass in grams, exact. ``Refusal`` is raised for NaN and infinity."""

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


def core_density(
    mass: Mass | float, bore: Length | float, depth: Length | float, tare: Mass | float = 0
) -> Density:
    """Density of a cylindrical core: (mass − tare) / (π/4 · bore² · depth).

    ``mass`` is what the scale shows and ``tare`` what of it is not fill (bag, tin): ``Mass``, or a number
    of grams. ``bore`` is the inside diameter of the cutter and ``depth`` the depth cored: ``Length``, or a
    number of inches.

    Raises ``Refusal`` for a mass, bore or depth that is zero, negative or not finite, for a negative tare
    and for a tare not below the mass.

    >>> density = core_density(60.0, 2.5, 11.25)
    >>> round(density.pounds_per_cubic_foot, 3), round(density.kilograms_per_cubic_metre, 1)
    (4.139, 66.3)
    """
    gross, empty = _grams(mass, "mass of the core"), _grams(tare, "tare")
    if empty < 0:
        raise Refusal("The tare of the core must not be negative, not {tare} g.", tare=float(empty))
    if gross <= empty:
        raise Refusal(
            "The mass of the core must be more than its tare: {mass} g and {tare} g.",
            mass=float(gross),
            tare=float(empty),
        )
    across, down = positive_inches(bore, "bore of the core"), positive_inches(depth, "depth of the core")
    cubic_metres = across**2 * down * Fraction("0.0254") ** 3
    return Density(float((gross - empty) / 1000 / cubic_metres) * 4 / math.pi)


def _grams(mass: Mass | float, name: str) -> Fraction:
    return mass.grams if isinstance(mass, Mass) else exact(mass, name)
