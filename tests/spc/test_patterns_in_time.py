"""Run rules as points arrive: one by one, stored and taken up again, late and out of order."""

import json
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.spc import patterns
from qc_app.spc.patterns import Rule, Tail, find, find_around

points = st.lists(st.sampled_from([-3.2, -2.1, -1.2, -1, -0.4, 0, 0.4, 1, 1.2, 2.1, 3.2]), max_size=50)
rule_sets = st.lists(st.sampled_from(patterns.ALL), unique=True, min_size=1).flatmap(
    lambda names: st.tuples(*(st.builds(Rule, st.just(name), st.integers(3, 16)) for name in names))
)


def batch(values: list[float], rules: tuple[Rule, ...]) -> set[tuple[str, int]]:
    if not values:
        return set()
    return {(name, int(i)) for name, found in find(values, 0, 1, rules).items() for i in found}


@given(points, rule_sets)
def test_point_by_point_equals_all_at_once(values: list[float], rules: tuple[Rule, ...]) -> None:
    tail = Tail(0, 1, rules)
    found = {(name, i) for i, value in enumerate(values) for name in tail.add(value)}
    assert found == batch(values, rules)


@given(points, rule_sets, st.integers(0, 50))
def test_a_stored_state_goes_on_as_if_nothing_had_happened(
    values: list[float], rules: tuple[Rule, ...], split: int
) -> None:
    tail, found = Tail(0, 1, rules), set()
    for i, value in enumerate(values):
        if i == split:
            tail = Tail.resume(json.loads(json.dumps(tail.state)), 0, 1, rules)
        found |= {(name, i) for name in tail.add(value)}
    assert found == batch(values, rules)


@given(points, rule_sets, st.randoms(use_true_random=False))
def test_any_order_of_arrival_ends_at_the_same_signals(
    values: list[float], rules: tuple[Rule, ...], order: Random
) -> None:
    arrivals = list(enumerate(values))
    order.shuffle(arrivals)
    known: list[tuple[int, float]] = []
    found: set[tuple[str, int]] = set()
    memory = {rule.name: rule.memory for rule in rules}
    for arrival in arrivals:
        known = sorted([*known, arrival])
        at = known.index(arrival)
        moved = {(name, i + (i >= at)) for name, i in found}
        kept = {(name, i) for name, i in moved if not at <= i <= at + memory[name]}
        now = find_around([value for _, value in known], at, 0, 1, rules)
        found = kept | {(name, int(i)) for name, indexes in now.items() for i in indexes}
    assert found == batch(values, rules)


def test_a_point_that_is_no_number_is_refused_and_not_taken() -> None:
    tail = Tail(0, 1)
    before = tail.state
    with pytest.raises(Refusal, match=r"The point must be a finite number\. Given: nan"):
        tail.add(float("nan"))
    assert tail.state == before


def test_a_state_of_other_rules_is_refused() -> None:
    state = Tail(0, 1, ["beyond_limit"]).state
    with pytest.raises(Refusal, match="of the run rules beyond_limit; asked for are steady_trend"):
        Tail.resume(state, 0, 1, ["steady_trend"])


def test_sigma_of_zero_is_refused() -> None:
    with pytest.raises(Refusal, match="Sigma"):
        Tail(0, 0)
