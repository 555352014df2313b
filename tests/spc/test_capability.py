"""Capability, against published examples, exact distributions and simulation."""

import math

import numpy as np
import pytest
from scipy.stats import binomtest, chi2, nct, norm

from qc_app.refusal import Refusal
from qc_app.spc import capability as cap

# NIST/SEMATECH e-Handbook 3.5.1: film thickness of 168 wafers, limits 460 and 660, target 560.
THICKNESS = """
546 540 566 564 577 546 543 529 561 556 577 553 563 577 556 540 515 520 548 542 505 487 506 514 568
584 570 545 589 562 569 571 550 550 562 580 560 554 545 546 584 581 567 558 556 560 591 599 593 626
584 559 634 598 569 592 522 535 535 581 527 520 532 539 562 568 548 548 533 553 533 521 555 545 584
572 546 552 586 584 565 557 583 585 582 567 549 533 548 528 563 588 543 540 585 586 580 570 556 569
609 625 570 595 564 555 585 588 564 583 563 558 550 557 538 525 556 547 534 542 552 547 563 578 571
572 575 584 549 546 584 593 567 548 606 607 539 554 533 535 522 521 547 550 610 592 587 587 572 612
566 563 569 609 558 555 577 579 552 558 595 583 599 602 598 616 580 575
"""


def thickness() -> list[float]:
    return [float(part) for part in THICKNESS.split()]


def test_film_thickness_of_the_furnace() -> None:
    """Printed, by the overall deviation: Cp 1.313, Cpk 1.273, Cpl 1.353, Cpm 1.304."""
    found = cap.study(thickness(), 460, 660, 560, despite_signals=True)
    assert found.n == 168
    assert found.mean == pytest.approx(563.0357, abs=5e-5)
    assert found.sigma_overall == pytest.approx(25.3847, abs=5e-5)
    overall = found.overall
    assert (overall.cp, overall.cpk, overall.cpl, overall.cpm) == pytest.approx(
        (1.313, 1.273, 1.353, 1.304), abs=5e-4
    )


def test_capability_of_an_unstable_process_is_refused_or_says_so() -> None:
    with pytest.raises(Refusal, match=r"The process is not stable: \d+ points signal"):
        cap.study(thickness(), 460, 660)
    found = cap.study(thickness(), 460, 660, despite_signals=True)
    assert not found.stable
    assert found.statement.startswith("The process is not stable, so this says nothing about panels to come.")


def test_a_stable_process_states_its_index_with_an_interval() -> None:
    values = np.random.default_rng(12).normal(3.8, 0.1, 60)
    found = cap.study(values, 3.4, 4.2)
    assert found.stable
    assert found.statement.startswith("Ppk is ")
    assert found.ppk.lower < found.overall.cpk < found.ppk.upper


