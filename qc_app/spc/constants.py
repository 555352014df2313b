"""Factors of control charts for normal data, computed from their definitions.

Sources of the definitions: ASTM MNL 7, *Manual on Presentation of Data and Control Chart Analysis*; ISO
7870-2. Printed tables give three to five digits of the same numbers.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from qc_app.refusal import Refusal
from qc_app.spc.quadrature import gauss_legendre
from qc_app.spc.series import Floats

D2_OF_TWO = 2 / math.sqrt(math.pi)
"""d2 of two values, 1.128379…; printed tables give 1.128."""

D3_OF_TWO = math.sqrt(2 - D2_OF_TWO**2)
"""d3 of two values, 0.852502…"""

LARGEST_SUBGROUP = 100


@dataclass(frozen=True)
class ShewhartConstants:
    """Factors for subgroups of ``n`` values from one normal distribution with standard deviation sigma.

    ``d2`` and ``d3`` are mean and standard deviation of the range, ``c4`` the mean of the standard deviation
    (divisor n − 1), all in sigmas. With mean range R, mean standard deviation s: limits of means are at
    ± ``A2`` R or ± ``A3`` s, of ranges at ``D3`` R and ``D4`` R, or ``D1`` and ``D2`` sigma, of standard
    deviations at ``B3`` s and ``B4`` s, or ``B5`` and ``B6`` sigma. A lower factor is never below zero.
    """

    n: int
    d2: float
    d3: float
    c4: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float


@cache
def shewhart_constants(n: int) -> ShewhartConstants:
    """The factors for subgroups of ``n``, 2 to 100, to about 1e-12.

    Raises
    ------
    Refusal
        For any other ``n``.

    >>> of_five = shewhart_constants(5)
    >>> round(of_five.d2, 5), round(of_five.A2, 5), round(of_five.D4, 5)
    (2.32593, 0.57682, 2.1145)
    """
    if n != int(n) or not 2 <= n <= LARGEST_SUBGROUP:
        raise Refusal(
            "Factors exist for subgroups of 2 to {largest}. Given: {given}.",
            largest=LARGEST_SUBGROUP,
            given=n,
        )
    d2, d3 = _range_moments(int(n))
    c4 = c4_of(n)
    spread = math.sqrt(1 - c4**2)
    return ShewhartConstants(
        n=int(n),
        d2=d2,
        d3=d3,
        c4=c4,
        A2=3 / (d2 * math.sqrt(n)),
        A3=3 / (c4 * math.sqrt(n)),
        B3=max(0.0, 1 - 3 * spread / c4),
        B4=1 + 3 * spread / c4,
        B5=max(0.0, c4 - 3 * spread),
        B6=c4 + 3 * spread,
        D1=max(0.0, d2 - 3 * d3),
        D2=d2 + 3 * d3,
        D3=max(0.0, 1 - 3 * d3 / d2),
        D4=1 + 3 * d3 / d2,
    )


def c4_of(n: float) -> float:
    """Mean of the standard deviation of ``n`` ≥ 2 normal values, in sigmas; any size.

    c4 = √(2/(n − 1)) Γ(n/2) / Γ((n − 1)/2).
    """
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


def d2_star(n: int, groups: int) -> float:
    """Divisor of the mean of few ranges: √(d2² + d3²/groups), for ``groups`` ranges of ``n`` values.

    The root mean square of the mean range, so that its square estimates the variance without bias (A. J.
    Duncan, *Quality Control and Industrial Statistics*, table D3).

    >>> round(d2_star(3, 1), 4)
    1.9115
    """
    of_n = shewhart_constants(n)
    return math.sqrt(of_n.d2**2 + of_n.d3**2 / groups)


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of ``n`` standard normal values."""
    if n == 2:
        return D2_OF_TWO, D3_OF_TWO
    ranges, weights = gauss_legendre(240, 0, 16)
    exceeded = 1 - _range_distribution(n, ranges)
    mean = float(weights @ exceeded)
    mean_square = float(weights @ (2 * ranges * exceeded))
    return mean, math.sqrt(mean_square - mean**2)


def _range_distribution(n: int, ranges: Floats) -> Floats:
    """Probability that the range of ``n`` is at most each of ``ranges``.

    n ∫ φ(x) (Φ(x + w) − Φ(x))^(n−1) dx by the trapezoidal rule, which converges exponentially here.
    """
    from scipy.special import ndtr

    step = 0.0625
    lowest = np.arange(-10, 10, step)
    density = np.exp(-(lowest**2) / 2) / math.sqrt(2 * math.pi)
    between = ndtr(lowest + ranges[:, np.newaxis]) - ndtr(lowest)
    probability: Floats = n * step * (between ** (n - 1)) @ density
    return probability
