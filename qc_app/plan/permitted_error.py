"""How far off an instrument may be when it is checked, and how uncertain that leaves one reading.

All amounts are in grains of the quantity that the instrument measures.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from qc_app.measure.budget import rectangular
from qc_app.measure.length import Length
from qc_app.measure.scale import ScaleClass, service_errors
from qc_app.measure.tape import AccuracyClass, class_error, handbook_44_tolerance, reading_uncertainty
from qc_app.plan.quantity import NANOMETRES_PER_INCH
from qc_app.refusal import Refusal, shortened

ACCURACY_CLASSES: dict[str, tuple[str, ...]] = {"tape": tuple(AccuracyClass), "scale": tuple(ScaleClass)}
"""The classes that a kind of instrument may have; other kinds have none."""

COVERAGE = 2
"""Of a check against a reference where no class says more: two standard uncertainties, about 95 % (JCGM
100:2008, 6.3.3)."""

_LONGEST_TAPE = 30
_HANDBOOK_FEET = (6, 30, 55, 80, 100)


@dataclass(frozen=True)
class Step:
    """Up to a reference, with it, an instrument may be off by ``error``; ``up_to`` None: whatever it is."""

    up_to: int | None
    error: int


def check_class(kind: str, accuracy_class: str, graduation: int | None) -> None:
    """Raises Refusal unless instruments of the kind have that class; a scale's counts in graduations."""
    known = ACCURACY_CLASSES.get(kind, ())
    if accuracy_class and accuracy_class not in known:
        raise Refusal(
            "There is no accuracy class “{given}” for this kind of instrument. Known: {known}.",
            about="accuracy_class",
            given=shortened(accuracy_class),
            known=", ".join(known) or "–",
        )
    if accuracy_class and kind == "scale" and not graduation:
        raise Refusal("The class of a scale counts in its graduations: enter that too.", about="graduation")


def permitted_steps(
    kind: str, accuracy_class: str, graduation: int | None, standard_uncertainty: int
) -> tuple[Step, ...]:
    """How far off an instrument may be, by the size of the reference.

    By its class: a tape's maximum permissible error (Directive 2014/32/EU, MI-008), a scale's in service
    (Directive 2014/31/EU, annex I). A tape without a class: NIST Handbook 44, 5.52, table 2. All else: two
    standard uncertainties of one reading, but not less than a graduation (common practice).
    """
    if kind == "tape":
        return _tape_steps(accuracy_class)
    if accuracy_class and graduation:
        return tuple(Step(*step) for step in service_errors(graduation, ScaleClass(accuracy_class)))
    return (Step(None, max(COVERAGE * standard_uncertainty, graduation or 0)),)


def permitted_error(steps: Sequence[Step], reference: int) -> int:
    """What is permitted at one reference. Raises Refusal where the steps end before it."""
    for step in steps:
        if step.up_to is None or abs(reference) <= step.up_to:
            return step.error
    raise Refusal("The instrument's class says nothing about a reference so large.", about="reference")


def class_uncertainty(kind: str, accuracy_class: str, graduation: int | None, largest: int) -> int | None:
    """Standard uncertainty of one reading up to ``largest``, from class and graduation; None without a class.

    Anywhere within the permissible error and within half a graduation, with equal chance (JCGM 100:2008,
    4.3.7): each divided by √3, then added in squares.

    Raises
    ------
    Refusal
        If the size is not above zero, or beyond the class.
    """
    if not accuracy_class:
        return None
    check_class(kind, accuracy_class, graduation)
    if kind == "tape":
        return _tape_uncertainty(AccuracyClass(accuracy_class), graduation, largest)
    error = permitted_error(permitted_steps(kind, accuracy_class, graduation, 0), largest)
    return round(math.hypot(rectangular(error), rectangular((graduation or 0) / 2)))


def _tape_steps(accuracy_class: str) -> tuple[Step, ...]:
    if accuracy_class:
        metres = [Length.from_millimetres(1000 * n) for n in range(1, _LONGEST_TAPE + 1)]
        known = AccuracyClass(accuracy_class)
        return tuple(Step(length.nanometres, class_error(length, known).nanometres) for length in metres)
    feet = [Length.from_inches(12 * n) for n in _HANDBOOK_FEET]
    return tuple(Step(length.nanometres, handbook_44_tolerance(length).nanometres) for length in feet)


def _tape_uncertainty(accuracy_class: AccuracyClass, graduation: int | None, longest: int) -> int:
    length = Length.from_nanometres(longest)
    error = class_error(length, accuracy_class)
    if graduation is None:
        return round(rectangular(error.nanometres))
    marks = Length.from_nanometres(graduation)
    budget = reading_uncertainty(length, graduation=marks, permitted_error=error)
    return round(budget.standard_uncertainty * NANOMETRES_PER_INCH)
