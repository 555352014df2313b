"""Phases of a chart: whether a base is stable enough to freeze limits from, and limits by phase."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.change_point import ChangePoint, change_point
from qc_app.spc.constants import D2_OF_TWO
from qc_app.spc.limits import ControlLimits
from qc_app.spc.moments import lag_one_autocorrelation
from qc_app.spc.normality import AndersonDarling, anderson_darling
from qc_app.spc.patterns import find
from qc_app.spc.run_rules import Rule
from qc_app.spc.series import finite, positive, series
from qc_app.spc.shewhart import Individuals, individuals

__all__ = [
    "AndersonDarling",
    "BaseCheck",
    "ChangePoint",
    "Phase",
    "Suggestion",
    "anderson_darling",
    "change_point",
    "check_base",
    "freeze",
    "limits_by_phase",
]

FEWEST_POINTS = 20
"""Points a base needs (common practice: 20 to 25)."""

BASE_RULES = ("beyond_limit", "run_one_side")


@dataclass(frozen=True)
class Suggestion:
    """A point that might be set aside when limits are frozen, if a reason is found."""

    index: int
    value: float
    rules: tuple[str, ...]


@dataclass(frozen=True)
class BaseCheck:
    """What there is to know of a base before limits are frozen from it.

    ``signals`` has the indexes for each rule; ``normality`` is None for fewer than eight points;
    ``autocorrelation`` is that of neighbours, which chance keeps within ± ``autocorrelation_bound`` in 95 of
    100 bases; ``suggestions`` are the points beyond the limits.
    """

    points: int
    chart: Individuals
    signals: dict[str, list[int]]
    normality: AndersonDarling | None
    autocorrelation: float
    autocorrelation_bound: float
    suggestions: tuple[Suggestion, ...]

    @property
    def enough(self) -> bool:
        """Whether there are enough points."""
        return self.points >= FEWEST_POINTS

    @property
    def correlated(self) -> bool:
        """Whether neighbouring points are alike (or unlike) beyond chance: limits would then mislead."""
        return abs(self.autocorrelation) > self.autocorrelation_bound

    @property
    def stable(self) -> bool:
        """Whether limits may be frozen without reservation."""
        return not self.reservations

    @property
    def reservations(self) -> tuple[str, ...]:
        """What speaks against freezing limits from these points, one plain sentence each."""
        found = []
        if not self.enough:
            found.append(f"Only {self.points} points; at least {FEWEST_POINTS} are wanted.")
        count = len({index for indexes in self.signals.values() for index in indexes})
        if count:
            found.append(f"Points that signal: {count}. Find out why before limits are set from them.")
        if self.normality is not None and not self.normality.looks_normal(0.01):
            found.append("The values do not look normal; false alarms may be more frequent than stated.")
        if self.correlated:
            found.append(
                "Neighbouring points are not independent; the limits would be too narrow or too wide."
            )
        return tuple(found)


@dataclass(frozen=True)
class Phase:
    """Limits frozen from a base; they hold from the point at index ``begins`` on."""

    begins: int
    centre: float
    sigma: float


def check_base(values: ArrayLike, rules: Sequence[str | Rule] = BASE_RULES) -> BaseCheck:
    """Whether values, shape (n,), n ≥ 3, in order of time, are fit to freeze limits from.

    Raises
    ------
    Refusal
        For fewer than three values, one not finite, or values that do not vary.

    >>> check = check_base([3.7, 3.8, 3.6, 3.9, 3.7, 5.2, 3.8, 3.7, 3.6, 3.8])
    >>> [suggestion.index for suggestion in check.suggestions], check.enough
    ([5], False)
    """
    points = series(values, fewest=3)
    chart = individuals(points)
    found = {
        rule: indexes.tolist() for rule, indexes in find(points, chart.centre, chart.sigma, rules).items()
    }
    beyond = chart.outside.tolist()
    return BaseCheck(
        points=points.size,
        chart=chart,
        signals=found,
        normality=anderson_darling(points) if points.size >= 8 else None,
        autocorrelation=lag_one_autocorrelation(points),
        autocorrelation_bound=1.96 / math.sqrt(points.size),
        suggestions=tuple(
            Suggestion(i, float(points[i]), tuple(rule for rule in found if i in found[rule])) for i in beyond
        ),
    )


def freeze(values: ArrayLike, begins: int = 0, set_aside: Mapping[int, str] | None = None) -> Phase:
    """Limits from a base, without the points set aside, each of which needs its reason.

    A point set aside leaves a gap: no moving range is taken across it.

    Parameters
    ----------
    values : the base, shape (n,), in order of time.
    begins : index from which the limits hold.
    set_aside : from the index of a point to the reason it does not belong.

    Raises
    ------
    Refusal
        For a point set aside without a reason, an index out of range, or too little left to estimate from.

    >>> phase = freeze([3.7, 3.8, 5.2, 3.6, 3.9], set_aside={2: "core taken from an unfilled bay"})
    >>> round(phase.centre, 2), round(phase.sigma, 3)
    (3.75, 0.177)
    """
    points = series(values, fewest=2)
    aside = dict(set_aside or {})
    for place, reason in aside.items():
        if not 0 <= place < points.size:
            raise Refusal("There is no point {place} to set aside.", place=place)
        if not reason.strip():
            raise Refusal("Say why point {place} is set aside; nothing was entered.", place=place)
    kept = np.array([i not in aside for i in range(points.size)])
    ranges = np.abs(np.diff(points))[kept[1:] & kept[:-1]]
    if not ranges.size:
        raise Refusal("No two neighbouring points are left to estimate the spread from.")
    sigma = positive(float(ranges.mean()) / D2_OF_TWO, "Sigma")
    return Phase(begins, float(points[kept].mean()), sigma)


def limits_by_phase(values: ArrayLike, phases: Sequence[Phase]) -> ControlLimits:
    """One chart of single values whose limits change where a phase begins.

    Points before the first phase have the limits of the first.

    Raises
    ------
    Refusal
        For no phase, phases not in order, or one that begins after the last point.

    >>> chart = limits_by_phase([1.0, 2.0, 11.0], [Phase(0, 1.5, 0.5), Phase(2, 10.0, 1.0)])
    >>> chart.upper.tolist(), chart.centre.tolist()
    ([3.0, 3.0, 13.0], [1.5, 1.5, 10.0])
    """
    points = series(values)
    starts = [phase.begins for phase in phases]
    if not phases or starts != sorted(set(starts)) or not 0 <= starts[-1] < points.size:
        raise Refusal(
            "Phases begin one after another at points 0 to {last}. Given: {given}.",
            last=points.size - 1,
            given=", ".join(map(str, starts)) or "none",
        )
    of_point = np.maximum(np.searchsorted(starts, np.arange(points.size), side="right") - 1, 0)
    centre = np.array([finite(phase.centre, "The centre line") for phase in phases])[of_point]
    sigma = np.array([positive(phase.sigma, "Sigma") for phase in phases])[of_point]
    return ControlLimits(
        points=points,
        centre=centre,
        lower=centre - 3 * sigma,
        upper=centre + 3 * sigma,
        sigma=sigma,
        point_sigma=sigma,
        method="frozen from the base of each phase",
    )