def test_indices_of_a_process_off_centre() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6 (from memory): limits 8 and 20, mean 16, sigma 2."""
    found = cap.indices(16, 2, 8, 20)
    assert (found.cp, found.cpu, found.cpl, found.cpk) == pytest.approx(
        (1.0, 0.6667, 1.3333, 0.6667), abs=5e-5
    )


# Montgomery and Runger, Applied Statistics and Probability for Engineers, exercise 15-24: 100 ± 20, sigma 6.
@pytest.mark.parametrize(("mean", "index", "share"), [(100, "1.11", 0.000858121), (106, "0.78", 0.009822672)])
def test_centred_and_off_centre(mean: float, index: str, share: float) -> None:
    """The book prints shares 0.000868 and 0.009910, made with z rounded to two decimals."""
    assert f"{cap.indices(mean, 6, 80, 120).cpk:.2f}" == index
    assert cap.normal_share(mean, 6, 80, 120) == pytest.approx(share, abs=5e-10)


def test_one_limit_gives_a_one_sided_index() -> None:
    found = cap.indices(3.8, 0.1, lower=3.5)
    assert (found.cp, found.cpu, found.cpm) == (None, None, None)
    assert found.cpk == pytest.approx(1.0)


def test_interval_of_cp_by_chi_square() -> None:
    """Montgomery, example with limits 38 and 62, n = 20, s = 1.75 (from memory): 1.57 to 3.01."""
    found = cap.cp_interval(24 / 10.5, 20)
    assert found == pytest.approx((1.57, 3.01), abs=0.0051)
    assert found.lower == pytest.approx(24 / 10.5 * math.sqrt(chi2.ppf(0.025, 19) / 19))


# V. E. Kane, Journal of Quality Technology 18(1), 1986: Cp(high)/Cp(low) (from memory).
@pytest.mark.parametrize(
    ("n", "ten", "five"),
    [
        (10, 1.88, 2.26),
        (20, 1.53, 1.73),
        (30, 1.41, 1.55),
        (40, 1.34, 1.46),
        (50, 1.30, 1.40),
        (60, 1.27, 1.36),
        (70, 1.25, 1.33),
        (80, 1.23, 1.30),
        (90, 1.21, 1.28),
        (100, 1.20, 1.26),
    ],
)
def test_ratios_of_capability_that_a_sample_tells_apart(n: int, ten: float, five: float) -> None:
    for printed, confidence in ((ten, 0.8), (five, 0.9)):
        low, high = cap.cp_interval(1.0, n, confidence)
        assert high / low == pytest.approx(printed, abs=0.0051)


def test_interval_of_cpk_is_bissells() -> None:
    low, high = cap.cpk_interval(1.33, 50, 0.95)
    reach = norm.ppf(0.975) * math.sqrt(1 / (9 * 50) + 1.33**2 / (2 * 49))
    assert (low, high) == pytest.approx((1.33 - reach, 1.33 + reach), rel=1e-12)


def test_intervals_hold_the_true_index_about_as_often_as_they_say() -> None:
    draw = np.random.default_rng(2)
    samples = draw.normal(0.5, 1, (4000, 60))
    means, deviations = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    held = {"cpk": 0, "cpm": 0}
    for mean, s in zip(means, deviations, strict=True):
        found = cap.indices(mean, s, -4, 4, 0)
        assert found.cpm is not None
        low, high = cap.cpk_interval(found.cpk, 60, 0.9)
        held["cpk"] += low <= 3.5 / 3 <= high
        low, high = cap.cpm_interval(found.cpm, 60, mean / s, 0.9)
        held["cpm"] += low <= 8 / (6 * math.sqrt(1.25)) <= high
    assert held["cpk"] / 4000 == pytest.approx(0.9, abs=0.02)
    assert held["cpm"] / 4000 == pytest.approx(0.9, abs=0.02)


# MIL-STD-414, table B-5: estimated percent nonconforming (n, distance, percent).
@pytest.mark.parametrize(
    ("n", "distance", "percent"),
    [
        (5, 1.50, 3.80),
        (5, 1.60, 2.03),
        (5, 1.70, 0.66),
        (5, 1.75, 0.19),
        (5, 1.80, 0.000),
        (7, 1.50, 5.28),
        (7, 1.70, 2.62),
        (7, 1.90, 0.93),
        (10, 1.50, 5.87),
        (10, 1.70, 3.41),
        (10, 1.90, 1.75),
    ],
)
def test_unbiased_share_of_the_military_standard(n: int, distance: float, percent: float) -> None:
    assert 100 * cap.unbiased_share_beyond(distance, n) == pytest.approx(percent, abs=0.0051)


def test_the_unbiased_share_is_right_on_average() -> None:
    draw = np.random.default_rng(6)
    samples = draw.normal(size=(20_000, 8))
    distances = (1.5 - samples.mean(axis=1)) / samples.std(axis=1, ddof=1)
    found = np.array([cap.unbiased_share_beyond(float(d), 8) for d in distances])
    assert found.mean() == pytest.approx(norm.sf(1.5), abs=4 * found.std() / math.sqrt(20_000))


def test_the_bound_of_a_share_is_the_noncentral_t_one() -> None:
    found = cap.normal_share_from_sample(30, 3.8, 0.1, 3.5, None, confidence=0.9)
    z = norm.isf(found.bound)
    assert nct.cdf(3.0 * math.sqrt(30), 29, z * math.sqrt(30)) == pytest.approx(0.9, abs=1e-7)


def test_two_limits_share_the_risk() -> None:
    both = cap.normal_share_from_sample(30, 3.8, 0.1, 3.5, 4.1)
    one = cap.normal_share_from_sample(30, 3.8, 0.1, 3.5, None)
    assert both.expected == pytest.approx(2 * one.expected)
    assert both.bound > 2 * one.bound


def test_counting_needs_no_distribution() -> None:
    found = cap.counted_share(2, 50, 0.95)
    assert found.expected == 0.04
    exact = binomtest(2, 50, alternative="less").proportion_ci(0.95).high
    assert found.bound == pytest.approx(exact, rel=1e-6)
    assert cap.counted_share(5, 5).bound == 1


def test_skewed_values_are_judged_by_their_own_percentiles() -> None:
    values = np.exp(np.random.default_rng(9).normal(0, 0.6, 400))
    found = cap.best_fit(values)
    assert found.name in ("lognormal", "gamma")
    assert cap.fit(values, "lognormal").median == pytest.approx(1, rel=0.1)
    assert cap.fit(values, "lognormal").high == pytest.approx(math.exp(3 * 0.6), rel=0.15)
    by_percentile, by_normal = (
        found.indices(None, 8.0),
        cap.indices(values.mean(), values.std(ddof=1), None, 8.0),
    )
    assert by_percentile.cpk < by_normal.cpk, "the long tail reaches further than the normal shows"


def test_percentiles_of_a_normal_are_three_sigma() -> None:
    """ISO 22514-2: the indices of a normal distribution are the familiar ones."""
    values = np.random.default_rng(10).normal(50, 2, 200)
    fitted = cap.fit(values, "normal")
    familiar = cap.indices(values.mean(), values.std(), 42, 58)
    found = fitted.indices(42, 58)
    assert (found.cp, found.cpk) == pytest.approx((familiar.cp, familiar.cpk), rel=1e-4)
    assert fitted.share_outside(42, 58) == pytest.approx(
        cap.normal_share(values.mean(), values.std(), 42, 58)
    )


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ((None, None), "needs a limit"),
        ((4.0, 3.0), "lies below the upper"),
        ((3.0, 3.0), "lies below the upper"),
    ],
)
def test_limits_without_meaning_are_refused(limits: tuple[float | None, float | None], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        cap.indices(3.5, 0.1, *limits)
    with pytest.raises(Refusal, match=words):
        cap.study([3.4, 3.5, 3.6], *limits)


def test_values_without_meaning_are_refused() -> None:
    with pytest.raises(Refusal, match="at least 3"):
        cap.study([3.5, 3.6], 3, 4)
    with pytest.raises(Refusal, match="standard deviation"):
        cap.study([3.5, 3.5, 3.5], 3, 4)
    with pytest.raises(Refusal, match="Sigma"):
        cap.indices(3.5, 0, 3, 4)
    with pytest.raises(Refusal, match="standard deviation must be a finite number above zero"):
        cap.normal_share(3.5, 0, 3, 4)
    with pytest.raises(Refusal, match="The mean must be a finite number"):
        cap.normal_share_from_sample(30, float("nan"), 0.1, 3, 4)
    with pytest.raises(Refusal, match="The upper limit"):
        cap.normal_share_from_sample(30, 3.5, 0.1, None, float("inf"))
    with pytest.raises(Refusal, match="number of values"):
        cap.cpk_interval(1.33, 1)
    with pytest.raises(Refusal, match="between 0 and 1"):
        cap.cp_interval(1.33, 20, 1.0)
    with pytest.raises(Refusal, match="6 outside of 5"):
        cap.counted_share(6, 5)
    with pytest.raises(Refusal, match="needs values above zero"):
        cap.fit([-1, 2, 3], "gamma")
    with pytest.raises(Refusal, match="No distribution “sharp”"):
        cap.fit([1, 2, 3], "sharp")
