"""Whether values look normal: the Anderson–Darling test."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.spc.moments import mean, standard_deviation
from qc_app.spc.series import positive, series


@dataclass(frozen=True)
class AndersonDarling:
    """Statistic A², the same adjusted for the number of values, and the chance of at least so much."""

    statistic: float
    adjusted: float
    p: float

    def looks_normal(self, level: float = 0.05) -> bool:
        """Whether chance explains the departure from a normal distribution."""
        return self.p >= level


def anderson_darling(values: ArrayLike) -> AndersonDarling:
    """The test with mean and standard deviation estimated from the values; shape (n,), n ≥ 8.

    A² = −n − 1/n Σ (2i − 1)(ln F[i] + ln(1 − F[n+1−i])); adjusted by 1 + 0.75/n + 2.25/n²; p by the formulas
    of R. B. D'Agostino and M. A. Stephens, *Goodness-of-Fit Techniques*, 1986, table 4.9 (NIST/SEMATECH
    e-Handbook, section 1.3.5.14).

    Raises
    ------
    Refusal
        For fewer than eight values, one not finite, or all equal.

    >>> found = anderson_darling([3.5, 3.6, 3.7, 3.7, 3.8, 3.8, 3.9, 3.9, 4.0, 4.1])
    >>> round(found.statistic, 3), found.looks_normal()
    (0.149, True)
    """
    from scipy.special import log_ndtr

    points = np.sort(series(values, fewest=8))
    n = points.size
    z = (points - mean(points)) / positive(standard_deviation(points), "The standard deviation of the values")
    weights = 2 * np.arange(1, n + 1) - 1
    statistic = -n - float(weights @ (log_ndtr(z) + log_ndtr(-z[::-1]))) / n
    adjusted = statistic * (1 + 0.75 / n + 2.25 / n**2)
    return AndersonDarling(statistic, adjusted, _chance_of(adjusted))


def _chance_of(a: float) -> float:
    if a >= 0.6:
        # The fitted curve turns upwards beyond 13; by there the chance is under 1e-30.
        return math.exp(1.2937 - 5.709 * min(a, 13) + 0.0186 * min(a, 13) ** 2)
    if a > 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a**2)
    if a > 0.2:
        return 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a**2)
    return 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a**2)
