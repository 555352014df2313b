"""Tolerance intervals: what a share of all values holds, with stated confidence, seen from a sample.

So that a record can say: with 95 % confidence at least 95 % of the bays hold 3.5 lb/ft³ or more. Sources:
NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.6.3; ISO 16269-6. The normal intervals suppose
independent values from one normal distribution; ``by_order`` supposes nothing of the distribution.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.moments import mean, standard_deviation
from qc_app.spc.quadrature import gauss_legendre
from qc_app.spc.series import Floats, positive, series, share, whole
from qc_app.spc.subgroups import Subgroups, summary

Side = Literal["both", "lower", "upper"]


@dataclass(frozen=True)
class ToleranceInterval:
    """Bounds that hold at least ``coverage`` of all values with ``confidence``; None where open."""

    lower: float | None
    upper: float | None
    coverage: float
    confidence: float


def one_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """Factor k: at least ``coverage`` lies above mean − k s (or below mean + k s) with ``confidence``.

    Exact: a quantile of the noncentral t, with noncentrality z √n, over √n.

    >>> round(one_sided_factor(43, 0.90, 0.99), 4)
    1.874
    """
    size = whole(n, 2, "The number of values")
    return _one_sided(
        float(size), size - 1.0, share(coverage, "The coverage"), share(confidence, "The confidence")
    )


def two_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """Factor k: at least ``coverage`` lies within mean ± k s with ``confidence``.

    Exact, by integrating over the error of the mean (C. Eisenhart, M. W. Hastay, W. A. Wallis, *Techniques of
    Statistical Analysis*, 1947, chapter 2; ISO 16269-6). ``howe_factor`` gives the usual approximation.

    >>> round(two_sided_factor(10, 0.95, 0.95), 3)
    3.393
    """
    size = whole(n, 2, "The number of values")
    return _two_sided(
        float(size), size - 1.0, share(coverage, "The coverage"), share(confidence, "The confidence")
    )


def howe_factor(n: int, coverage: float, confidence: float) -> float:
    """The approximate two-sided factor of W. G. Howe, *JASA* 64, 1969: z √(ν (1 + 1/n) / χ²).

    >>> round(howe_factor(43, 0.90, 0.99), 4)
    2.2173
    """
    from scipy.special import chdtri, ndtri

    size = whole(n, 2, "The number of values")
    z = float(ndtri((1 + share(coverage, "The coverage")) / 2))
    lowest = float(chdtri(size - 1, share(confidence, "The confidence")))
    return z * math.sqrt((size - 1) * (1 + 1 / size) / lowest)


def normal(
    values: ArrayLike, coverage: float = 0.95, confidence: float = 0.95, side: Side = "both"
) -> ToleranceInterval:
    """The interval for normal values, shape (n,), n ≥ 2, that are not all equal.

    >>> found = normal([3.7, 3.9, 3.6, 3.8, 3.7, 3.8], side="lower")
    >>> round(found.lower, 3), found.upper
    (3.361, None)
    """
    points = series(values, fewest=2)
    spread = positive(standard_deviation(points), "The standard deviation of the values")
    factor = two_sided_factor if side == "both" else one_sided_factor
    reach = factor(points.size, coverage, confidence) * spread
    return _interval(mean(points), reach, coverage, confidence, side)


def within_subgroups(
    subgroups: Subgroups, coverage: float = 0.95, confidence: float = 0.95, side: Side = "lower"
) -> ToleranceInterval:
    """The interval for single values that come in subgroups, as cores within panels.

    Cores of one panel are alike, so they are not so many independent values. The variance of a value is the
    sum of that between and within subgroups; its degrees of freedom follow Satterthwaite, and the error of
    the mean is that of the subgroup means, which together give the factor of an equivalent sample (R. W. Mee,
    D. B. Owen, *JASA* 78, 1983). Subgroups of equal size; for unequal ones it is an approximation with their
    harmonic mean.

    Raises
    ------
    Refusal
        For fewer than two subgroups, a subgroup of one, or no spread at all.
    """
    groups = summary(subgroups)
    count, size = groups.sizes.size, float(1 / np.mean(1 / groups.sizes))
    inside, level = share(coverage, "The coverage"), share(confidence, "The confidence")
    within = float(np.average(groups.deviations**2, weights=groups.sizes - 1))
    # Means cannot in the long run vary less than the cores they are made of.
    of_means = max(float(np.var(groups.means, ddof=1)), within / size)
    rest = (1 - 1 / size) * within
    total = positive(of_means + rest, "The variance of the values")
    freedom = total**2 / (of_means**2 / (count - 1) + rest**2 / float(np.sum(groups.sizes - 1)))
    equivalent = total / (of_means / count)
    factor = _two_sided if side == "both" else _one_sided
    reach = factor(equivalent, freedom, inside, level) * math.sqrt(total)
    return _interval(float(groups.means.mean()), reach, inside, level, side)


def by_order(
    values: ArrayLike, coverage: float = 0.95, confidence: float = 0.95, side: Side = "both"
) -> ToleranceInterval:
    """The interval whose bounds are values of the sample, whatever their distribution (S. S. Wilks, 1941).

    Raises
    ------
    Refusal
        If there are too few values for such a promise; it names how many are needed.

    >>> by_order(range(1, 100), 0.90, 0.95, side="lower").lower
    5.0
    """
    from scipy.special import betainc

    points = np.sort(series(values))
    inside, level = share(coverage, "The coverage"), share(confidence, "The confidence")
    # Leaving out r values beyond the bounds, coverage is beta with n + 1 − r and r degrees.
    left_out = 2 if side == "both" else 1
    while left_out <= points.size and 1 - betainc(points.size + 1 - left_out, left_out, inside) >= level:
        left_out += 1
    left_out -= 1
    if left_out < (2 if side == "both" else 1):
        raise Refusal(
            "{given} values cannot show this; at least {needed} are needed.",
            given=points.size,
            needed=fewest_by_order(inside, level, side),
        )
    below = left_out // 2 if side == "both" else left_out
    above = left_out - below if side == "both" else left_out
    return ToleranceInterval(
        lower=None if side == "upper" else float(points[below - 1]),
        upper=None if side == "lower" else float(points[points.size - above]),
        coverage=inside,
        confidence=level,
    )


def fewest_by_order(coverage: float, confidence: float, side: Side = "both") -> int:
    """Fewest values whose extremes are a tolerance interval.

    >>> fewest_by_order(0.95, 0.95, "lower"), fewest_by_order(0.95, 0.95, "both")
    (59, 93)
    """
    inside, level = share(coverage, "The coverage"), share(confidence, "The confidence")
    if side != "both":
        return math.ceil(math.log(1 - level) / math.log(inside) - 1e-9)
    n = 2
    while 1 - n * inside ** (n - 1) + (n - 1) * inside**n < level:
        n += 1
    return n


def _interval(
    middle: float, reach: float, coverage: float, confidence: float, side: Side
) -> ToleranceInterval:
    return ToleranceInterval(
        lower=None if side == "upper" else middle - reach,
        upper=None if side == "lower" else middle + reach,
        coverage=coverage,
        confidence=confidence,
    )


@lru_cache(maxsize=1024)
def _one_sided(size: float, freedom: float, coverage: float, confidence: float) -> float:
    """The factor when the mean is as good as from ``size`` values and s has ``freedom`` degrees."""
    from scipy.optimize import brentq
    from scipy.special import ndtr, ndtri

    spreads, weights = _spreads(freedom)
    root, z = math.sqrt(size), float(ndtri(coverage))

    def held(k: float) -> float:
        return float(weights @ ndtr(root * (k * spreads - z))) - confidence

    low, high = z - 1.0, abs(z) + 1.0
    while held(low) > 0:
        low -= high
    while held(high) < 0:
        high *= 2
    return float(brentq(held, low, high, xtol=1e-13, rtol=1e-14))


@lru_cache(maxsize=1024)
def _two_sided(size: float, freedom: float, coverage: float, confidence: float) -> float:
    """The factor when the mean is as good as from ``size`` values and s has ``freedom`` degrees."""
    from scipy.optimize import brentq
    from scipy.special import chdtrc

    error, weights = gauss_legendre(96, 0, 9.5)
    chances = 2 * np.exp(-(error**2) / 2) / math.sqrt(2 * math.pi) * weights
    needed = freedom * _half_widths(error / math.sqrt(size), coverage) ** 2

    def held(k: float) -> float:
        return float(chances @ chdtrc(freedom, needed / k**2)) - confidence

    low, high = 0.01, 1.0
    while held(high) < 0:
        low, high = high, 2 * high
    return float(brentq(held, low, high, xtol=1e-13, rtol=1e-14))


def _half_widths(off: Floats, coverage: float) -> Floats:
    """Half-widths of intervals, centred so far off the mean, that hold the share of a standard normal."""
    from scipy.special import ndtr, ndtri

    half = off + float(ndtri((1 + coverage) / 2))
    for _ in range(60):
        excess = ndtr(off + half) - ndtr(off - half) - coverage
        slope = (np.exp(-((off + half) ** 2) / 2) + np.exp(-((off - half) ** 2) / 2)) / math.sqrt(2 * math.pi)
        half = half - excess / slope
        if np.max(np.abs(excess)) < 1e-15:
            break
    return half


def _spreads(freedom: float) -> tuple[Floats, Floats]:
    """Values of s/sigma with the weights of their distribution (chi over the root of its freedom)."""
    from scipy.special import gammaln

    width = 9 / math.sqrt(2 * freedom)
    low, high = max(0.0, 1 - width), 1 + width
    spreads, weights = gauss_legendre(400, low, high)
    half = freedom / 2
    logs = math.log(2) + half * math.log(half) - gammaln(half) + (freedom - 1) * np.log(spreads)
    density = np.exp(logs - half * spreads**2)
    return spreads, density * weights
