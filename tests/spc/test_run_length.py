"""Run lengths, against the published tables, closed forms, and simulations that share no code."""

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from qc_app.refusal import Refusal
from qc_app.spc import run_length
from qc_app.spc.run_rules import ALL, Rule

WESTERN: list[str | Rule] = [
    "beyond_limit",
    "two_of_three_outer",
    "four_of_five_outer",
    Rule("run_one_side", 8),
]


@pytest.mark.parametrize(("shift", "printed"), [(0, 370.40), (1, 43.89), (2, 6.30), (3, 2.00)])
def test_single_values(shift: float, printed: float) -> None:
    """1/(Φ(−3 − d) + Φ(−3 + d)); figures as in Montgomery, *Statistical Quality Control*, from memory."""
    found = run_length.shewhart(["beyond_limit"], shift)
    assert found == pytest.approx(printed, abs=0.0051)
    assert found == pytest.approx(1 / (norm.cdf(-3 - shift) + norm.cdf(-3 + shift)), rel=1e-12)


# Champ and Woodall, Technometrics 29(4), 1987, table 1 (from memory).
@pytest.mark.parametrize(
    ("rules", "shift", "printed"),
    [
        (["beyond_limit", "two_of_three_outer"], 0, 225.44),
        (["beyond_limit", "four_of_five_outer"], 0, 166.05),
        (["beyond_limit", Rule("run_one_side", 8)], 0, 152.73),
        (["beyond_limit", "two_of_three_outer", "four_of_five_outer"], 0, 132.89),
        (WESTERN, 0, 91.75),
        (WESTERN, 0.2, 66.80),
        (WESTERN, 1, 9.22),
    ],
)
def test_run_rules_together(rules: list[str | Rule], shift: float, printed: float) -> None:
    assert run_length.shewhart(rules, shift) == pytest.approx(printed, abs=0.0051)


def test_runs_on_one_side_are_runs_of_heads() -> None:
    """Either kind of run of nine in coin throws: 2^9 − 1 throws (Feller, volume I, section XIII.7)."""
    assert run_length.shewhart(["run_one_side"]) == pytest.approx(511, rel=1e-12)


def test_six_rising_or_falling_in_a_row_do_not_depend_on_the_mean() -> None:
    """Order alone decides, so no shift of the mean is ever found by it."""
    found = run_length.shewhart(["steady_trend"])
    assert run_length.shewhart(["steady_trend"], 1.3) == pytest.approx(found, rel=1e-7)


def test_three_rising_or_falling_in_a_row_have_a_closed_form() -> None:
    """No signal in t points means a zigzag; zigzags of t make 2 E(t)/t! of all orders, E Euler's numbers.

    Their sum is 2 (sec 1 + tan 1) less what the first two terms count double (D. André, 1881).
    """
    exact = 2 * (1 / math.cos(1) + math.tan(1)) - 2
    assert run_length.shewhart([Rule("steady_trend", 3)]) == pytest.approx(exact, rel=1e-8)


# Montgomery and Runger, Applied Statistics and Probability for Engineers, table 16-9: allowance 1/2.
@pytest.mark.parametrize(
    ("shift", "four", "five"),
    [
        (0, "168", "465"),
        (0.25, "74.2", "139"),
        (0.5, "26.6", "38.0"),
        (0.75, "13.3", "17.0"),
        (1, "8.38", "10.4"),
        (1.5, "4.75", "5.75"),
        (2, "3.34", "4.01"),
        (2.5, "2.62", "3.11"),
        (3, "2.19", "2.57"),
        (4, "1.71", "2.01"),
    ],
)
def test_cumulative_sums(shift: float, four: str, five: str) -> None:
    for decision, printed in ((4, four), (5, five)):
        unit = 10.0 ** -len(printed.partition(".")[2])
        assert run_length.cusum(0.5, decision, shift) == pytest.approx(float(printed), abs=0.51 * unit)


@pytest.mark.parametrize(
    ("decision", "shift", "printed"), [(5, 0, 430), (4, 0, 149), (4, 1, 5.29), (5, 1, 6.35)]
)
def test_cumulative_sums_with_a_head_start(decision: float, shift: float, printed: float) -> None:
    """Lucas and Crosier, Technometrics 24(3), 1982: allowance 1/2, half the decision ahead (from memory)."""
    found = run_length.cusum(0.5, decision, shift, head_start=decision / 2)
    assert found == pytest.approx(printed, abs=0.51 * (1 if printed > 10 else 0.01))


