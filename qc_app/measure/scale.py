"""The scale: how far off it may be in service, by its accuracy class."""

from enum import StrEnum

from qc_app.refusal import Refusal


class ScaleClass(StrEnum):
    """Accuracy classes of non-automatic weighing instruments (Directive 2014/31/EU, annex I; OIML R 76-1)."""

    II = "II"
    III = "III"
    IIII = "IIII"


SCALE_STEPS = {
    ScaleClass.II: (5_000, 20_000, 100_000),
    ScaleClass.III: (500, 2_000, 10_000),
    ScaleClass.IIII: (50, 200, 1_000),
}
"""Loads, in verification intervals, up to which the first, second and third permissible error hold."""

# Twice 0.5, 1 and 1.5 intervals: in service a scale may be off by twice what a new one may (annex I, 4.2).
_IN_SERVICE = (1, 2, 3)


def service_errors(interval: int, accuracy_class: ScaleClass) -> list[tuple[int, int]]:
    """Loads up to which an error, plus or minus, is permitted in service; both in the unit of ``interval``.

    ``interval`` is the scale's verification interval e (Directive 2014/31/EU, annex I, table 3 and 4.2).
    Raises ``Refusal`` for an interval that is not more than zero.

    >>> service_errors(1, ScaleClass.III)
    [(500, 1), (2000, 2), (10000, 3)]
    """
    if interval <= 0:
        raise Refusal("The graduation of a scale is more than zero, not {given}.", given=interval)
    steps = zip(SCALE_STEPS[accuracy_class], _IN_SERVICE, strict=True)
    return [(intervals * interval, errors * interval) for intervals, errors in steps]
