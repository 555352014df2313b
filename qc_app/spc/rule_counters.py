"""What each run rule must remember of the past, as a handful of small whole numbers.

A counter takes one point after another, seen as ``side`` (1 above the rule's distance from the centre line,
−1 below it on the other side, 0 between) and ``step`` (1 higher than the point before, −1 lower, 0 equal or
first). It gives the new state and whether the rule signals. States are capped, so there are finitely many.
"""

from collections.abc import Callable

from qc_app.spc.run_rules import Rule

State = tuple[int, ...]
Counter = Callable[[State, int, int], tuple[State, bool]]


def counter(rule: Rule) -> tuple[State, Counter]:
    """The state before the first point, and the counter, of a rule."""
    return _COUNTERS[rule.name](rule)


def _run_in_direction(run: int, direction: int, cap: int) -> int:
    """A signed run: longer by one in its own direction, begun anew in another."""
    if direction > 0:
        return min(max(run, 0) + 1, cap)
    if direction < 0:
        return max(min(run, 0) - 1, -cap)
    return 0


def _beyond_limit(rule: Rule) -> tuple[State, Counter]:
    length = rule.length

    def count(state: State, side: int, _step: int) -> tuple[State, bool]:
        run = min(state[0] + 1, length) if side else 0
        return (run,), run == length

    return (0,), count


def _hugging_centre(rule: Rule) -> tuple[State, Counter]:
    length = rule.length

    def count(state: State, side: int, _step: int) -> tuple[State, bool]:
        run = 0 if side else min(state[0] + 1, length)
        return (run,), run == length

    return (0,), count


def _run_one_side(rule: Rule) -> tuple[State, Counter]:
    length = rule.length

    def count(state: State, side: int, _step: int) -> tuple[State, bool]:
        run = _run_in_direction(state[0], side, length)
        return (run,), abs(run) == length

    return (0,), count


def _steady_trend(rule: Rule) -> tuple[State, Counter]:
    steps = rule.length - 1

    def count(state: State, _side: int, step: int) -> tuple[State, bool]:
        run = _run_in_direction(state[0], step, steps)
        return (run,), abs(run) == steps

    return (0,), count


def _alternating(rule: Rule) -> tuple[State, Counter]:
    enough = rule.length - 2

    def count(state: State, _side: int, step: int) -> tuple[State, bool]:
        turns, before = state
        turns = min(turns + 1, enough) if step * before < 0 else 0
        return (turns, step), turns == enough

    return (0, 0), count


def _outer(rule: Rule) -> tuple[State, Counter]:
    needed, remembered = rule.count, (1 << (rule.length - 1)) - 1

    def count(state: State, side: int, _step: int) -> tuple[State, bool]:
        above, below = state[0] << 1 | (side > 0), state[1] << 1 | (side < 0)
        signal = (side > 0 and above.bit_count() >= needed) or (side < 0 and below.bit_count() >= needed)
        return (above & remembered, below & remembered), signal

    return (0, 0), count


def _avoiding_centre(rule: Rule) -> tuple[State, Counter]:
    length = rule.length

    def count(state: State, side: int, _step: int) -> tuple[State, bool]:
        outside = min(state[0] + 1, length) if side else 0
        same_side = _run_in_direction(state[1], side, length)
        return (outside, same_side), outside == length and abs(same_side) < length

    return (0, 0), count


_COUNTERS: dict[str, Callable[[Rule], tuple[State, Counter]]] = {
    "beyond_limit": _beyond_limit,
    "run_one_side": _run_one_side,
    "steady_trend": _steady_trend,
    "alternating": _alternating,
    "two_of_three_outer": _outer,
    "four_of_five_outer": _outer,
    "hugging_centre": _hugging_centre,
    "avoiding_centre": _avoiding_centre,
}