@pytest.mark.parametrize(
    ("weight", "printed"), [(0.10, 842.15), (0.25, 502.90), (0.50, 397.46), (0.75, 374.50), (1.00, 370.40)]
)
def test_weighted_averages(weight: float, printed: float) -> None:
    """S. V. Crowder, Technometrics 29(4), 1987: width 3 (from memory)."""
    assert run_length.ewma(weight, 3) == pytest.approx(printed, abs=0.0051)


def ends(signal: Callable[[NDArray[np.float64]], NDArray[np.bool_]], shift: float, runs: int) -> np.ndarray:
    """Lengths of many simulated runs; ``signal`` sees each run's last 15 values, the newest in column 0."""
    draw = np.random.default_rng(20)
    past, lengths = np.full((runs, 15), np.nan), np.zeros(runs)
    alive = np.arange(runs)
    while alive.size:
        past = np.column_stack((draw.normal(shift, 1, alive.size), past[:, :-1]))
        lengths[alive] += 1
        going = ~signal(past)
        past, alive = past[going], alive[going]
    return lengths


def eight_rules(x: NDArray[np.float64]) -> NDArray[np.bool_]:
    rises = x[:, :-1] - x[:, 1:]
    turns = rises[:, :-1] * rises[:, 1:]
    beyond = np.abs(x[:, 0]) > 3
    side = np.all(x[:, :9] > 0, axis=1) | np.all(x[:, :9] < 0, axis=1)
    trend = np.all(rises[:, :5] > 0, axis=1) | np.all(rises[:, :5] < 0, axis=1)
    zigzag = np.all(turns[:, :12] < 0, axis=1)
    two = ((x[:, :3] > 2).sum(1) >= 2) & (x[:, 0] > 2) | ((x[:, :3] < -2).sum(1) >= 2) & (x[:, 0] < -2)
    four = ((x[:, :5] > 1).sum(1) >= 4) & (x[:, 0] > 1) | ((x[:, :5] < -1).sum(1) >= 4) & (x[:, 0] < -1)
    hugging = np.all(np.abs(x) <= 1, axis=1)
    last = x[:, :8]
    avoiding = np.all(np.abs(last) > 1, axis=1) & (last.max(1) > 0) & (last.min(1) < 0)
    signals: NDArray[np.bool_] = np.any([beyond, side, trend, zigzag, two, four, hugging, avoiding], axis=0)
    return signals


def agrees(lengths: np.ndarray, exact: run_length.RunLength) -> bool:
    error = lengths.std() / math.sqrt(lengths.size)
    middle = np.mean(lengths <= exact.median)
    return bool(abs(lengths.mean() - exact) < 4 * error and middle > 0.5 - 2 / math.sqrt(lengths.size))


def test_all_eight_rules_agree_with_a_simulation() -> None:
    exact = run_length.shewhart(ALL, 0.5)
    assert agrees(ends(eight_rules, 0.5, 6000), exact)


def test_order_and_zones_together_agree_with_a_simulation() -> None:
    def signal(x: NDArray[np.float64]) -> NDArray[np.bool_]:
        rises = x[:, :-1] - x[:, 1:]
        trend = np.all(rises[:, :3] > 0, axis=1) | np.all(rises[:, :3] < 0, axis=1)
        zigzag = np.all(rises[:, :5] * rises[:, 1:6] < 0, axis=1)
        signals: NDArray[np.bool_] = np.any([np.abs(x[:, 0]) > 2, trend, zigzag], axis=0)
        return signals

    rules = [Rule("beyond_limit", beyond=2), Rule("steady_trend", 4), Rule("alternating", 7)]
    assert agrees(ends(signal, 0.4, 20_000), run_length.shewhart(rules, 0.4))


@pytest.mark.parametrize("head_start", [0.0, 1.5])
def test_both_sides_of_a_cumulative_sum_agree_with_a_simulation(head_start: float) -> None:
    draw, runs = np.random.default_rng(3), 20_000
    high, low = np.full((2, runs), head_start)
    lengths, alive = np.zeros(runs), np.arange(runs)
    while alive.size:
        x = draw.normal(0.3, 1, alive.size)
        high, low = np.maximum(0, high + x - 0.4), np.maximum(0, low - x - 0.4)
        lengths[alive] += 1
        going = (high <= 3) & (low <= 3)
        high, low, alive = high[going], low[going], alive[going]
    exact = run_length.cusum(0.4, 3, 0.3, head_start=head_start)
    assert agrees(lengths, exact)
    for probability in (0.05, 0.5, 0.95):
        assert np.quantile(lengths, probability) == pytest.approx(
            exact.quantile(probability), rel=0.06, abs=1
        )


