"""Charts of counted things, against the e-Handbook, exact tails and simulation."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import binom, chisquare, poisson

from qc_app.refusal import Refusal
from qc_app.spc.attributes import counts, proportions, rates

DEFECTS = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13]
SHARES = [0.24, 0.30, 0.16, 0.20, 0.08, 0.14, 0.32, 0.18, 0.28, 0.20, 0.10, 0.12, 0.34, 0.24, 0.44]
SHARES += [0.16, 0.20, 0.10, 0.26, 0.22, 0.40, 0.36, 0.48, 0.30, 0.18, 0.24, 0.14, 0.26, 0.18, 0.12]
FAULTY = [round(share * 50) for share in SHARES]


def test_defects_on_wafers() -> None:
    """NIST/SEMATECH e-Handbook 6.3.3.1 (limits from memory): 16, 28, 4. Wafer 3, at 28, is on the limit."""
    chart = counts(DEFECTS)
    assert (chart.centre, chart.lower[0], chart.upper[0]) == (16, 4, 28)
    assert chart.outside.tolist() == [23]


def test_share_of_faulty_chips() -> None:
    """NIST/SEMATECH e-Handbook 6.3.3.2 (limits from memory): 0.2313, limits 0.0524 and 0.4102."""
    chart = proportions(FAULTY, 50)
    assert float(chart.centre) == pytest.approx(0.2313, abs=5e-5)
    assert float(chart.lower[0]) == pytest.approx(0.0524, abs=5e-5)
    assert float(chart.upper[0]) == pytest.approx(0.4102, abs=5e-5)
    assert chart.outside.tolist() == [14, 22]


def test_limits_narrow_as_samples_grow() -> None:
    chart = rates([10, 10], sizes=[10, 40], centre=1.0)
    assert chart.upper.tolist() == pytest.approx([1 + 3 / 10**0.5, 1 + 3 / 40**0.5])


@pytest.mark.parametrize("mean", [0.4, 2.5, 16])
def test_probability_limits_of_counts_hold_what_they_promise(mean: float) -> None:
    chart = counts([3, 4], centre=mean, limits="probability", false_alarms=0.01)
    lower, upper = float(chart.lower[0]), float(chart.upper[0])
    assert poisson.sf(upper, mean) <= 0.005 < poisson.sf(upper - 1, mean)
    assert poisson.cdf(lower - 1, mean) <= 0.005 < poisson.cdf(lower, mean)


def test_probability_limits_of_proportions_follow_the_size() -> None:
    chart = proportions([1, 2], [20, 80], centre=0.05, limits="probability")
    for size, upper in zip((20, 80), chart.upper, strict=True):
        assert binom.sf(upper * size, size, 0.05) <= 0.00135 < binom.sf(upper * size - 1, size, 0.05)


def test_three_sigma_limits_of_small_counts_cry_wolf_where_exact_ones_do_not() -> None:
    """At a mean of 0.4, one count of 3 is beyond three sigma, with a chance of 0.8 %, not 0.27 %."""
    normal, exact = counts([0, 1, 3], centre=0.4), counts([0, 1, 3], centre=0.4, limits="probability")
    assert normal.outside.tolist() == [2]
    assert exact.outside.size == 0


def test_dispersion_is_the_chi_square_of_equal_counts() -> None:
    chart, reference = counts(DEFECTS), chisquare(DEFECTS)
    assert chart.dispersion.statistic == pytest.approx(reference.statistic)
    assert chart.dispersion.p_over == pytest.approx(reference.pvalue)
    assert chart.dispersion.degrees_of_freedom == 24


def test_large_samples_from_a_process_that_wanders_are_overdispersed() -> None:
    draw = np.random.default_rng(5)
    steady = proportions(draw.binomial(2000, 0.1, 40), 2000)
    wandering = proportions(draw.binomial(2000, draw.beta(40, 360, 40)), 2000)
    assert not steady.dispersion.cries_wolf()
    assert wandering.dispersion.cries_wolf()
    assert wandering.outside.size > 5


def test_a_given_centre_costs_no_degree_of_freedom() -> None:
    assert counts(DEFECTS, centre=16).dispersion.degrees_of_freedom == 25
    assert counts([4]).dispersion.degrees_of_freedom == 0


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: counts([]), "at least 1 value"),
        (lambda: counts([3, -1]), "-1.0 as value 2"),
        (lambda: counts([2.5]), "whole number"),
        (lambda: counts([0, 0]), "give the long-run rate"),
        (lambda: counts([float("nan")]), "nan as value 1"),
        (lambda: proportions([5], [4]), "5 nonconforming of 4 inspected"),
        (lambda: proportions([0, 0], 50), "proportion of 0.0"),
        (lambda: proportions([1, 2], [50, 50, 50]), "2 counts came with 3 sizes"),
        (lambda: proportions([0], [0]), "size 0.0; a size is above zero"),
        (lambda: rates([1], [-2.0]), "above zero"),
        (lambda: counts([1], limits="probability", false_alarms=1.5), "between 0 and 1"),
    ],
)
def test_input_without_meaning_is_refused(act: Callable[[], object], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        act()
