"""The tape: its temperature, its permitted error, and how well one reading of it is known."""

from __future__ import annotations

import math
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from qc_app.measure.budget import Budget, rectangular
from qc_app.measure.entry import exact
from qc_app.measure.length import Length, positive_inches
from qc_app.refusal import Refusal

STEEL_EXPANSION = 11.6e-6
"""Per °C; common practice in surveying: 6.45 millionths per °F, which is 11.6 per °C."""
REFERENCE_TEMPERATURE = 20
"""°C at which a tape is right (ISO 1)."""

_COLDEST, _HOTTEST = -60, 80

L = TypeVar("L", float, Length, NDArray[np.float64])


def temperature_correction(
    length: L, temperature_c: float, *, expansion: float = STEEL_EXPANSION, material_expansion: float = 0.0
) -> L:
    """What to add to a reading taken with a tape at ``temperature_c``; in the unit and type of ``length``.

    (expansion − material_expansion) · (temperature − 20 °C) · length: negative on a cold tape, which reads
    long. With ``material_expansion`` the corrected reading is the length of the part at 20 °C, without it the
    length at the temperature the part has. Both expansions are per °C.

    ``length`` is a number in any unit, a ``Length`` or an array. Raises ``Refusal`` for a length that is
    negative or not finite, and for a temperature outside −60 to 80 °C.

    >>> round(temperature_correction(288.0, 5), 4)
    -0.0501
    """
    if not _COLDEST <= temperature_c <= _HOTTEST:
        raise Refusal(
            "A tape at {temperature} °C is out of reach: {coldest} to {hottest} °C.",
            temperature=temperature_c,
            coldest=_COLDEST,
            hottest=_HOTTEST,
        )
    degrees = temperature_c - REFERENCE_TEMPERATURE
    growth = (expansion - material_expansion) * degrees
    if isinstance(length, Length):
        return length * exact(growth, "expansion")
    if not (np.all(np.isfinite(length)) and np.all(np.asarray(length) >= 0)):
        raise Refusal("The length must be a finite number, not negative, not {length}.", length=length)
    return length * growth


class AccuracyClass(StrEnum):
    """Accuracy classes of material measures of length (Directive 2014/32/EU, annex X, MI-008, table 1)."""

    I = "I"  # noqa: E741 - the directive's own name
    II = "II"
    III = "III"


_CLASS_ERRORS = {
    AccuracyClass.I: (Fraction("0.1"), Fraction("0.1")),
    AccuracyClass.II: (Fraction("0.3"), Fraction("0.2")),
    AccuracyClass.III: (Fraction("0.6"), Fraction("0.4")),
}


def class_error(length: Length, accuracy_class: AccuracyClass) -> Length:
    """Maximum permissible error, plus or minus, of ``length`` on a tape of a European accuracy class.

    (a + b L) mm, with L in metres rounded up to the next whole metre (MI-008), at 20 °C and the stated pull.

    Raises ``Refusal`` for a length that is not more than zero.

    >>> float(class_error(Length.from_millimetres(8000), AccuracyClass.II).millimetres)
    1.9
    """
    positive_inches(length, "length")
    fixed, per_metre = _CLASS_ERRORS[accuracy_class]
    return Length.from_millimetres(fixed + per_metre * math.ceil(length.millimetres / 1000))


# feet up to which the tolerance in inches holds
_HANDBOOK_44 = (
    (6, Fraction(1, 32)),
    (30, Fraction(1, 16)),
    (55, Fraction(1, 8)),
    (80, Fraction(3, 16)),
    (100, Fraction(1, 4)),
)


def handbook_44_tolerance(length: Length) -> Length:
    """Tolerance, plus or minus, for an interval from zero of a metal tape (NIST Handbook 44, 5.52, table 2).

    The table names whole feet (6 or less, 7 to 30, 31 to 55, 56 to 80, 81 to 100); a length between two
    rows is taken for the longer one.

    Raises ``Refusal`` for a length that is not more than zero or beyond 100 ft.

    >>> handbook_44_tolerance(Length.from_inches(288))
    Length(inches=Fraction(1, 16))
    """
    feet = positive_inches(length, "length") / 12
    for longest, tolerance in _HANDBOOK_44:
        if feet <= longest:
            return Length(tolerance)
    raise Refusal("The table of tolerances for tapes ends at 100 ft, before {feet} ft.", feet=float(feet))


def nearest_graduation(length: Length, graduation: Length) -> Length:
    """``length`` to the nearest multiple of ``graduation``, the even one at half-way (Handbook 44, 10.3).

    >>> nearest_graduation(Length(Fraction(9, 32)), Length(Fraction(1, 16)))
    Length(inches=Fraction(1, 4))
    """
    step = positive_inches(graduation, "graduation")
    return Length(round(length.inches / step) * step)


def reading_uncertainty(
    length: Length,
    *,
    graduation: Length,
    permitted_error: Length | None = None,
    temperature_uncertainty: float = 0.0,
    expansion: float = STEEL_EXPANSION,
) -> Budget:
    """Budget, in inches, of one tape reading of ``length`` rounded to the nearest ``graduation``.

    The sources of the budget:

    ``graduation``   rectangular over half a graduation to either side
    ``tape``         rectangular over ``permitted_error``, plus or minus, that of the tape's class
    ``temperature``  ``temperature_uncertainty``, the standard uncertainty of the tape's temperature in °C,
                     times ``expansion`` per °C times the length

    Leave ``permitted_error`` out where readings of one tape are compared: they share the error of the tape.

    Raises ``Refusal`` for sizes that are not more than zero and for a negative temperature uncertainty.

    >>> sixteenth = Length(Fraction(1, 16))
    >>> size = Length.from_inches(288)
    >>> budget = reading_uncertainty(size, graduation=sixteenth, permitted_error=sixteenth)
    >>> round(budget.standard_uncertainty, 4)
    0.0403
    """
    inches = float(positive_inches(length, "length"))
    parts = {"graduation": rectangular(float(positive_inches(graduation, "graduation")) / 2)}
    if permitted_error is not None:
        parts["tape"] = rectangular(float(positive_inches(permitted_error, "permitted error of the tape")))
    if not (math.isfinite(temperature_uncertainty) and temperature_uncertainty >= 0):
        raise Refusal(
            "The uncertainty of a temperature must be a finite number, not negative, not {value}.",
            value=temperature_uncertainty,
        )
    if temperature_uncertainty:
        parts["temperature"] = expansion * inches * temperature_uncertainty
    return Budget(inches, parts)