def test_a_weighted_average_agrees_with_a_simulation() -> None:
    draw, runs = np.random.default_rng(4), 20_000
    average, limit = np.zeros(runs), 2.5 * math.sqrt(0.2 / 1.8)
    lengths, alive = np.zeros(runs), np.arange(runs)
    while alive.size:
        average = 0.8 * average + 0.2 * draw.normal(0.4, 1, alive.size)
        lengths[alive] += 1
        going = np.abs(average) < limit
        average, alive = average[going], alive[going]
    assert agrees(lengths, run_length.ewma(0.2, 2.5, 0.4))


def test_the_distribution_of_a_memoryless_chart_is_geometric() -> None:
    found, chance = run_length.shewhart(["beyond_limit"]), 2 * norm.cdf(-3)
    for probability in (0.05, 0.5, 0.95, 0.999):
        assert found.quantile(probability) == math.ceil(math.log(1 - probability) / math.log(1 - chance))
    assert (found.fifth_percentile, found.median, found.ninety_fifth_percentile) == (19, 257, 1109)
    assert found.average == float(found)


def test_quantiles_step_where_the_survival_does() -> None:
    found = run_length.shewhart(WESTERN, 1.5)
    kept = found.survival
    for probability in (0.2, 0.5, 0.8):
        points = found.quantile(probability)
        assert kept[points] <= 1 - probability < kept[points - 1]


def test_more_rules_signal_sooner_both_falsely_and_rightly() -> None:
    for shift in (0, 1):
        alone, both = (
            run_length.shewhart(["beyond_limit"], shift),
            run_length.shewhart(["beyond_limit", "run_one_side"], shift),
        )
        assert both < alone


def test_a_shift_up_is_found_as_soon_as_one_down() -> None:
    for run in (
        partial(run_length.shewhart, WESTERN),
        partial(run_length.ewma, 0.2, 2.8),
        partial(run_length.cusum, 0.5, 4),
    ):
        assert run(0.7) == pytest.approx(run(-0.7), rel=1e-9)


def test_a_chart_for_the_shop_in_days_and_panels() -> None:
    terms = run_length.in_shop_terms(run_length.shewhart(WESTERN), run_length.shewhart(WESTERN, 0.5), 0.5, 18)
    assert terms.days_between_false_signals == pytest.approx(91.75 / 18, rel=1e-3)
    assert str(terms).startswith("One false signal every 5 working days")


def test_a_design_holds_the_false_alarms_and_puts_the_soonest_first() -> None:
    found = run_length.design(1.0, 370)
    assert {choice.chart for choice in found} == {"single values", "weighted averages", "cumulative sums"}
    assert all(choice.undisturbed == pytest.approx(370, rel=1e-6) for choice in found)
    assert [float(c.shifted) for c in found] == sorted(float(c.shifted) for c in found)
    by_sum = next(c for c in found if c.chart == "cumulative sums" and c.settings["allowance"] == 0.5)
    assert by_sum.settings["decision"] == pytest.approx(4.774, abs=0.001), "Hawkins 1993 (from memory)"


def test_a_large_shift_is_found_soonest_without_memory() -> None:
    assert run_length.design(4.0, 370)[0].shifted < 1.3


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: run_length.shewhart([]), "at least one"),
        (lambda: run_length.shewhart(["no such"]), "no run rule"),
        (lambda: run_length.shewhart(shift=float("nan")), "The shift must be a finite number"),
        (lambda: run_length.ewma(0, 3), "The weight"),
        (lambda: run_length.ewma(1.5, 3), "at most 1"),
        (lambda: run_length.ewma(0.2, -3), "width"),
        (lambda: run_length.cusum(0, 5), "allowance"),
        (lambda: run_length.cusum(0.5, 0), "decision"),
        (lambda: run_length.cusum(0.5, 4, head_start=3), "half the decision"),
        (lambda: run_length.shewhart().quantile(1), "between 0 and 1"),
        (lambda: run_length.shewhart([Rule("beyond_limit", beyond=12)]), "hardly ever signals"),
        (lambda: run_length.design(0, 370), "The shift"),
        (lambda: run_length.design(1, 2), "10 to 1000000"),
    ],
)
def test_questions_without_an_answer_are_refused(act: Callable[[], object], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        act()
