"""The quantities a characteristic can have, and the grain in which each is stored.

A stored amount is a whole number of grains, never a float: lengths in nanometres (1/64 in is 396 875 nm and
1 mm is 1 000 000 nm, both exact), densities in millionths of a pound per cubic foot, moisture in millionths
of a percent, masses in micrograms, faults by count.
"""

import re
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Literal

from qc_app.measure.core_sample import Density
from qc_app.measure.length import Length, format_deviation, format_length, parse_length
from qc_app.measure.mass import GRAMS_PER_POUND, Mass, parse_mass
from qc_app.measure.moisture import parse_percent
from qc_app.refusal import Refusal, shortened

GRAINS = 1_000_000
"""Grains in one pound per cubic foot, in one percent, and in one gram."""

MINUS = "\N{MINUS SIGN}"
NANOMETRES_PER_INCH = 25_400_000


class Quantity(StrEnum):
    """What kind of thing a number measures."""

    LENGTH = "length"
    DENSITY = "density"
    MOISTURE = "moisture"
    MASS = "mass"
    COUNT = "count"


@dataclass(frozen=True)
class Units:
    """How a shop writes its numbers: ``imperial`` or ``metric``, and the graduation of its tapes."""

    system: Literal["imperial", "metric"] = "imperial"
    denominator: int = 16


_DENSITY = re.compile(r"(\d{1,6}(?:\.\d{1,9})?)\s*(lb/ft3|lb/ft³|kg/m3|kg/m³)", re.ASCII)


def parse_density(text: str) -> Fraction:
    """Density in lb/ft³ from ``3.5 lb/ft³`` or ``56 kg/m³``.

    Raises
    ------
    Refusal
        If there is no number with one of the two units.
    """
    match = _DENSITY.fullmatch(text.strip()[:40])
    if match is None:
        raise Refusal(
            "A density needs a number and its unit, lb/ft³ or kg/m³, such as 3.5 lb/ft³. Given: “{given}”.",
            given=shortened(text),
        )
    number = Fraction(match[1])
    if match[2].startswith("kg"):
        return number / Fraction("0.45359237") * Fraction("0.3048") ** 3
    return number


def parse_count(text: str) -> int:
    """A whole number from 0 to 9999."""
    cleaned = text.strip()
    if not re.fullmatch(r"\d{1,4}", cleaned, re.ASCII):
        raise Refusal("A count is a whole number from 0 to 9999. Given: “{given}”.", given=shortened(text))
    return int(cleaned)


def parse_amount(quantity: Quantity, text: str) -> int:
    """Grains from what a plan or a file says, rounded to the nearest grain where the unit does not divide."""
    match quantity:
        case Quantity.LENGTH:
            return parse_length(text).nanometres
        case Quantity.DENSITY:
            return round(parse_density(text) * GRAINS)
        case Quantity.MOISTURE:
            return round(parse_percent(text) * GRAINS)
        case Quantity.MASS:
            return mass_grains(parse_mass(text))
        case Quantity.COUNT:
            return parse_count(text)


def format_amount(quantity: Quantity, amount: int, units: Units) -> str:
    """An amount as the shop writes it, with its unit."""
    match quantity:
        case Quantity.LENGTH:
            length = Length.from_nanometres(amount)
            return format_length(length, _graduation(amount, units), units.system)
        case Quantity.DENSITY:
            return _density_text(amount, units)
        case Quantity.MOISTURE:
            return f"{_decimal(amount)} %"
        case Quantity.MASS:
            return f"{plotted(quantity, amount, units):.1f} {axis_unit(quantity, units)}"
        case Quantity.COUNT:
            return str(amount)


def format_difference(quantity: Quantity, amount: int, units: Units) -> str:
    """A deviation from target, always with its sign."""
    if quantity is Quantity.LENGTH:
        length = Length.from_nanometres(amount)
        return format_deviation(length, _graduation(amount, units), units.system)
    sign = "+" if amount > 0 else MINUS if amount < 0 else ""
    return sign + format_amount(quantity, abs(amount), units)


def format_derived(quantity: Quantity, amount: float, units: Units) -> str:
    """A small signed amount that was worked out rather than read: finer than the graduation of a tape.

    A mass has no sign: it is one, not a difference of two.
    """
    if quantity is Quantity.MASS:
        return format_amount(quantity, round(amount), units)
    sign = "+" if amount > 0 else MINUS if amount < 0 else ""
    return sign + _fine(quantity, abs(amount), units)


def format_spread(quantity: Quantity, standard_uncertainty: int | None, units: Units) -> str:
    """The expanded uncertainty of a reading for a coverage factor of 2; empty where it is not known."""
    return f"± {_fine(quantity, 2 * standard_uncertainty, units)}" if standard_uncertainty else ""


def plotted(quantity: Quantity, amount: float, units: Units) -> float:
    """An amount as a plain number on the axis of a chart (see ``axis_unit``)."""
    match quantity:
        case Quantity.LENGTH:
            return amount / (25_400_000 if units.system == "imperial" else 1_000_000)
        case Quantity.DENSITY:
            pounds = amount / GRAINS
            return pounds if units.system == "imperial" else float(pounds) * KILOGRAMS_PER_POUND
        case Quantity.MOISTURE:
            return amount / GRAINS
        case Quantity.MASS:
            return amount / GRAINS / (float(GRAMS_PER_POUND) if units.system == "imperial" else 1000)
        case Quantity.COUNT:
            return amount


def axis_unit(quantity: Quantity, units: Units) -> str:
    """The unit that ``plotted`` numbers are in; empty for a count."""
    imperial = units.system == "imperial"
    match quantity:
        case Quantity.LENGTH:
            return "in" if imperial else "mm"
        case Quantity.DENSITY:
            return "lb/ft³" if imperial else "kg/m³"
        case Quantity.MOISTURE:
            return "%"
        case Quantity.MASS:
            return "lb" if imperial else "kg"
        case Quantity.COUNT:
            return ""


KILOGRAMS_PER_POUND = 0.45359237 / 0.3048**3
"""kg/m³ in one lb/ft³, from the exact pound and foot (NIST SP 811, appendix B)."""


def _graduation(amount: int, units: Units) -> int:
    """The shop's own denominator, or a finer one where rounding could hide the side of a limit."""
    finer = (d for d in (units.denominator, 32, 64) if amount * d % NANOMETRES_PER_INCH == 0)
    return max(units.denominator, next(finer, units.denominator))


def _decimal(grains: int) -> str:
    """Grains as a decimal number with all its digits, and at least one after the point."""
    digits = f"{grains / GRAINS:.6f}".rstrip("0")
    return digits + "0" if digits.endswith(".") else digits


def _fine(quantity: Quantity, amount: float, units: Units) -> str:
    if quantity is not Quantity.LENGTH:
        return format_amount(quantity, round(amount), units)
    places = 3 if units.system == "imperial" else 1
    return f"{plotted(quantity, amount, units):.{places}f} {axis_unit(quantity, units)}"


def _density_text(amount: int, units: Units) -> str:
    pounds = amount / GRAINS
    if units.system == "imperial":
        return f"{pounds:.2f} lb/ft³"
    return f"{pounds * KILOGRAMS_PER_POUND:.1f} kg/m³"


def density_grains(density: Density) -> int:
    """The stored amount of a measured density."""
    return round(density.pounds_per_cubic_foot * GRAINS)


def mass_grains(mass: Mass) -> int:
    """The stored amount of a mass."""
    return round(mass.grams * GRAINS)
