"""Finding patterns of points on a control chart that rarely come by chance.

Every run rule looks at a window of consecutive points and signals at the window's last point; a run that
goes on signals again at each further point. A point exactly on the centre line is on neither side, and one
exactly on a limit is not beyond it. Where only some points of a window must lie outside, the last must be
one of them, and the first points of a series may signal before the window is full. The rules themselves,
with their sources, are in ``run_rules``.
"""

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.refusal import Refusal
from qc_app.spc.run_rules import ALL, LONGEST_WINDOW, Rule, as_rules, describe
from qc_app.spc.series import Floats, finite, series
from qc_app.spc.tail import Tail

__all__ = ["ALL", "LONGEST_WINDOW", "Rule", "Tail", "as_rules", "describe", "find", "find_around"]

Flags = NDArray[np.bool_]


def find(
    values: ArrayLike, centre: ArrayLike, sigma: ArrayLike, rules: Iterable[str | Rule] | None = ALL
) -> dict[str, NDArray[np.intp]]:
    """The indexes at which each rule's signal completes.

    Parameters
    ----------
    values : shape (n,), n ≥ 1, in order of time.
    centre, sigma : centre line and standard deviation of a point, in the unit of the values; one number, or
        shape (n,) where they vary from point to point.
    rules : names or ``Rule`` objects, one of each name; all eight when left out.

    Returns
    -------
    dict
        From each rule's name to increasing indexes (from 0), empty where it never signals.

    Raises
    ------
    Refusal
        For an unknown rule, one named twice, no values, a value that is not finite, or sigma not above zero.

    >>> found = find([0.1, 3.2, -0.4, 2.4, 2.3], centre=0, sigma=1)
    >>> found["beyond_limit"].tolist(), found["two_of_three_outer"].tolist()
    ([1], [3, 4])
    """
    points = series(values)
    middle, spread = _line(centre, "The centre line", points), _line(sigma, "Sigma", points)
    if not np.all(np.asarray(spread) > 0):
        raise Refusal("Sigma must be above zero. Given: {given}.", given=float(np.min(spread)))
    placed = _Placed(points, middle, spread)
    return {rule.name: np.flatnonzero(_FLAGS[rule.name](placed, rule)) for rule in as_rules(rules)}


def find_around(
    values: ArrayLike, at: int, centre: float, sigma: float, rules: Iterable[str | Rule] | None = ALL
) -> dict[str, NDArray[np.intp]]:
    """The signals that a point put in, changed or taken out at index ``at`` can have changed, and no others.

    Only windows that hold the point count: signals at ``at`` and as many points after it as the rule
    remembers. For a point taken out, ``at`` is the index of the one that followed it. What was known before
    index ``at``, shifted where points moved, with this in place of what it covers, equals ``find`` over all.

    Parameters, result and refusals as ``find``; ``values`` is the series as it now is, and only the points
    near ``at`` are looked at.

    >>> found = find_around([0.0, 2.1, 2.2, 0.3], at=1, centre=0, sigma=1)
    >>> found["two_of_three_outer"].tolist()
    [2]
    """
    chosen = as_rules(rules)
    reach = max((rule.memory for rule in chosen), default=0)
    first = max(0, at - reach)
    near = np.asarray(values, dtype=np.float64)[first : at + reach + 1]
    found = find(near, centre, sigma, chosen)
    return {
        rule.name: np.array(
            [first + i for i in found[rule.name] if at <= first + i <= at + rule.memory], dtype=np.intp
        )
        for rule in chosen
    }


class _Placed:
    """Points with the lines they are compared with; each comparison is made once."""

    def __init__(self, points: Floats, centre: float | Floats, sigma: float | Floats) -> None:
        self.points, self._centre, self._sigma = points, centre, sigma
        self._sides: dict[float, tuple[Flags, Flags]] = {}

    def sides(self, distance: float) -> tuple[Flags, Flags]:
        """Which points lie more than so many sigmas above the centre line, and which below."""
        if distance not in self._sides:
            away = distance * self._sigma
            self._sides[distance] = self.points > self._centre + away, self.points < self._centre - away
        return self._sides[distance]

    def steps(self) -> tuple[Flags, Flags]:
        """Which points lie above the one before, and which below; the first has none before it."""
        up, down = np.zeros((2, self.points.size), dtype=np.bool_)
        np.greater(self.points[1:], self.points[:-1], out=up[1:])
        np.less(self.points[1:], self.points[:-1], out=down[1:])
        return up, down


def _beyond_limit(placed: _Placed, rule: Rule) -> Flags:
    above, below = placed.sides(rule.beyond)
    return _unbroken(above | below, rule.length)


def _run_one_side(placed: _Placed, rule: Rule) -> Flags:
    above, below = placed.sides(0)
    return _unbroken(above, rule.length) | _unbroken(below, rule.length)


def _steady_trend(placed: _Placed, rule: Rule) -> Flags:
    up, down = placed.steps()
    return _unbroken(up, rule.length - 1) | _unbroken(down, rule.length - 1)


def _alternating(placed: _Placed, rule: Rule) -> Flags:
    up, down = placed.steps()
    turns = np.zeros_like(up)
    turns[1:] = (up[1:] & down[:-1]) | (down[1:] & up[:-1])
    return _unbroken(turns, rule.length - 2)


def _outer(placed: _Placed, rule: Rule) -> Flags:
    above, below = placed.sides(rule.beyond)
    return _enough(above, rule) | _enough(below, rule)


def _hugging_centre(placed: _Placed, rule: Rule) -> Flags:
    above, below = placed.sides(rule.beyond)
    return _unbroken(~(above | below), rule.length)


def _avoiding_centre(placed: _Placed, rule: Rule) -> Flags:
    above, below = placed.sides(rule.beyond)
    one_side = _unbroken(above, rule.length) | _unbroken(below, rule.length)
    return _unbroken(above | below, rule.length) & ~one_side


def _unbroken(flags: Flags, length: int) -> Flags:
    """Which points end a run of at least ``length`` set flags; each pass doubles the run it looks for."""
    reached, run = flags, 1
    while run < length:
        step = min(run, length - run)
        longer = np.zeros_like(reached)
        np.logical_and(reached[step:], reached[:-step], out=longer[step:])
        reached, run = longer, run + step
    return reached


def _enough(flags: Flags, rule: Rule) -> Flags:
    """Set flags with ``count`` or more set among the last ``length``."""
    marks = flags.view(np.uint8)
    total = marks.copy()
    for step in range(1, min(rule.length, marks.size)):
        total[step:] += marks[:-step]
    enough: Flags = flags & (total >= rule.count)
    return enough


def _line(given: ArrayLike, name: str, points: Floats) -> float | Floats:
    if isinstance(given, int | float | np.number):
        return finite(given, name)
    line = series(given, name=name)
    if line.size != points.size:
        raise Refusal(
            "{name} has {given} values for {points} points.", name=name, given=line.size, points=points.size
        )
    return line


_FLAGS: dict[str, Callable[[_Placed, Rule], Flags]] = {
    "beyond_limit": _beyond_limit,
    "run_one_side": _run_one_side,
    "steady_trend": _steady_trend,
    "alternating": _alternating,
    "two_of_three_outer": _outer,
    "four_of_five_outer": _outer,
    "hugging_centre": _hugging_centre,
    "avoiding_centre": _avoiding_centre,
}
