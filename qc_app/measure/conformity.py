"""Does a value meet its limits, and how sure is that?

Decision rules after JCGM 106:2012 "The role of measurement uncertainty in conformity assessment", clause 8
(from memory), and ISO 14253-1; the rounding method of limits after ASTM E29.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from qc_app.measure.probability import conformance_probability
from qc_app.measure.value import Value, check_same_kind, number, shown
from qc_app.refusal import Refusal

__all__ = ["Limits", "Rule", "Value", "Verdict", "conformance_probability", "judge"]


class Verdict(StrEnum):
    """What a reading says about its limits; unclear when nearer to a limit than the measurement can tell."""

    WITHIN = "within"
    OUTSIDE = "outside"
    UNCLEAR = "unclear"


@dataclass(frozen=True)
class Limits:
    """Limits of tolerance: a lower one, an upper one, or both; in the unit of the values judged by them.

    ``rounded_to`` says how the limits are meant (ASTM E29):

    - None is the absolute method: every digit of a value counts.
    - A unit such as ``Fraction(1, 10)`` is the rounding method: a value is first rounded to the nearest
      multiple of the unit, the even one at half-way.

    Raises ``Refusal`` when neither limit is given, when one is not finite, when the lower lies above the
    upper, when lengths and numbers are mixed, and for a rounding unit that is not more than zero.
    """

    lower: Value | None = None
    upper: Value | None = None
    rounded_to: Value | None = None

    def __post_init__(self) -> None:
        stated = [limit for limit in (self.lower, self.upper, self.rounded_to) if limit is not None]
        for limit in stated:
            number(limit, "limit")
            check_same_kind(limit, stated[0])
        if self.lower is None and self.upper is None:
            raise Refusal("A tolerance needs a lower limit, an upper limit, or both.")
        if self.lower is not None and self.upper is not None and _is_above(self.lower, self.upper):
            raise Refusal(
                "The lower limit {lower} is above the upper limit {upper}.",
                lower=shown(self.lower),
                upper=shown(self.upper),
            )
        if self.rounded_to is not None and number(self.rounded_to, "rounding") <= 0:
            raise Refusal(
                "A value is rounded to a unit more than zero, not {unit}.", unit=shown(self.rounded_to)
            )


class Rule(StrEnum):
    """How the uncertainty of a value enters its verdict (JCGM 106:2012, 8.2 and 8.3, from memory).

    - Simple acceptance: not at all; the limits decide.
    - Guarded acceptance: a guard band inside the limits is unclear, so that within is proven.
    - Guarded rejection: a guard band outside the limits is unclear, so that outside is proven.
    """

    SIMPLE_ACCEPTANCE = "simple_acceptance"
    GUARDED_ACCEPTANCE = "guarded_acceptance"
    GUARDED_REJECTION = "guarded_rejection"


def judge(
    value: Value,
    limits: Limits,
    *,
    standard_uncertainty: Value | None = None,
    rule: Rule = Rule.SIMPLE_ACCEPTANCE,
    coverage: float | Fraction = 2,
    guard: float | Fraction = 1,
) -> Verdict:
    """The verdict on ``value``, compared exactly; a value on a limit is within it.

    The guard band is ``guard`` times the expanded uncertainty, which is ``coverage`` times
    ``standard_uncertainty``; its far edge is a limit too.

    Raises ``Refusal`` for a value that is not finite, a number where the limits are lengths, a guarded rule
    without an uncertainty, and an uncertainty, coverage or guard that is not more than zero.

    >>> judge(Fraction(1, 16), Limits(upper=Fraction(1, 16)))
    <Verdict.WITHIN: 'within'>
    >>> judge(17.8, Limits(upper=18), standard_uncertainty=0.5, rule=Rule.GUARDED_ACCEPTANCE)
    <Verdict.UNCLEAR: 'unclear'>
    """
    for limit in (limits.lower, limits.upper):
        if limit is not None:
            check_same_kind(value, limit)
    at = _rounded(number(value, "value"), limits)
    if standard_uncertainty is not None:
        check_same_kind(standard_uncertainty, value)
    band = _guard_band(standard_uncertainty, rule, coverage, guard)
    is_within = _is_between(at, limits, Fraction(0))
    if rule is Rule.GUARDED_ACCEPTANCE and is_within:
        return Verdict.WITHIN if _is_between(at, limits, -band) else Verdict.UNCLEAR
    if rule is Rule.GUARDED_REJECTION and not is_within:
        return Verdict.UNCLEAR if _is_between(at, limits, band) else Verdict.OUTSIDE
    return Verdict.WITHIN if is_within else Verdict.OUTSIDE


def _rounded(at: Fraction, limits: Limits) -> Fraction:
    if limits.rounded_to is None:
        return at
    unit = number(limits.rounded_to, "rounding")
    return round(at / unit) * unit


def _guard_band(
    standard_uncertainty: Value | None, rule: Rule, coverage: float | Fraction, guard: float | Fraction
) -> Fraction:
    if standard_uncertainty is None:
        if rule is Rule.SIMPLE_ACCEPTANCE:
            return Fraction(0)
        raise Refusal("A guarded rule needs the standard uncertainty of the value.")
    factors = {
        "standard uncertainty": standard_uncertainty,
        "coverage factor": coverage,
        "guard factor": guard,
    }
    for name, factor in factors.items():
        if number(factor, name) <= 0:
            raise Refusal("The {name} must be more than zero, not {value}.", name=name, value=shown(factor))
    return math.prod((number(factor, name) for name, factor in factors.items()), start=Fraction(1))


def _is_between(at: Fraction, limits: Limits, wider: Fraction) -> bool:
    above = limits.lower is None or at >= number(limits.lower, "limit") - wider
    below = limits.upper is None or at <= number(limits.upper, "limit") + wider
    return above and below


def _is_above(one: Value, other: Value) -> bool:
    return number(one, "limit") > number(other, "limit")
