"""Decision rules, conformance probability and the risks of a process."""

import math
from fractions import Fraction

import mpmath  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.conformity import Limits, Rule, Verdict, conformance_probability, judge
from qc_app.measure.length import Length
from qc_app.measure.risk import global_risks
from qc_app.refusal import Refusal

LIMITS = Limits(-1, 1)
TENTH = Fraction(1, 10)


@pytest.mark.parametrize(
    ("value", "simple", "acceptance", "rejection"),
    [
        (Fraction(0), Verdict.WITHIN, Verdict.WITHIN, Verdict.WITHIN),
        (Fraction(8, 10), Verdict.WITHIN, Verdict.WITHIN, Verdict.WITHIN),
        (Fraction(81, 100), Verdict.WITHIN, Verdict.UNCLEAR, Verdict.WITHIN),
        (Fraction(1), Verdict.WITHIN, Verdict.UNCLEAR, Verdict.WITHIN),
        (Fraction(101, 100), Verdict.OUTSIDE, Verdict.OUTSIDE, Verdict.UNCLEAR),
        (Fraction(12, 10), Verdict.OUTSIDE, Verdict.OUTSIDE, Verdict.UNCLEAR),
        (Fraction(121, 100), Verdict.OUTSIDE, Verdict.OUTSIDE, Verdict.OUTSIDE),
    ],
)
def test_guard_bands_are_unclear(
    value: Fraction, simple: Verdict, acceptance: Verdict, rejection: Verdict
) -> None:
    # JCGM 106:2012, 8.2 to 8.3.3, clauses from memory; ISO 14253-1: guard band equal to the expanded
    # uncertainty 2u
    verdicts = {
        Rule.SIMPLE_ACCEPTANCE: simple,
        Rule.GUARDED_ACCEPTANCE: acceptance,
        Rule.GUARDED_REJECTION: rejection,
    }
    for rule, verdict in verdicts.items():
        assert judge(value, LIMITS, standard_uncertainty=TENTH, rule=rule) is verdict
        assert judge(-value, LIMITS, standard_uncertainty=TENTH, rule=rule) is verdict


def test_the_guard_band_is_a_multiple_of_the_expanded_uncertainty() -> None:
    for guard, verdict in ((Fraction(1, 2), Verdict.WITHIN), (Fraction(2), Verdict.UNCLEAR)):
        found = judge(
            Fraction(9, 10), LIMITS, standard_uncertainty=TENTH, rule=Rule.GUARDED_ACCEPTANCE, guard=guard
        )
        assert found is verdict
    wide = judge(
        Fraction(7, 10), LIMITS, standard_uncertainty=TENTH, rule=Rule.GUARDED_ACCEPTANCE, coverage=4
    )
    assert wide is Verdict.UNCLEAR


def test_a_guard_band_wider_than_the_tolerance_proves_nothing() -> None:
    assert judge(0, LIMITS, standard_uncertainty=1, rule=Rule.GUARDED_ACCEPTANCE) is Verdict.UNCLEAR


def test_lengths_are_guarded_by_lengths() -> None:
    sixteenth = Length(Fraction(1, 16))
    limits = Limits(-sixteenth, sixteenth)
    spread = Length(Fraction(1, 64))
    rule = Rule.GUARDED_ACCEPTANCE
    assert judge(Length(Fraction(1, 32)), limits, standard_uncertainty=spread, rule=rule) is Verdict.WITHIN
    assert judge(Length(Fraction(3, 64)), limits, standard_uncertainty=spread, rule=rule) is Verdict.UNCLEAR
    with pytest.raises(Refusal, match="length"):
        judge(sixteenth, limits, standard_uncertainty=0.01, rule=rule)


@given(st.fractions(-2, 2), st.fractions(Fraction(1, 100), 1))
def test_guarded_rules_only_soften_the_simple_one(value: Fraction, spread: Fraction) -> None:
    simple = judge(value, LIMITS)
    for rule, firm in ((Rule.GUARDED_ACCEPTANCE, Verdict.OUTSIDE), (Rule.GUARDED_REJECTION, Verdict.WITHIN)):
        found = judge(value, LIMITS, standard_uncertainty=spread, rule=rule)
        assert found in (simple, Verdict.UNCLEAR)
        if simple is firm:
            assert found is firm


def test_a_guarded_rule_needs_an_uncertainty() -> None:
    with pytest.raises(Refusal, match="needs the standard uncertainty"):
        judge(0, LIMITS, rule=Rule.GUARDED_ACCEPTANCE)


