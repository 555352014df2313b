"""Run rules, by the wording of Western Electric (1956) and Nelson (1984), and against plain loops."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.spc import patterns
from qc_app.spc.patterns import Rule, find

steps = st.lists(
    st.sampled_from([-3.5, -3, -2.5, -2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5]),
    min_size=1,
    max_size=60,
)


def signals(values: list[float], rule: str | Rule) -> list[int]:
    (found,) = find(values, 0, 1, [rule]).values()
    return [int(index) for index in found]


def by_loop(z: list[float], rule: Rule) -> list[int]:
    """The rules once more, read off their wording point by point."""
    found = []
    for i in range(len(z)):
        window = z[max(0, i - rule.length + 1) : i + 1]
        whole = len(window) == rule.length
        rises = [b - a for a, b in pairwise(window)]
        hit = {
            "beyond_limit": whole and all(abs(v) > 3 for v in window),
            "run_one_side": whole and (all(v > 0 for v in window) or all(v < 0 for v in window)),
            "steady_trend": whole and (all(r > 0 for r in rises) or all(r < 0 for r in rises)),
            "alternating": whole and all(a * b < 0 for a, b in pairwise(rises)),
            "two_of_three_outer": any(
                side * z[i] > 2 and sum(side * v > 2 for v in window) >= rule.count for side in (1, -1)
            ),
            "four_of_five_outer": any(
                side * z[i] > 1 and sum(side * v > 1 for v in window) >= rule.count for side in (1, -1)
            ),
            "hugging_centre": whole and all(abs(v) <= 1 for v in window),
            "avoiding_centre": whole and all(abs(v) > 1 for v in window) and min(window) < 0 < max(window),
        }[rule.name]
        if hit:
            found.append(i)
    return found


@pytest.mark.parametrize("name", patterns.ALL)
@given(steps)
def test_every_rule_signals_where_its_wording_says(name: str, z: list[float]) -> None:
    assert signals(z, name) == by_loop(z, Rule(name))


@given(steps, st.sampled_from(patterns.ALL), st.integers(3, 20))
def test_lengths_can_be_set(z: list[float], name: str, length: int) -> None:
    rule = Rule(name, length)
    assert signals(z, rule) == by_loop(z, rule)


def test_one_point_beyond_three_sigma() -> None:
    assert signals([3.0, 3.01, -3.0, -3.01], "beyond_limit") == [1, 3]


def test_nine_in_a_row_on_one_side() -> None:
    """Nelson 1984 asks for nine; Western Electric 1956 for eight. A point on the line breaks the run."""
    assert signals([0.1] * 10, "run_one_side") == [8, 9]
    assert signals([0.1] * 10, Rule("run_one_side", 8)) == [7, 8, 9]
    assert signals([0.1] * 8 + [0.0] + [0.1] * 8, "run_one_side") == []


def test_six_in_a_row_steadily_rising() -> None:
    assert signals([1, 2, 3, 4, 5, 6], "steady_trend") == [5]
    assert signals([6, 5, 4, 3, 2, 1, 0], "steady_trend") == [5, 6]
    assert signals([1, 2, 3, 3, 4, 5, 6], "steady_trend") == []


def test_fourteen_in_a_row_alternating() -> None:
    assert signals([0.1, -0.1] * 7, "alternating") == [13]
    assert signals([0.1, -0.1] * 6 + [0.1], "alternating") == []
    assert signals([2.0, 1.0] * 7, "alternating") == [13]


def test_two_of_three_beyond_two_sigma_on_the_same_side() -> None:
    assert signals([2.1, 0, 2.1], "two_of_three_outer") == [2]
    assert signals([2.1, 0, -2.1], "two_of_three_outer") == []
    assert signals([2.1, 2.1, 0], "two_of_three_outer") == [1], "the last point is inside: no new signal"
    assert signals([2.0, 2.0, 2.0], "two_of_three_outer") == []


def test_four_of_five_beyond_one_sigma_on_the_same_side() -> None:
    assert signals([1.1, 1.1, 0, 1.1, 1.1], "four_of_five_outer") == [4]
    assert signals([1.1, 1.1, 0, 1.1, -1.1], "four_of_five_outer") == []


def test_fifteen_in_a_row_hugging_the_centre() -> None:
    assert signals([0.2, -1.0, 1.0] * 5, "hugging_centre") == [14]
    assert signals([0.2] * 14 + [1.01], "hugging_centre") == []


def test_eight_in_a_row_avoiding_the_centre_on_both_sides() -> None:
    assert signals([1.1, -1.1] * 4, "avoiding_centre") == [7]
    assert signals([1.1] * 8, "avoiding_centre") == [], "all on one side is a run, not a mixture"
    assert signals([1.1, -1.0] * 4, "avoiding_centre") == []


def test_a_point_exactly_on_the_drawn_limit_is_not_beyond_it() -> None:
    """(10.3 − 10) / 0.1 is 3.0000000000000071 in doubles; the limit drawn is 10 + 3 × 0.1."""
    assert find([10.3], 10, 0.1, ["beyond_limit"])["beyond_limit"].size == 0


@given(steps, st.integers(0, 59))
def test_only_the_memory_of_a_rule_decides_about_a_point(z: list[float], at: int) -> None:
    for name in patterns.ALL:
        rule = Rule(name)
        at = min(at, len(z) - 1)
        start = max(0, at - rule.memory)
        assert (at in signals(z, name)) == (at - start in signals(z[start : at + 1], name))
    assert max(Rule(name).memory for name in patterns.ALL) == patterns.LONGEST_WINDOW - 1


def test_centre_and_sigma_may_vary_from_point_to_point() -> None:
    assert find([4, 4], [0, 2], [1, 1], ["beyond_limit"])["beyond_limit"].tolist() == [0]
    with pytest.raises(Refusal, match="3 values for 2 points"):
        find([1, 2], [0, 0, 0], 1)


def test_every_rule_has_a_sentence_with_its_source() -> None:
    for name in patterns.ALL:
        sentence = patterns.describe(name)
        assert sentence.endswith(".")
        assert "19" in sentence
        assert "{" not in sentence
    assert patterns.describe(Rule("run_one_side", 7)).startswith("7 points in a row")


@pytest.mark.parametrize(
    ("values", "sigma", "words"),
    [
        ([], 1, "at least 1 value"),
        ([1.0, float("nan")], 1, "nan as value 2"),
        ([1.0], 0, "above zero. Given: 0"),
        ([1.0], -1, "above zero"),
        ([1.0], float("nan"), "finite"),
    ],
)
def test_input_without_meaning_is_refused(values: list[float], sigma: float, words: str) -> None:
    with pytest.raises(Refusal, match=words):
        find(values, 0, sigma)


def test_rules_that_make_no_sense_are_refused() -> None:
    with pytest.raises(Refusal, match="no run rule “zigzag”"):
        find([1.0], 0, 1, ["zigzag"])
    with pytest.raises(Refusal, match="given twice"):
        find([1.0], 0, 1, ["beyond_limit", Rule("beyond_limit", beyond=2)])
    with pytest.raises(Refusal, match="Given: 0"):
        Rule("run_one_side", 0)
    with pytest.raises(Refusal, match="Given: 7"):
        Rule("run_one_side", 9, 7)
    with pytest.raises(Refusal, match="below zero"):
        Rule("beyond_limit", beyond=-2.0)


def test_order_of_results_does_not_depend_on_noise() -> None:
    z = np.random.default_rng(1).normal(size=5000)
    found = find(z, 0, 1)
    assert tuple(found) == patterns.ALL
    assert all(np.all(np.diff(indexes) > 0) for indexes in found.values())
