"""Whether a process can hold its limits of tolerance: indices, intervals, expected share outside.

An index speaks about the future only where the process is stable. So ``study`` looks for signals first, and
refuses unless told that it is to go on all the same; its statement then says so.
"""

from dataclasses import dataclass

from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.capability_indices import (
    Indices,
    Interval,
    check_limits,
    cp_interval,
    cpk_interval,
    cpm_interval,
    indices,
)
from qc_app.spc.distribution_fit import Fitted, best_fit, fit
from qc_app.spc.moments import mean, standard_deviation
from qc_app.spc.patterns import find
from qc_app.spc.series import positive, series
from qc_app.spc.share_outside import (
    Share,
    count_outside,
    counted_share,
    normal_share,
    normal_share_from_sample,
    unbiased_share_beyond,
)
from qc_app.spc.shewhart import individuals

__all__ = [
    "Fitted",
    "Indices",
    "Interval",
    "Share",
    "Study",
    "best_fit",
    "counted_share",
    "cp_interval",
    "cpk_interval",
    "cpm_interval",
    "fit",
    "indices",
    "normal_share",
    "normal_share_from_sample",
    "study",
    "unbiased_share_beyond",
]

STABILITY_RULES = ("beyond_limit", "run_one_side")
"""Few rules: with more, a stable process of a hundred points would often be refused by chance."""


@dataclass(frozen=True)
class Study:
    """Capability of a series of single values.

    ``short_term`` holds Cp, Cpk and so on, with sigma from moving ranges: what the process could do if its
    level did not wander. ``overall`` holds Pp, Ppk and Cpm (in the fields cp, cpk, cpm), with the standard
    deviation of all values: what it did. Intervals have ``confidence``; ``cpk`` and ``ppk`` are Bissell's,
    the others by chi-square. ``by_distribution`` are the indices of the best-fitting distribution.
    """

    n: int
    mean: float
    sigma_short_term: float
    sigma_overall: float
    short_term: Indices
    overall: Indices
    cp: Interval | None
    cpk: Interval
    pp: Interval | None
    ppk: Interval
    cpm: Interval | None
    confidence: float
    normal: Share
    counted: Share
    distribution: Fitted
    by_distribution: Indices
    share_by_distribution: float
    signals: dict[str, list[int]]

    @property
    def stable(self) -> bool:
        """Whether no run rule signalled."""
        return not any(self.signals.values())

    @property
    def statement(self) -> str:
        """The result in plain words, with its reservation where the process is not stable."""
        found = (
            f"Ppk is {self.overall.cpk:.2f} ({self.ppk.lower:.2f} to {self.ppk.upper:.2f} with "
            f"{self.confidence:.0%} confidence) from {self.n} values."
        )
        if self.stable:
            return found
        return "The process is not stable, so this says nothing about panels to come. " + found


def study(
    values: ArrayLike,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
    *,
    confidence: float = 0.95,
    despite_signals: bool = False,
) -> Study:
    """Capability of single values in order of time against limits of tolerance.

    Parameters
    ----------
    values : shape (n,), n ≥ 3, in order of time.
    lower, upper, target : in the unit of the values; at least one limit.
    despite_signals : go on although a run rule signals; the statement then says that it is so.

    Raises
    ------
    Refusal
        If a run rule signals and ``despite_signals`` is not set; for no limit, limits out of order, fewer
        than three values, or values that do not vary.

    >>> found = study([3.9, 4.1, 3.8, 4.0, 4.2, 3.9, 4.0, 4.1], lower=3.5, upper=4.5, target=4)
    >>> round(found.overall.cp, 3), round(found.short_term.cpk, 3), found.stable
    (1.273, 0.94, True)
    """
    check_limits(lower, upper)
    points = series(values, fewest=3)
    middle, overall = mean(points), positive(standard_deviation(points), "The standard deviation")
    chart = individuals(points)
    found = find(points, chart.centre, chart.sigma, STABILITY_RULES)
    signals = {rule: indexes.tolist() for rule, indexes in found.items()}
    if any(signals.values()) and not despite_signals:
        raise Refusal(
            "The process is not stable: {count} points signal. Find out why first, or ask for its capability "
            "despite the signals.",
            count=len({index for indexes in signals.values() for index in indexes}),
        )
    short = indices(middle, chart.sigma, lower, upper, target)
    total = indices(middle, overall, lower, upper, target)
    equivalent = _equivalent_size(points.size)
    distribution = best_fit(points)
    return Study(
        n=points.size,
        mean=middle,
        sigma_short_term=chart.sigma,
        sigma_overall=overall,
        short_term=short,
        overall=total,
        cp=None if short.cp is None else cp_interval(short.cp, equivalent, confidence),
        cpk=cpk_interval(short.cpk, equivalent, confidence),
        pp=None if total.cp is None else cp_interval(total.cp, points.size, confidence),
        ppk=cpk_interval(total.cpk, points.size, confidence),
        cpm=None
        if total.cpm is None or target is None
        else cpm_interval(total.cpm, points.size, (middle - target) / overall, confidence),
        confidence=confidence,
        normal=normal_share_from_sample(points.size, middle, overall, lower, upper, confidence),
        counted=counted_share(count_outside(points, lower, upper), points.size, confidence),
        distribution=distribution,
        by_distribution=distribution.indices(lower, upper),
        share_by_distribution=distribution.share_outside(lower, upper),
        signals=signals,
    )


def _equivalent_size(n: int) -> float:
    """Values whose standard deviation would be as precise as sigma from the moving ranges of ``n``.

    The mean moving range over d2 has variance sigma² (0.8264 n − 1.082)/(n − 1)² (J. D. Cryer, T. P. Ryan,
    *Journal of Quality Technology* 22(3), 1990), a standard deviation about sigma²/(2 ν).
    """
    return 1 + (n - 1) ** 2 / (2 * (0.8264 * n - 1.082))