@pytest.mark.parametrize("spread", [0, -1, math.nan, math.inf])
def test_an_uncertainty_is_positive(spread: float) -> None:
    with pytest.raises(Refusal, match="standard uncertainty"):
        judge(0, LIMITS, standard_uncertainty=spread, rule=Rule.GUARDED_ACCEPTANCE)
    with pytest.raises(Refusal, match="standard uncertainty"):
        conformance_probability(0, spread, upper=1)
    with pytest.raises(Refusal, match="standard uncertainty"):
        conformance_probability(np.zeros(2), spread, upper=1)
    with pytest.raises(Refusal, match="coverage"):
        judge(0, LIMITS, standard_uncertainty=1, coverage=spread)
    with pytest.raises(Refusal, match="guard"):
        judge(0, LIMITS, standard_uncertainty=1, guard=spread)
    with pytest.raises(Refusal, match="standard uncertainty"):
        global_risks(0, 1, spread, LIMITS)
    with pytest.raises(Refusal, match="deviation"):
        global_risks(0, spread, 1, LIMITS)


# ASTM E29, a minimum of 3.5 lb/ft³: value, by the absolute method, rounded to 0.1 half to even, by the
# rounding method
@pytest.mark.parametrize(
    ("value", "absolute", "rounded"),
    [
        ("3.45", Verdict.OUTSIDE, Verdict.OUTSIDE),
        ("3.46", Verdict.OUTSIDE, Verdict.WITHIN),
        ("3.449", Verdict.OUTSIDE, Verdict.OUTSIDE),
        ("3.49", Verdict.OUTSIDE, Verdict.WITHIN),
        ("3.5", Verdict.WITHIN, Verdict.WITHIN),
        ("3.35", Verdict.OUTSIDE, Verdict.OUTSIDE),
        ("3.55", Verdict.WITHIN, Verdict.WITHIN),
    ],
)
def test_a_limit_is_absolute_or_rounded(value: str, absolute: Verdict, rounded: Verdict) -> None:
    least = Fraction("3.5")
    assert judge(Fraction(value), Limits(lower=least)) is absolute
    assert judge(Fraction(value), Limits(lower=least, rounded_to=TENTH)) is rounded


def test_half_way_is_rounded_to_even() -> None:
    # ASTM E29: 3.45 and 3.35 both become 3.4, 3.55 becomes 3.6
    exactly = {"3.45": "3.4", "3.35": "3.4", "3.449": "3.4", "3.55": "3.6"}
    for value, rounded in exactly.items():
        limits = Limits(Fraction(rounded), Fraction(rounded), TENTH)
        assert judge(Fraction(value), limits) is Verdict.WITHIN


def test_a_rounding_unit_is_positive_and_of_the_same_kind() -> None:
    with pytest.raises(Refusal, match="rounded"):
        Limits(lower=1, rounded_to=0)
    with pytest.raises(Refusal, match="length"):
        Limits(lower=1, rounded_to=Length(Fraction(1, 16)))


def test_published_conformance_probabilities() -> None:
    # JCGM 106:2012, clause 7: Zener voltage, bursting strength, kinematic viscosity; figures from memory,
    # recomputed
    assert conformance_probability(-5.47, 0.05, upper=-5.4) == pytest.approx(0.9192433407662273, abs=1e-12)
    assert conformance_probability(509.7, 8.6, lower=490) == pytest.approx(0.9890095473848222, abs=1e-12)
    found = conformance_probability(13.6, 1.8, lower=12.5, upper=16.3)
    assert found == pytest.approx(0.6626297864953079, abs=1e-12)


VALUES = st.floats(-50, 50)


@given(VALUES, st.floats(0.01, 20), VALUES, VALUES)
def test_conformance_probability_in_forty_digits(
    value: float, spread: float, one: float, other: float
) -> None:
    lower, upper = sorted((one, other))
    with mpmath.workdps(40):
        at, scale = mpmath.mpf(value), mpmath.mpf(spread) * mpmath.sqrt(2)
        expected = float((mpmath.erf((upper - at) / scale) - mpmath.erf((lower - at) / scale)) / 2)
        below = float(mpmath.erfc((at - upper) / scale) / 2)
    assert conformance_probability(value, spread, lower, upper) == pytest.approx(expected, abs=1e-12)
    assert conformance_probability(value, spread, upper=upper) == pytest.approx(below, abs=1e-12)
    many = conformance_probability(np.array([value, value]), spread, lower, upper)
    assert many == pytest.approx([expected, expected], abs=1e-12)


