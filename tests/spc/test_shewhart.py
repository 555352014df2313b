"""Charts of single values and of subgroups, against published examples."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.spc.constants import shewhart_constants
from qc_app.spc.shewhart import between_within, individuals, means_and_deviations, means_and_ranges

FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
MOISTURE = [2.9, 3.2, 3.6, 4.3, 3.8, 3.5, 3.0, 3.1, 3.6, 3.5]

cores = st.lists(
    st.lists(st.floats(2, 6), min_size=2, max_size=6).filter(lambda row: max(row) - min(row) > 1e-3),
    min_size=2,
    max_size=12,
)


def test_flow_rates_of_ten_batches() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: printed mean 50.81, moving range 1.8778."""
    chart = individuals(FLOW)
    assert round(float(chart.centre), 2) == 50.81
    assert round(chart.mean_moving_range, 4) == 1.8778
    assert chart.moving_ranges.round(1).tolist() == [2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5]
    assert chart.outside.size == 0


def test_printed_limits_of_the_flow_rates_come_from_a_rounded_factor() -> None:
    """The same section prints 55.8041 and 45.8159, made with d2 = 1.128; the exact d2 is 2/√π = 1.128379."""
    chart = individuals(FLOW)
    assert chart.upper.round(4).tolist() == [55.8024] * 10
    assert chart.lower.round(4).tolist() == [45.8176] * 10
    by_table = individuals(FLOW, sigma=chart.mean_moving_range / 1.128)
    assert by_table.upper.round(4).tolist() == [55.8041] * 10
    assert by_table.lower.round(4).tolist() == [45.8159] * 10


def test_moisture_of_milk_powder() -> None:
    """ISO 8258:1991, individuals example (figures from memory): limits 2.44 and 4.46, ranges up to 1.24.

    The standard carries the rounded mean range 0.38 on, so its limit of ranges is 0.38 × 3.267 = 1.24.
    """
    chart = individuals(MOISTURE)
    assert round(float(chart.centre), 2) == 3.45
    assert round(chart.mean_moving_range, 2) == 0.38
    assert (round(float(chart.lower[0]), 2), round(float(chart.upper[0]), 2)) == (2.45, 4.45)
    by_table = individuals(MOISTURE, sigma=0.38 / 1.128)
    assert (round(float(by_table.lower[0]), 2), round(float(by_table.upper[0]), 2)) == (2.44, 4.46)
    assert float(by_table.spread.upper[0]) == pytest.approx(1.24, abs=0.005)
    assert by_table.spread.lower.tolist() == [0.0] * 9


def test_the_method_says_where_sigma_came_from() -> None:
    assert "moving range" in individuals(FLOW).method
    assert individuals(FLOW, sigma=2).method == "given"
    assert individuals(FLOW, centre=50, sigma=2).upper.tolist() == [56.0] * 10


@pytest.mark.parametrize("n", [2, 5, 8])
def test_equal_subgroups_have_the_limits_of_the_textbook_factors(n: int) -> None:
    """ISO 7870-2: mean ± A2 R or A3 s; D3 R and D4 R; B3 s and B4 s."""
    rows = np.random.default_rng(n).normal(3.6, 0.2, (20, n))
    factors = shewhart_constants(n)
    mean_range, mean_deviation = np.ptp(rows, axis=1).mean(), rows.std(axis=1, ddof=1).mean()
    by_range, by_deviation = means_and_ranges(rows), means_and_deviations(rows)
    assert by_range.upper == pytest.approx(np.full(20, rows.mean() + factors.A2 * mean_range))
    assert by_deviation.lower == pytest.approx(np.full(20, rows.mean() - factors.A3 * mean_deviation))
    assert by_range.spread.upper == pytest.approx(np.full(20, factors.D4 * mean_range))
    assert by_range.spread.lower == pytest.approx(np.full(20, factors.D3 * mean_range))
    assert by_deviation.spread.upper == pytest.approx(np.full(20, factors.B4 * mean_deviation))
    assert by_deviation.spread.lower == pytest.approx(np.full(20, factors.B3 * mean_deviation))
    assert by_range.sigma == pytest.approx(mean_range / factors.d2)
    assert by_deviation.sigma == pytest.approx(mean_deviation / factors.c4)


@given(cores)
def test_limits_of_unequal_subgroups_narrow_with_their_size(rows: list[list[float]]) -> None:
    chart = means_and_deviations(rows)
    sizes = np.array([len(row) for row in rows])
    half = (chart.upper - chart.lower) / 2
    assert half * np.sqrt(sizes) == pytest.approx(np.full(len(rows), 3 * chart.sigma))
    every = np.concatenate([np.asarray(row) for row in rows])
    assert chart.centre == pytest.approx(every.mean())


def test_pooled_sigma_is_the_root_mean_square_within() -> None:
    rows = [[1.0, 3.0], [2.0, 4.0, 6.0]]
    assert means_and_deviations(rows, pooled=True).sigma == pytest.approx(math.sqrt((2 + 8) / 3))


def test_panels_that_differ_do_not_cry_wolf() -> None:
    """Cores within a panel agree closely; the panels differ. Only the between-within chart stays quiet."""
    draw = np.random.default_rng(7)
    panels = draw.normal(3.7, 0.2, 60)
    rows = panels[:, np.newaxis] + draw.normal(0, 0.05, (60, 4))
    assert means_and_ranges(rows).outside.size > 15
    chart = between_within(rows)
    assert chart.outside.size <= 1
    assert chart.sigma_within == pytest.approx(0.05, rel=0.15)
    assert chart.sigma_between == pytest.approx(0.2, rel=0.3)
    assert chart.sigma_total**2 == pytest.approx(chart.sigma_within**2 + chart.sigma_between**2)


def test_between_within_plots_the_means_as_single_values() -> None:
    rows = [[3.4, 3.6], [4.1, 4.0], [3.7, 3.9], [3.5, 3.4]]
    chart, single = between_within(rows), individuals([3.5, 4.05, 3.8, 3.45])
    assert chart.upper == pytest.approx(single.upper)
    assert chart.within.points == pytest.approx(means_and_deviations(rows).spread.points)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([], "at least 2 values; 0 came"),
        ([3.5], "at least 2 values; 1 came"),
        ([3.5, 3.5, 3.5], "do they vary"),
        ([3.5, float("nan")], "nan as value 2"),
        ([float("inf"), 3.5], "inf as value 1"),
        ([[3.5, 3.6]], "2 dimensions"),
        (["a", "b"], "numbers only"),
        ([1e300, -1e300], "finite"),
    ],
)
def test_values_that_make_no_chart_are_refused(values: list[float], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        individuals(values)


def test_subgroups_of_one_are_refused() -> None:
    for chart in (means_and_ranges, means_and_deviations, between_within):
        with pytest.raises(Refusal, match="Subgroup 2 needs at least 2 values; 1 came"):
            chart([[3.5, 3.6], [3.5]])
        with pytest.raises(Refusal, match="At least 2 subgroups"):
            chart([[3.5, 3.6]])
        with pytest.raises(Refusal, match="above zero"):
            chart([[3.5, 3.5], [3.6, 3.6]])


def test_a_given_sigma_serves_where_values_do_not_vary() -> None:
    assert individuals([3.5, 3.5], sigma=0.1).outside.size == 0
    with pytest.raises(Refusal, match=r"Sigma must be a finite number above zero. Given: 0"):
        individuals([3.5, 3.6], sigma=0)
