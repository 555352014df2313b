"""Capability indices from a mean and a standard deviation, and how sure one may be of them.

Sources: ISO 22514-2; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6; D. C. Montgomery,
*Introduction to Statistical Quality Control*, process capability.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

from qc_app.refusal import Refusal
from qc_app.spc.series import finite, positive, share, whole

MOST_FREEDOM = 1e12
"""Degrees of freedom beyond which chi-square over its freedom is 1 to six digits."""


class Interval(NamedTuple):
    """A two-sided confidence interval."""

    lower: float
    upper: float


@dataclass(frozen=True)
class Indices:
    """Capability indices; one is None where it needs a limit or target that was not given.

    ``cp`` compares the width of tolerance with six sigma, ``cpl`` and ``cpu`` the distance from the mean to
    the lower and upper limit with three, ``cpk`` is the smaller of these, ``cpm`` counts distance from the
    target as spread.
    """

    cp: float | None
    cpl: float | None
    cpu: float | None
    cpk: float
    cpm: float | None


def indices(
    mean: float,
    sigma: float,
    lower: float | None = None,
    upper: float | None = None,
    target: float | None = None,
) -> Indices:
    """Indices of a process with this mean and standard deviation against limits of tolerance.

    Raises
    ------
    Refusal
        If sigma is not above zero, no limit is given, or the lower is not below the upper.

    >>> found = indices(mean=16, sigma=2, lower=8, upper=20, target=14)
    >>> found.cp, round(found.cpl, 4), round(found.cpk, 4), round(found.cpm, 4)
    (1.0, 1.3333, 0.6667, 0.7071)
    """
    middle, spread = finite(mean, "The mean"), positive(sigma, "Sigma")
    check_limits(lower, upper)
    cpl = None if lower is None else (middle - lower) / (3 * spread)
    cpu = None if upper is None else (upper - middle) / (3 * spread)
    cp = cpm = None
    if lower is not None and upper is not None:
        cp = (upper - lower) / (6 * spread)
        if target is not None:
            cpm = (upper - lower) / (6 * math.hypot(spread, middle - finite(target, "The target")))
    return Indices(cp, cpl, cpu, min(side for side in (cpl, cpu) if side is not None), cpm)


def check_limits(lower: float | None, upper: float | None) -> None:
    """Refuses limits of tolerance that are none at all, not finite, or not in order."""
    if lower is None and upper is None:
        raise Refusal("Capability needs a limit of tolerance; none was given.")
    for limit in (lower, upper):
        if limit is not None:
            finite(limit, "A limit of tolerance")
    if lower is not None and upper is not None and lower >= upper:
        raise Refusal(
            "The lower limit of tolerance lies below the upper. Given: {lower} and {upper}.",
            lower=lower,
            upper=upper,
        )


def cp_interval(cp: float, n: float, confidence: float = 0.95) -> Interval:
    """Confidence interval of Cp (or Pp) from ``n`` values, exact for normal ones, by chi-square.

    cp √(χ²(α/2)/ν) to cp √(χ²(1 − α/2)/ν), with ν = n − 1; n need not be whole (equivalent numbers).

    >>> [round(bound, 2) for bound in cp_interval(24 / (6 * 1.75), n=20)]
    [1.56, 3.01]
    """
    freedom = positive(n - 1, "The number of values less one")
    return _by_chi_square(positive(cp, "Cp"), freedom, confidence)


def cpk_interval(cpk: float, n: float, confidence: float = 0.95) -> Interval:
    """Confidence interval of Cpk (or Ppk, or a one-sided index) from ``n`` values of a normal process.

    A. F. Bissell, *Applied Statistics* 39(3), 1990: cpk ± z √(1/(9 n) + cpk²/(2 (n − 1))). An approximation,
    good from about 30 values.

    >>> [round(bound, 3) for bound in cpk_interval(1.33, n=50, confidence=0.95)]
    [1.051, 1.609]
    """
    from scipy.special import ndtri

    freedom = positive(n - 1, "The number of values less one")
    level = share(confidence, "The confidence")
    index = finite(cpk, "Cpk")
    reach = float(ndtri((1 + level) / 2)) * math.sqrt(1 / (9 * n) + index**2 / (2 * freedom))
    return Interval(index - reach, index + reach)


def cpm_interval(cpm: float, n: int, off_target: float, confidence: float = 0.95) -> Interval:
    """Confidence interval of Cpm; ``off_target`` is (mean − target)/sigma.

    R. A. Boyles, *Journal of Quality Technology* 23(1), 1991: chi-square with n (1 + ξ²)²/(1 + 2 ξ²) degrees.

    >>> [round(bound, 2) for bound in cpm_interval(1.2, n=50, off_target=0.5)]
    [0.97, 1.43]
    """
    size, away = whole(n, 2, "The number of values"), finite(off_target, "The distance from target") ** 2
    freedom = min(size * (1 + away) * ((1 + away) / (1 + 2 * away)), MOST_FREEDOM)
    return _by_chi_square(positive(cpm, "Cpm"), freedom, confidence)


def _by_chi_square(index: float, freedom: float, confidence: float) -> Interval:
    from scipy.special import gammaincinv

    tail = (1 - share(confidence, "The confidence")) / 2
    low, high = (2 * float(gammaincinv(freedom / 2, p)) for p in (tail, 1 - tail))
    return Interval(index * math.sqrt(low / freedom), index * math.sqrt(high / freedom))