def test_far_tails_are_not_lost() -> None:
    # 1 − Φ(10) = 7.6199e-24 (Abramowitz and Stegun, table 26.2)
    assert conformance_probability(0, 1, lower=10) == pytest.approx(7.619853e-24, rel=1e-6)
    assert conformance_probability(np.array([0.0]), 1, lower=10)[0] == pytest.approx(7.619853e-24, rel=1e-6)


def test_lengths_conform_like_numbers() -> None:
    spread, limit = Length(Fraction(1, 32)), Length(Fraction(1, 16))
    found = conformance_probability(Length(Fraction(1, 16)), spread, -limit, limit)
    assert found == pytest.approx(conformance_probability(0.0625, 1 / 32, -0.0625, 0.0625))
    with pytest.raises(Refusal, match="length"):
        conformance_probability(0.0625, spread, -limit, limit)


def test_an_impossible_question_is_refused() -> None:
    with pytest.raises(Refusal, match="lower limit, an upper limit"):
        conformance_probability(0, 1)
    with pytest.raises(Refusal, match="above"):
        conformance_probability(0, 1, 2, 1)
    for value in (math.nan, math.inf):
        with pytest.raises(Refusal, match="value must be a finite"):
            conformance_probability(value, 1, upper=1)
        with pytest.raises(Refusal, match="value must be a finite"):
            conformance_probability(np.array([0.0, value]), 1, upper=1)
        with pytest.raises(Refusal, match="upper limit must be a finite"):
            conformance_probability(0, 1, upper=value)
        with pytest.raises(Refusal, match="mean"):
            global_risks(value, 1, 1, LIMITS)


def risks_in_high_precision(
    mean: float, deviation: float, spread: float, limits: tuple[float, float], acceptance: tuple[float, float]
) -> tuple[float, float]:
    with mpmath.workdps(25):

        def accepted(true: mpmath.mpf) -> mpmath.mpf:
            low, high = acceptance
            return mpmath.ncdf((high - true) / spread) - mpmath.ncdf((low - true) / spread)

        def density(true: mpmath.mpf) -> mpmath.mpf:
            return mpmath.npdf(true, mean, deviation)

        low, high = limits
        reach = 12 * deviation
        ends = [mean - reach, low, high, mean + reach]
        below, inside, above = (mpmath.linspace(ends[n], ends[n + 1], 12) for n in range(3))
        consumers = mpmath.quad(lambda t: density(t) * accepted(t), below)
        consumers += mpmath.quad(lambda t: density(t) * accepted(t), above)
        producers = mpmath.quad(lambda t: density(t) * (1 - accepted(t)), inside)
        return float(consumers), float(producers)


@pytest.mark.parametrize(
    ("mean", "deviation", "spread", "acceptance"),
    [
        (0.0, 1.0, 0.25, (-2.0, 2.0)),
        (0.5, 1.0, 0.25, (-1.5, 1.5)),
        (0.0, 1.0, 0.5, (-2.5, 2.5)),
        (-1.0, 0.6, 0.1, (-2.0, 2.0)),
    ],
)
def test_global_risks_in_high_precision(
    mean: float, deviation: float, spread: float, acceptance: tuple[float, float]
) -> None:
    found = global_risks(mean, deviation, spread, Limits(-2, 2), Limits(*acceptance))
    consumers, producers = risks_in_high_precision(mean, deviation, spread, (-2, 2), acceptance)
    assert found.consumers == pytest.approx(consumers, abs=1e-9)
    assert found.producers == pytest.approx(producers, abs=1e-9)
    assert found.conforming == pytest.approx(conformance_probability(mean, deviation, -2, 2), abs=1e-12)


def test_guarding_trades_one_risk_for_the_other() -> None:
    simple = global_risks(0, 1, 0.25, Limits(-2, 2))
    guarded = global_risks(0, 1, 0.25, Limits(-2, 2), Limits(-1.5, 1.5))
    assert guarded.consumers < simple.consumers
    assert guarded.producers > simple.producers


def test_a_perfect_instrument_errs_never() -> None:
    perfect = global_risks(0, 1, 1e-7, Limits(upper=1))
    assert perfect.consumers == pytest.approx(0, abs=1e-7)
    assert perfect.producers == pytest.approx(0, abs=1e-7)
