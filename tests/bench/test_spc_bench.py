"""How fast the statistics are, as ratios to plain array work in the same run. Prints; decides nothing."""

import sys
import time
from collections.abc import Callable

import numpy as np
import pytest

from qc_app.spc import patterns, run_length
from qc_app.spc.exact_run_length import _shewhart
from qc_app.spc.patterns import Tail
from qc_app.spc.rule_chain import _ranked_chain
from qc_app.spc.run_rules import Rule
from qc_app.spc.shewhart import individuals

pytestmark = pytest.mark.bench


def best(act: Callable[[], object], rounds: int = 7) -> float:
    """Shortest time of several, in seconds."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return min(times)


def test_a_million_points_through_limits_and_all_rules(capsys: pytest.CaptureFixture[str]) -> None:
    values = np.random.default_rng(0).normal(size=1_000_000)
    once = best(lambda: np.cumsum(values))
    limits = best(lambda: individuals(values))
    rules = best(lambda: patterns.find(values, 0, 1))
    with capsys.disabled():
        sys.stdout.write(
            f"\na million points: limits {limits / once:.1f}, eight rules {rules / once:.1f}, "
            f"together {(limits + rules) / once:.1f} times one cumsum (wanted: at most 12)"
        )


def test_one_point_through_the_tail(capsys: pytest.CaptureFixture[str]) -> None:
    values = np.random.default_rng(0).normal(size=20_000).tolist()

    def run() -> None:
        tail = Tail(0, 1)
        for value in values:
            tail.add(value)

    each = best(run) / len(values)
    with capsys.disabled():
        sys.stdout.write(
            f"\none point through the tail of eight rules: {each * 1e6:.1f} µs (wanted: under 10)"
        )


def test_run_length_of_four_rules(capsys: pytest.CaptureFixture[str]) -> None:
    def four() -> None:
        _shewhart.cache_clear()
        _ranked_chain.cache_clear()
        rules: list[str | Rule] = ["beyond_limit", "two_of_three_outer", "four_of_five_outer"]
        run_length.shewhart([*rules, Rule("run_one_side", 8)], 0.5)

    took = best(four)
    with capsys.disabled():
        sys.stdout.write(f"\nrun length of four rules together: {took * 1e3:.1f} ms (wanted: under 100)")
