"""Shewhart control charts of measured values: centre line and three-sigma limits.

Sources: ISO 7870-2; ASTM MNL 7; NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.1 and
6.3.2.2. Limits are three standard deviations of the plotted statistic either side of its mean; those of
ranges and standard deviations never fall below zero.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.spc.constants import D2_OF_TWO, D3_OF_TWO, c4_of, shewhart_constants
from qc_app.spc.limits import ControlLimits, constant
from qc_app.spc.series import Floats, finite, positive, series
from qc_app.spc.subgroups import Subgroups, Summary, summary

GIVEN = "given"
MOVING_RANGE = "mean moving range of two, divided by d2"
RANGE = "mean range of the subgroups, divided by d2"
DEVIATION = "mean standard deviation of the subgroups, divided by c4"
POOLED = "pooled standard deviation of the subgroups"


@dataclass(frozen=True)
class Individuals(ControlLimits):
    """A chart of single values, with the chart of their moving ranges (of n − 1 points) in ``spread``."""

    centre: float
    sigma: float
    spread: ControlLimits

    @property
    def moving_ranges(self) -> Floats:
        """Distance of each value from the one before, shape (n − 1,)."""
        return self.spread.points

    @property
    def mean_moving_range(self) -> float:
        """The mean of the moving ranges."""
        return float(self.spread.points.mean())


@dataclass(frozen=True)
class Means(ControlLimits):
    """A chart of subgroup means, with the chart of what the subgroups hold within them in ``spread``."""

    centre: float
    sigma: float
    spread: ControlLimits


@dataclass(frozen=True)
class BetweenWithin(Individuals):
    """A chart of subgroup means as single values; ``spread`` charts their moving ranges, ``within`` the
    subgroups' own spread.

    ``sigma`` is that of a mean; ``sigma_within`` that of a value about its subgroup's mean, ``sigma_between``
    that of the subgroups' true means (zero where the means vary no more than chance within explains), and
    ``sigma_total`` that of a single value over all.
    """

    within: ControlLimits
    sigma_within: float
    sigma_between: float
    sigma_total: float


def individuals(values: ArrayLike, *, centre: float | None = None, sigma: float | None = None) -> Individuals:
    """Individuals and moving ranges of two.

    sigma = mean moving range / d2, with d2 = 2/√π for two values; limits at centre ± 3 sigma (NIST/SEMATECH
    e-Handbook of Statistical Methods, section 6.3.2.2; ISO 7870-2). With ``centre`` or ``sigma`` given, those
    are used instead of estimates.

    Parameters
    ----------
    values : shape (n,), n ≥ 2, in order of time; any unit, which all results share.

    Raises
    ------
    Refusal
        If there are fewer than two values, one is not finite, or sigma comes out as zero because no value
        differs from the one before.

    >>> chart = individuals([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(chart.centre, 2), round(chart.mean_moving_range, 4), round(chart.sigma, 4)
    (50.81, 1.8778, 1.6641)
    """
    points = series(values, fewest=2)
    ranges = np.diff(points)
    np.abs(ranges, out=ranges)
    found = _sigma(float(ranges.mean()) / D2_OF_TWO, sigma)
    middle = _centre(float(points.mean()), centre)
    method = MOVING_RANGE if sigma is None else GIVEN
    size = points.size
    return Individuals(
        points=points,
        centre=middle,
        lower=constant(middle - 3 * found, size),
        upper=constant(middle + 3 * found, size),
        sigma=found,
        point_sigma=constant(found, size),
        method=method,
        spread=_spread_chart(ranges, D2_OF_TWO, D3_OF_TWO, found, method),
    )


def means_and_ranges(
    subgroups: Subgroups, *, centre: float | None = None, sigma: float | None = None
) -> Means:
    """Subgroup means and ranges.

    sigma is the mean of range / d2; where sizes differ, each weighs by d2²/d3² of its size, which makes the
    estimate the most precise (I. W. Burr, *Journal of Quality Technology* 1(3), 1969). With equal sizes the
    limits are the familiar centre ± A2 times the mean range.

    Parameters
    ----------
    subgroups : shape (k, n) with k ≥ 2 and 2 ≤ n ≤ 100, or rows of different lengths, in order of time.
    centre, sigma : used instead of estimates; sigma is that of one value.

    Raises
    ------
    Refusal
        For a subgroup of one, fewer than two subgroups, a value not finite, or no spread in any subgroup.

    >>> chart = means_and_ranges([[3.4, 3.6, 3.5], [3.7, 3.6, 3.5], [3.5, 3.3, 3.7]])
    >>> round(chart.sigma, 4), chart.upper.round(3).tolist()
    (0.1576, [3.806, 3.806, 3.806])
    """
    groups = summary(subgroups)
    factors = [shewhart_constants(int(n)) for n in groups.sizes]
    d2, d3 = np.array([f.d2 for f in factors]), np.array([f.d3 for f in factors])
    found = _sigma(_weighted(groups.ranges, d2, d3), sigma)
    method = RANGE if sigma is None else GIVEN
    return _means(groups, _spread_chart(groups.ranges, d2, d3, found, method), centre, found, method)


def means_and_deviations(
    subgroups: Subgroups, *, centre: float | None = None, sigma: float | None = None, pooled: bool = False
) -> Means:
    """Subgroup means and standard deviations; the sizes may differ.

    sigma is the mean of standard deviation / c4; where sizes differ, each weighs by c4²/(1 − c4²) of its size
    (I. W. Burr, *Journal of Quality Technology* 1(3), 1969). ``pooled`` takes the root of the variances
    averaged by their degrees of freedom instead. Otherwise as ``means_and_ranges``.

    >>> chart = means_and_deviations([[3.4, 3.6, 3.5], [3.7, 3.6, 3.5, 3.4], [3.5, 3.3]])
    >>> chart.upper.round(3).tolist()
    [3.737, 3.705, 3.791]
    """
    groups = summary(subgroups)
    c4 = np.array([c4_of(int(n)) for n in groups.sizes])
    widths = np.sqrt(1 - c4**2)
    own = _pooled(groups) if pooled else _weighted(groups.deviations, c4, widths)
    found = _sigma(own, sigma)
    method = GIVEN if sigma is not None else POOLED if pooled else DEVIATION
    return _means(groups, _spread_chart(groups.deviations, c4, widths, found, method), centre, found, method)


def between_within(
    subgroups: Subgroups,
    *,
    centre: float | None = None,
    sigma: float | None = None,
    sigma_within: float | None = None,
) -> BetweenWithin:
    """Means as individuals with their moving ranges, and the spread within, for two sources of variation.

    For cores within a panel and panel to panel: limits from the spread within a panel would be far too
    narrow for the means, since panels differ by more than their cores do. The limits of the means come from
    their own moving ranges; the spread within has a chart of standard deviations of its own.
    sigma_between² = sigma² − sigma_within²/n, not below zero, with n the harmonic mean of the sizes.

    Parameters and refusals as ``means_and_deviations``; ``sigma`` given is that of a mean.

    >>> chart = between_within([[3.4, 3.6], [4.1, 4.0], [3.7, 3.9], [3.5, 3.4]])
    >>> round(chart.sigma, 3), round(chart.sigma_within, 3), round(chart.sigma_between, 3)
    (0.34, 0.133, 0.326)
    """
    cores = means_and_deviations(subgroups, sigma=sigma_within)
    sizes = summary(subgroups).sizes
    chart = individuals(cores.points, centre=centre, sigma=sigma)
    within = cores.sigma**2
    between = max(0.0, chart.sigma**2 - within * float((1 / sizes).mean()))
    return BetweenWithin(
        **vars(chart),
        within=cores.spread,
        sigma_within=cores.sigma,
        sigma_between=math.sqrt(between),
        sigma_total=math.sqrt(between + within),
    )


def _means(groups: Summary, spread: ControlLimits, centre: float | None, sigma: float, method: str) -> Means:
    middle = _centre(groups.grand_mean, centre)
    point_sigma = sigma / np.sqrt(groups.sizes)
    return Means(
        points=groups.means,
        centre=middle,
        lower=middle - 3 * point_sigma,
        upper=middle + 3 * point_sigma,
        sigma=sigma,
        point_sigma=point_sigma,
        method=method,
        spread=spread,
    )


def _spread_chart(
    points: Floats, mean: float | Floats, deviation: float | Floats, sigma: float, method: str
) -> ControlLimits:
    """Chart of a measure of spread, whose mean and standard deviation are known in sigmas."""
    middle, width = np.asarray(mean) * sigma, np.asarray(deviation) * sigma
    if middle.ndim and np.ptp(middle) == 0:
        middle, width = middle[0], width[0]
    return ControlLimits(
        points=points,
        centre=middle if middle.ndim else float(middle),
        lower=np.broadcast_to(np.maximum(0.0, middle - 3 * width), points.shape),
        upper=np.broadcast_to(middle + 3 * width, points.shape),
        sigma=sigma,
        point_sigma=np.broadcast_to(width, points.shape),
        method=method,
    )


def _weighted(spreads: Floats, mean: Floats, deviation: Floats) -> float:
    """The most precise unbiased estimate of sigma that is linear in measures of spread."""
    return float(np.average(spreads / mean, weights=(mean / deviation) ** 2))


def _pooled(groups: Summary) -> float:
    return math.sqrt(float(np.average(groups.deviations**2, weights=groups.sizes - 1)))


def _sigma(estimated: float, given: float | None) -> float:
    if given is not None:
        return positive(given, "Sigma")
    return positive(estimated, "Sigma, as estimated from the values (do they vary at all?),")


def _centre(estimated: float, given: float | None) -> float:
    return estimated if given is None else finite(given, "The centre line")
