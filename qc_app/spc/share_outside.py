"""What share of all values lies outside the limits of tolerance, and how large it may be."""

import math
from dataclasses import dataclass

import numpy as np

from qc_app.refusal import Refusal
from qc_app.spc.series import Floats, finite, positive, share, whole
from qc_app.spc.tolerance_interval import one_sided_factor


@dataclass(frozen=True)
class Share:
    """An expected share and the share it does not exceed with ``confidence``."""

    expected: float
    bound: float
    confidence: float
    method: str


def normal_share(mean: float, sigma: float, lower: float | None, upper: float | None) -> float:
    """Share outside the limits of a normal distribution with known mean and standard deviation.

    Raises
    ------
    Refusal
        For a mean or limit not finite, or sigma not above zero.

    >>> round(normal_share(106, 6, 80, 120), 6)
    0.009823
    """
    from scipy.special import ndtr

    below, above = _distances(mean, sigma, lower, upper)
    return sum(float(ndtr(-distance)) for distance in (below, above) if distance is not None)


def normal_share_from_sample(
    n: int, mean: float, s: float, lower: float | None, upper: float | None, confidence: float = 0.95
) -> Share:
    """Share outside as a sample of normal values tells it.

    Expected: the unbiased estimate of least variance (G. J. Lieberman, G. J. Resnikoff, *JASA* 50, 1955), as
    in MIL-STD-414 table B-5; for n = 2 the plain normal share. Bound: exact for one limit, by the noncentral
    t; for two limits each at half the risk, which errs on the safe side.

    Raises
    ------
    Refusal
        For fewer than two values, no limit, a mean or limit not finite, or s not above zero.

    >>> found = normal_share_from_sample(30, 3.8, 0.1, lower=3.5, upper=None)
    >>> round(found.expected, 5), round(found.bound, 4)
    (0.00055, 0.0114)
    """
    size, level = whole(n, 2, "The number of values"), share(confidence, "The confidence")
    distances = [away for away in _distances(mean, s, lower, upper) if away is not None]
    if not distances:
        raise Refusal("A share outside needs a limit of tolerance; none was given.")
    each = 1 - (1 - level) / len(distances)
    if size > 2:
        expected = sum(unbiased_share_beyond(distance, size) for distance in distances)
    else:
        expected = normal_share(mean, s, lower, upper)
    bound = min(1.0, sum(_bound_beyond(distance, size, each) for distance in distances))
    return Share(expected, bound, level, "normal distribution")


def unbiased_share_beyond(distance: float, n: int) -> float:
    """Unbiased estimate of the share beyond a limit that lies ``distance`` sample deviations from the mean.

    I_x(n/2 − 1, n/2 − 1), x = max(0, 1/2 − distance √n/(2 (n − 1))); n ≥ 3 (MIL-STD-414, table B-5).

    >>> round(100 * unbiased_share_beyond(1.60, 5), 2)
    2.03
    """
    from scipy.special import betainc

    size, away = whole(n, 3, "The number of values"), finite(distance, "The distance")
    x = min(1.0, max(0.0, 0.5 - away * math.sqrt(size) / (2 * (size - 1))))
    return float(betainc(size / 2 - 1, size / 2 - 1, x))


def counted_share(outside: int, n: int, confidence: float = 0.95) -> Share:
    """Share outside by counting, whatever the distribution (C. J. Clopper, E. S. Pearson, 1934).

    >>> round(counted_share(0, 59).bound, 4)
    0.0495
    """
    from scipy.special import betaincinv

    size, count = whole(n, 1, "The number of values"), whole(outside, 0, "The number outside")
    if count > size:
        raise Refusal("{count} outside of {size} values cannot be.", count=count, size=size)
    level = share(confidence, "The confidence")
    bound = 1.0 if count == size else float(betaincinv(count + 1, size - count, level))
    return Share(count / size, bound, level, "counting")


def _distances(
    mean: float, deviation: float, lower: float | None, upper: float | None
) -> tuple[float | None, float | None]:
    """How many standard deviations within each limit the mean lies; below zero where it lies outside."""
    middle, spread = finite(mean, "The mean"), positive(deviation, "The standard deviation")
    return (
        None if lower is None else (middle - finite(lower, "The lower limit")) / spread,
        None if upper is None else (finite(upper, "The upper limit") - middle) / spread,
    )


def _bound_beyond(distance: float, n: int, confidence: float) -> float:
    """The share whose one-sided tolerance factor is the distance."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    def excess(z: float) -> float:
        return one_sided_factor(n, float(ndtr(z)), confidence) - distance

    low, high = -7.0, 7.0
    if excess(low) > 0:
        return 1.0
    if excess(high) < 0:
        return float(ndtr(-high))
    return float(ndtr(-brentq(excess, low, high, xtol=1e-9)))


def count_outside(values: Floats, lower: float | None, upper: float | None) -> int:
    """How many values lie outside; one exactly on a limit is within."""
    below = 0 if lower is None else int(np.sum(values < lower))
    return below + (0 if upper is None else int(np.sum(values > upper)))
