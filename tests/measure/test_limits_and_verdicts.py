"""A value is judged exactly: on the limit is within."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.conformity import Limits, Verdict, judge
from qc_app.measure.length import Length
from qc_app.refusal import Refusal

SIXTEENTH = Length(Fraction(1, 16))


def test_exactly_on_a_limit_is_within() -> None:
    limits = Limits(-SIXTEENTH, SIXTEENTH)
    assert judge(SIXTEENTH, limits) is Verdict.WITHIN
    assert judge(-SIXTEENTH, limits) is Verdict.WITHIN
    assert judge(SIXTEENTH + Length.from_nanometres(1), limits) is Verdict.OUTSIDE
    assert judge(-SIXTEENTH - Length.from_nanometres(1), limits) is Verdict.OUTSIDE


def test_a_limit_may_stand_on_one_side() -> None:
    assert judge(Fraction(18), Limits(upper=18)) is Verdict.WITHIN
    assert judge(18.000000001, Limits(upper=18)) is Verdict.OUTSIDE
    assert judge(3.4999, Limits(lower=3.5)) is Verdict.OUTSIDE


def test_a_float_is_compared_as_the_binary_fraction_it_holds() -> None:
    assert Fraction(0.1) > Fraction(1, 10)
    assert judge(0.1, Limits(upper=Fraction(1, 10))) is Verdict.OUTSIDE


@given(st.integers(-100, 100), st.integers(-100, 100), st.integers(-100, 100))
def test_within_means_between(value: int, one: int, other: int) -> None:
    lower, upper = sorted((one, other))
    assert (judge(value, Limits(lower, upper)) is Verdict.WITHIN) == (value in range(lower, upper + 1))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_finite_is_refused(value: float) -> None:
    with pytest.raises(Refusal, match="finite"):
        judge(value, Limits(0, 1))
    with pytest.raises(Refusal, match="finite"):
        Limits(upper=value)


def test_impossible_limits_are_refused() -> None:
    with pytest.raises(Refusal, match="above"):
        Limits(2, 1)
    with pytest.raises(Refusal, match="lower limit, an upper limit, or both"):
        Limits()


def test_a_length_is_not_compared_with_a_number() -> None:
    with pytest.raises(Refusal, match="length"):
        judge(0.0625, Limits(upper=SIXTEENTH))
    with pytest.raises(Refusal, match="length"):
        Limits(0, SIXTEENTH)
