"""Tolerance intervals, against the e-Handbook, standard tables, and simulated coverage."""

import numpy as np
import pytest
from scipy.stats import binom, nct, norm

from qc_app.refusal import Refusal
from qc_app.spc import tolerance_interval as ti


def test_worked_example_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: N = 43, 90 % of values, 99 % confidence.

    The two-sided factor there is Howe's; the exact one-sided is by the noncentral t.
    """
    assert ti.howe_factor(43, 0.90, 0.99) == pytest.approx(2.2173159, abs=5e-8)
    assert ti.one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=5e-5)
    assert ti.two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.2173159, rel=3e-3)


# ISO 16269-6:2014, annexes C and D (from memory): one-sided, and two-sided exact, at 95 % and 95 %.
@pytest.mark.parametrize(
    ("n", "one", "two"),
    [(2, 26.260, 36.519), (3, 7.656, 9.789), (5, 4.203, 5.077), (10, 2.911, 3.394), (20, 2.396, 2.760)],
)
def test_printed_factors(n: int, one: float, two: float) -> None:
    assert ti.one_sided_factor(n, 0.95, 0.95) == pytest.approx(one, abs=1.1e-3)
    assert ti.two_sided_factor(n, 0.95, 0.95) == pytest.approx(two, abs=1.1e-3)


@pytest.mark.parametrize("n", [2, 7, 40, 500])
@pytest.mark.parametrize(("coverage", "confidence"), [(0.9, 0.9), (0.99, 0.95), (0.3, 0.2)])
def test_one_sided_factors_are_noncentral_t_quantiles(n: int, coverage: float, confidence: float) -> None:
    reference = nct.ppf(confidence, n - 1, norm.ppf(coverage) * n**0.5) / n**0.5
    assert ti.one_sided_factor(n, coverage, confidence) == pytest.approx(reference, rel=1e-9)


def test_two_sided_factors_cover_what_they_promise() -> None:
    """Simulated: coverage of mean ± k s over 40 000 samples of 8, to three standard errors."""
    draw = np.random.default_rng(8)
    samples = draw.normal(size=(40_000, 8))
    mean, s = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    k = ti.two_sided_factor(8, 0.9, 0.95)
    held = norm.cdf(mean + k * s) - norm.cdf(mean - k * s) >= 0.9
    assert held.mean() == pytest.approx(0.95, abs=3 * (0.95 * 0.05 / 40_000) ** 0.5)


def test_a_bound_below_which_few_bays_lie() -> None:
    found = ti.normal([3.7, 3.9, 3.6, 3.8, 3.7, 3.8], side="lower")
    values = np.array([3.7, 3.9, 3.6, 3.8, 3.7, 3.8])
    k = ti.one_sided_factor(6, 0.95, 0.95)
    assert found.lower == pytest.approx(values.mean() - k * values.std(ddof=1))
    assert found.upper is None


@pytest.mark.parametrize(("between", "within"), [(0.2, 0.1), (0.05, 0.2), (0.0, 0.2)])
def test_cores_within_panels_keep_the_promise(between: float, within: float) -> None:
    """Simulated with 12 panels of 3 cores: confidence at least near 95 % whatever the shares of variation."""
    draw, held = np.random.default_rng(17), []
    for _ in range(600):
        panels = draw.normal(3.8, between, 12) if between else np.full(12, 3.8)
        found = ti.within_subgroups(panels[:, np.newaxis] + draw.normal(0, within, (12, 3)))
        assert found.lower is not None
        held.append(norm.sf(found.lower, 3.8, np.hypot(between, within)) >= 0.95)
    assert np.mean(held) > 0.92


def test_treating_cores_as_independent_would_promise_too_much() -> None:
    draw = np.random.default_rng(23)
    naive: list[bool] = []
    right: list[bool] = []
    for _ in range(300):
        cores = draw.normal(3.8, 0.2, 8)[:, np.newaxis] + draw.normal(0, 0.02, (8, 5))
        for kept, interval in (
            (naive, ti.normal(cores.ravel(), side="lower")),
            (right, ti.within_subgroups(cores)),
        ):
            assert interval.lower is not None
            kept.append(bool(norm.sf(interval.lower, 3.8, np.hypot(0.2, 0.02)) >= 0.95))
    assert np.mean(naive) < 0.85
    assert np.mean(right) > 0.92


def test_two_sided_intervals_of_subgroups_are_wider_than_one_sided_bounds() -> None:
    cores = [[3.5, 3.6], [3.9, 3.8], [3.7, 3.7], [3.6, 3.8]]
    both, lower = ti.within_subgroups(cores, side="both"), ti.within_subgroups(cores)
    assert both.lower is not None
    assert lower.lower is not None
    assert both.lower < lower.lower


def test_intervals_by_order_suppose_no_distribution() -> None:
    """ISO 16269-6 (from memory): 59 values for one extreme, 93 for both, at 95 % and 95 %."""
    assert ti.fewest_by_order(0.95, 0.95, "lower") == 59
    assert ti.fewest_by_order(0.95, 0.95, "both") == 93
    assert ti.fewest_by_order(0.90, 0.95, "upper") == 29
    found = ti.by_order(range(93))
    assert (found.lower, found.upper) == (0, 92)


def test_the_bound_by_order_is_the_binomial_one() -> None:
    values = list(range(200))
    rank = int(ti.by_order(values, 0.95, 0.9, side="lower").lower or 0) + 1
    # At least 95 % lie above the r-th value if r or more of the 200 fall in the lowest 5 %.
    assert binom.sf(rank - 1, 200, 0.05) >= 0.9 > binom.sf(rank, 200, 0.05)
    upper = ti.by_order(values, 0.95, 0.9, side="upper").upper
    assert upper == 200 - rank


def test_promises_that_cannot_be_kept_are_refused() -> None:
    with pytest.raises(Refusal, match="20 values cannot show this; at least 59"):
        ti.by_order(range(20), side="lower")
    with pytest.raises(Refusal, match="between 0 and 1"):
        ti.one_sided_factor(10, 1.0, 0.95)
    with pytest.raises(Refusal, match="at least 2"):
        ti.two_sided_factor(1, 0.9, 0.95)
    with pytest.raises(Refusal, match="standard deviation"):
        ti.normal([3.5, 3.5, 3.5])
    with pytest.raises(Refusal, match="variance"):
        ti.within_subgroups([[3.5, 3.5], [3.5, 3.5]])
