"""Weighted averages and cumulative sums, against published examples and plain definitions."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.spc.weighted import cusum, ewma

# NIST/SEMATECH e-Handbook 6.3.2.4: 20 values, target 50, sigma 2.0539, weight 0.3.
PARTS = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
PARTS += [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
PRINTED = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
PRINTED += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]

# NIST/SEMATECH e-Handbook 6.3.2.3: 20 means, target 325, allowance 0.3175, decision 4.1959, as printed.
MEANS = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6]
MEANS += [324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35]
HIGH = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
LOW = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]


def test_weighted_averages_of_the_handbook() -> None:
    """The averages are from memory; they follow from the data. Asymptotic limits 52.5884 and 47.4115."""
    chart = ewma(PARTS, 50, 2.0539, 0.3)
    assert chart.points == pytest.approx(PRINTED, abs=0.0051)
    assert float(chart.upper[-1]) == pytest.approx(52.5884, abs=5e-4)
    assert float(chart.lower[-1]) == pytest.approx(47.4115, abs=5e-4)


def test_limits_of_the_first_averages_are_narrower() -> None:
    chart = ewma(PARTS, 50, 2, 0.3, 2.7)
    first = 2.7 * 2 * 0.3
    assert float(chart.upper[0]) == pytest.approx(50 + first)
    widths = chart.upper - chart.lower
    assert np.all(np.diff(widths) > 0)


def test_limits_are_those_of_the_weights_of_the_values() -> None:
    """The variance of an average is the sum of its squared weights, written out."""
    weight = 0.15
    for i, upper in enumerate(ewma(PARTS, 0, 1, weight).upper):
        weights = [weight * (1 - weight) ** age for age in range(i + 1)]
        assert upper == pytest.approx(3 * math.sqrt(sum(w * w for w in weights)))


def test_a_weight_of_one_is_a_chart_of_single_values() -> None:
    chart = ewma(PARTS, 50, 2, 1)
    assert chart.points.tolist() == PARTS
    assert chart.upper == pytest.approx(np.full(20, 56))


def test_cumulative_sums_of_the_handbook() -> None:
    """Half a unit of the second decimal, once a whole one: the worksheet carries rounded values on."""
    found = cusum(MEANS, 325, 0.635, 0.5, 4.1959 / 0.635)
    assert found.high == pytest.approx(HIGH, abs=0.0051)
    assert found.low == pytest.approx(LOW, abs=0.0051)
    assert found.decision == pytest.approx(4.1959)
    assert found.above.tolist() == [13, 14, 15, 16, 17, 18, 19], "the first signal is sample 14"
    assert found.below.size == 0


def test_the_moment_and_size_of_a_shift_are_estimated() -> None:
    (shift,) = cusum(MEANS, 325, 0.635, 0.5, 4.1959 / 0.635).shifts
    assert (shift.side, shift.start, shift.signal) == ("above", 12, 13)
    assert shift.mean == pytest.approx(np.mean(MEANS[12:14]))


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=40), st.floats(0, 1), st.floats(0, 3))
def test_the_sums_of_both_sides_mirror_each_other(values: list[float], allowance: float, head: float) -> None:
    ahead = cusum(values, 0, 1, allowance, 3, head_start=head)
    mirrored = cusum([-v for v in values], 0, 1, allowance, 3, head_start=head)
    assert ahead.high.tolist() == mirrored.low.tolist()
    assert [s.size for s in ahead.shifts] == [-s.size for s in mirrored.shifts] or len(ahead.shifts) > 1


def test_a_head_start_signals_sooner() -> None:
    late, soon = cusum([1.5] * 9, 0, 1), cusum([1.5] * 9, 0, 1, head_start=2.5)
    assert soon.above[0] < late.above[0]
    assert soon.high[0] == pytest.approx(3.5)


def test_the_estimated_mean_is_that_of_the_values_since_the_start() -> None:
    values = [0.1, -0.2, -1.8, -2.1, -2.4, -1.7]
    (shift,) = cusum(values, 0, 1).shifts
    assert shift.side == "below"
    assert shift.mean == pytest.approx(np.mean(values[shift.start : shift.signal + 1]))


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: ewma([], 0, 1), "at least 1 value"),
        (lambda: ewma([1.0], 0, 0), "Sigma"),
        (lambda: ewma([1.0], 0, 1, 0), "The weight"),
        (lambda: ewma([1.0], 0, 1, 1.2), "at most 1. Given: 1.2"),
        (lambda: ewma([float("nan")], 0, 1), "nan as value 1"),
        (lambda: ewma([1.0], float("inf"), 1), "The target"),
        (lambda: cusum([], 0, 1), "at least 1 value"),
        (lambda: cusum([1.0], 0, -1), "Sigma"),
        (lambda: cusum([1.0], 0, 1, -0.5), "allowance cannot be below zero"),
        (lambda: cusum([1.0], 0, 1, 0.5, 0), "decision limit"),
        (lambda: cusum([1.0], 0, 1, 0.5, 5, head_start=6), "head start lies between"),
    ],
)
def test_input_without_meaning_is_refused(act: Callable[[], object], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        act()
