"""Bases, phases and change points, against the e-Handbook and simulation."""

import numpy as np
import pytest
from scipy.stats import norm

from qc_app.refusal import Refusal
from qc_app.spc.phases import Phase, anderson_darling, change_point, check_base, freeze, limits_by_phase
from qc_app.spc.shewhart import individuals


def steady(n: int, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).normal(3.8, 0.1, n)


def test_a_steady_base_has_no_reservations() -> None:
    check = check_base(steady(40))
    assert check.stable
    assert check.reservations == ()


def test_too_few_points_are_said_to_be_too_few() -> None:
    check = check_base(steady(12))
    assert not check.enough
    assert "Only 12 points" in check.reservations[0]


def test_a_misfit_is_proposed_to_be_set_aside_with_its_rule() -> None:
    values = steady(30)
    values[11] += 1.0
    (suggestion,) = check_base(values).suggestions
    assert (suggestion.index, suggestion.rules) == (11, ("beyond_limit",))


def test_a_point_is_set_aside_only_with_a_reason() -> None:
    values = steady(30)
    values[11] += 1.0
    with pytest.raises(Refusal, match="Say why point 11"):
        freeze(values, set_aside={11: "  "})
    with pytest.raises(Refusal, match="no point 30"):
        freeze(values, set_aside={30: "not there"})
    kept, whole = freeze(values, set_aside={11: "core from an unfilled bay"}), freeze(values)
    assert kept.sigma < whole.sigma
    assert kept.centre == pytest.approx(np.delete(values, 11).mean())


def test_no_moving_range_is_taken_across_a_gap() -> None:
    phase = freeze([1.0, 1.2, 9.0, 5.0, 5.2], set_aside={2: "tape misread"})
    assert phase.sigma == pytest.approx(0.2 / 1.1283791671)
    with pytest.raises(Refusal, match="No two neighbouring"):
        freeze([1.0, 2.0, 3.0], set_aside={1: "misread"})


def test_a_base_without_exceptions_gives_the_familiar_limits() -> None:
    values = steady(25)
    assert freeze(values).sigma == pytest.approx(individuals(values).sigma)


def test_values_that_wander_are_said_to_be_alike() -> None:
    wander = np.cumsum(np.random.default_rng(4).normal(0, 0.1, 60))
    check = check_base(wander)
    assert check.correlated
    assert any("independent" in reservation for reservation in check.reservations)


def test_lag_one_correlation_crosses_its_bound_as_often_as_it_says() -> None:
    crossed = sum(check_base(steady(50, seed)).correlated for seed in range(300))
    assert crossed / 300 == pytest.approx(0.05, abs=0.035)


def test_skewed_values_do_not_look_normal() -> None:
    check = check_base(np.random.default_rng(6).exponential(1, 80))
    assert any("normal" in reservation for reservation in check.reservations)


@pytest.mark.parametrize("seed", range(4))
def test_anderson_darling_statistic(seed: int) -> None:
    """By the sum as the NIST/SEMATECH e-Handbook, 1.3.5.14, writes it."""
    values = np.random.default_rng(seed).normal(3, 2, 40 + seed)
    z = (np.sort(values) - values.mean()) / values.std(ddof=1)
    n = values.size
    terms = [(2 * i - 1) * (norm.logcdf(z[i - 1]) + norm.logsf(z[n - i])) for i in range(1, n + 1)]
    assert anderson_darling(values).statistic == pytest.approx(-n - sum(terms) / n, rel=1e-9)


def test_normal_quantiles_look_normal() -> None:
    """Fifty equal steps of the normal quantiles fit as well as can be: the statistic is near its least."""
    assert anderson_darling(norm.ppf((np.arange(50) + 0.5) / 50)).statistic < 0.03


# D'Agostino and Stephens, Goodness-of-Fit Techniques, table 4.7: adjusted A² at upper tail areas.
@pytest.mark.parametrize(("adjusted", "tail"), [(0.631, 0.10), (0.752, 0.05), (0.873, 0.025), (1.035, 0.01)])
def test_chance_of_the_adjusted_statistic(adjusted: float, tail: float) -> None:
    from qc_app.spc.normality import _chance_of

    assert _chance_of(adjusted) == pytest.approx(tail, rel=0.03)


def test_normal_values_fail_the_test_as_often_as_it_says() -> None:
    failed = sum(not anderson_darling(steady(30, seed)).looks_normal(0.1) for seed in range(500))
    assert failed / 500 == pytest.approx(0.1, abs=0.04)


def test_limits_change_where_a_phase_begins() -> None:
    values = [1.0] * 5 + [2.0] * 5
    chart = limits_by_phase(values, [Phase(0, 1.0, 0.1), Phase(5, 2.0, 0.2)])
    assert chart.upper.tolist() == pytest.approx([1.3] * 5 + [2.6] * 5)
    assert chart.outside.size == 0


def test_points_before_the_first_phase_have_its_limits() -> None:
    assert limits_by_phase([1.0, 1.0, 1.0], [Phase(1, 1.0, 0.5)]).upper.tolist() == [2.5, 2.5, 2.5]


@pytest.mark.parametrize("starts", [[], [3, 1], [0, 0], [0, 9]])
def test_phases_out_of_order_are_refused(starts: list[int]) -> None:
    with pytest.raises(Refusal, match="Phases begin one after another"):
        limits_by_phase([1.0] * 5, [Phase(start, 1.0, 0.1) for start in starts])


@pytest.mark.parametrize("centre", [0.0, None])
def test_the_plausible_moments_hold_the_true_one_as_often_as_they_say(centre: float | None) -> None:
    draw, held, sizes = np.random.default_rng(41), 0, []
    for _ in range(800):
        values = np.concatenate((draw.normal(0, 1, 40), draw.normal(1.5, 1, 15)))
        found = change_point(values, 1.0, centre, confidence=0.9)
        held += 40 in found.plausible
        sizes.append(found.plausible.size)
    assert held / 800 > 0.88
    assert np.mean(sizes) < 15


def test_a_clear_step_is_found_where_it_is() -> None:
    found = change_point([0.0, 0.1, -0.1, 5.0, 5.1, 4.9], 0.2)
    assert (found.first, found.plausible.tolist()) == (3, [3])
    assert found.size == pytest.approx(5.0)


def test_bases_without_meaning_are_refused() -> None:
    with pytest.raises(Refusal, match="at least 3"):
        check_base([1.0, 2.0])
    with pytest.raises(Refusal, match="vary"):
        check_base([1.0] * 30)
    with pytest.raises(Refusal, match="at least 8"):
        anderson_darling([1.0, 2.0, 3.0])
    with pytest.raises(Refusal, match="Sigma"):
        change_point([1.0, 2.0], 0)
