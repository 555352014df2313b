"""The Markov chain of a set of run rules: every past that matters, and where each next point leads.

C. W. Champ, W. H. Woodall, "Exact results for Shewhart control charts with supplementary runs rules",
*Technometrics* 29(4), 1987. A point is known here by its zone, between two neighbouring lines that some rule
compares with, and by whether it is higher or lower than the one before.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from qc_app.spc.rule_counters import State, counter
from qc_app.spc.run_rules import Rule

ORDERED = ("steady_trend", "alternating")
"""The rules that look at the order of points rather than at their zones."""

SIGNAL = -1
"""Stands for the state after a signal."""


@dataclass(frozen=True)
class Chain:
    """States and steps of a set of rules.

    ``lines`` cut the axis into zones (in sigmas from the centre line); ``first`` leads from each zone of the
    first point to a state; ``upward`` and ``downward``, of shape (states, zones), from a state by a point
    higher or lower than the one before. They are equal where no rule looks at the order. ``SIGNAL`` ends it.
    """

    lines: tuple[float, ...]
    first: NDArray[np.intp]
    upward: NDArray[np.intp]
    downward: NDArray[np.intp]


def chain(rules: tuple[Rule, ...]) -> Chain:
    """The chain of these rules, with states that make no difference to the future merged."""
    distances = sorted({_distance(rule) for rule in rules} - {0.0})
    rank = {0.0: 0.0} | {distance: float(place) for place, distance in enumerate(distances, start=1)}
    found = _ranked_chain(tuple(replace(rule, beyond=rank[_distance(rule)]) for rule in rules))
    distance_of = dict(zip(rank.values(), rank, strict=True))
    return replace(found, lines=tuple(math.copysign(distance_of[abs(line)], line) for line in found.lines))


@lru_cache(maxsize=64)
def _ranked_chain(rules: tuple[Rule, ...]) -> Chain:
    """The chain where distances are known by their order only, since states depend on no more."""
    lines = _lines(rules)
    zones = len(lines) + 1
    counters = [counter(rule) for rule in rules]
    sides = [_sides(rule, lines) for rule in rules]

    def after(states: tuple[State, ...], zone: int, step: int) -> tuple[State, ...] | None:
        moved = [
            count(state, side[zone], step)
            for state, side, (_, count) in zip(states, sides, counters, strict=True)
        ]
        return None if any(signal for _, signal in moved) else tuple(state for state, _ in moved)

    steps = (1, -1) if any(rule.name in ORDERED for rule in rules) else (0,)
    start = tuple(state for state, _ in counters)
    entries = [after(start, zone, 0) for zone in range(zones)]
    known: dict[tuple[State, ...], int] = {}
    for entry in entries:
        if entry is not None:
            known.setdefault(entry, len(known))
    moves, waiting = [], list(known)
    for states in waiting:
        row = [after(states, zone, step) for step, zone in product(steps, range(zones))]
        for found in row:
            if found is not None and found not in known:
                known[found] = len(known)
                waiting.append(found)
        moves.append([SIGNAL if found is None else known[found] for found in row])
    first = np.array([SIGNAL if entry is None else known[entry] for entry in entries], dtype=np.intp)
    first, table = _merged(first, np.array(moves, dtype=np.intp).reshape(len(known), -1))
    return Chain(lines=lines, first=first, upward=table[:, :zones], downward=table[:, -zones:])


def _lines(rules: tuple[Rule, ...]) -> tuple[float, ...]:
    compared = {_distance(rule) for rule in rules if rule.name not in ORDERED}
    return tuple(sorted({line for distance in compared for line in (-distance, distance)}))


def _distance(rule: Rule) -> float:
    return 0.0 if rule.name in ORDERED or rule.name == "run_one_side" else float(rule.beyond)


def _sides(rule: Rule, lines: tuple[float, ...]) -> list[int]:
    """The side of the rule's distance on which each zone lies."""
    bounds = [-np.inf, *lines, np.inf]
    return [(low >= rule.beyond) - (high <= -rule.beyond) for low, high in pairwise(bounds)]


def _merged(first: NDArray[np.intp], moves: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The same chain with the fewest states, by refining classes until they hold (E. F. Moore, 1956)."""
    classes, count = np.zeros(len(moves), dtype=np.intp), 0
    while True:
        beyond = np.append(classes, SIGNAL)  # index −1 is the signal's own class
        kept, example, refined = np.unique(beyond[moves], axis=0, return_index=True, return_inverse=True)
        settled = len(kept) == count
        classes, count = refined.reshape(-1), len(kept)
        if settled:
            beyond = np.append(classes, SIGNAL)
            return beyond[first], beyond[moves[example]]
