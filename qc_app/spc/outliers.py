"""Values that do not seem to belong: to suggest a misread for a second look, never to delete one.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, sections 1.3.5.17.1 and 1.3.5.17.3; both tests
suppose that all other values are normal.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.moments import standard_deviation
from qc_app.spc.series import Floats, positive, series, share, whole


@dataclass(frozen=True)
class Grubbs:
    """The value farthest from the mean, at ``index``, and whether it is too far.

    ``statistic`` is its distance in standard deviations, ``critical`` what chance exceeds with probability
    alpha, ``p`` (at most 1) the chance of at least such a distance, by Bonferroni's bound.
    """

    index: int
    value: float
    statistic: float
    critical: float
    p: float

    @property
    def is_outlier(self) -> bool:
        """Whether the value lies farther off than chance explains."""
        return self.statistic > self.critical

    @property
    def outliers(self) -> tuple[int, ...]:
        """The index of the value, if it is an outlier."""
        return (self.index,) if self.is_outlier else ()


@dataclass(frozen=True)
class GeneralisedEsd:
    """Results of each step: statistics and critical values for 1, 2, … outliers, and the indexes suspected.

    ``outliers`` are the indexes found, farthest first: as many as the last step whose statistic exceeds its
    critical value.
    """

    outliers: tuple[int, ...]
    candidates: tuple[int, ...]
    statistics: tuple[float, ...]
    critical: tuple[float, ...]


def grubbs(values: ArrayLike, alpha: float = 0.05) -> Grubbs:
    """Grubbs' test for one outlier on either side (F. E. Grubbs, *Technometrics* 11(1), 1969).

    Parameters
    ----------
    values : shape (n,), n ≥ 3, not all equal.
    alpha : chance of suspecting a value though all belong.

    Raises
    ------
    Refusal
        For fewer than three values, one not finite, or all equal.

    >>> found = grubbs([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    >>> found.index, round(found.statistic, 4), round(found.critical, 4), found.is_outlier
    (7, 2.4688, 2.1266, True)
    """
    from scipy.special import stdtr

    points = series(values, fewest=3)
    place, statistic = _farthest(points)
    n = points.size
    # Solved for Student's t, the critical value of which is taken at alpha/(2n).
    squared = (
        statistic**2 * n * (n - 2) / ((n - 1) ** 2 - n * statistic**2)
        if _below_bound(statistic, n)
        else np.inf
    )
    p = min(1.0, 2 * n * float(stdtr(n - 2, -math.sqrt(squared))))
    return Grubbs(place, float(points[place]), statistic, grubbs_critical(n, alpha, sides=2), p)


def grubbs_critical(n: int, alpha: float, sides: int = 2) -> float:
    """Critical distance from the mean, in standard deviations, of the farthest of ``n`` normal values.

    >>> round(grubbs_critical(8, 0.05, sides=1), 4)
    2.0317
    """
    from scipy.special import stdtrit

    size = whole(n, 3, "The number of values")
    t = float(stdtrit(size - 2, 1 - share(alpha, "Alpha") / (sides * size)))
    return (size - 1) / math.sqrt(size) * math.sqrt(t**2 / (size - 2 + t**2))


def generalised_esd(values: ArrayLike, most: int, alpha: float = 0.05) -> GeneralisedEsd:
    """Rosner's generalised test for up to ``most`` outliers (B. Rosner, *Technometrics* 25(2), 1983).

    Outliers can hide each other from a test for one; this one takes the farthest away, step by step, and
    believes the last step that still shows one. Good from about 15 values.

    Raises
    ------
    Refusal
        If ``most`` is not between 1 and n − 2, or the values left over are all equal.

    >>> generalised_esd([*range(10), 9, 60, 5, 4, 58], most=3).outliers
    (11, 14)
    """
    points = series(values, fewest=3)
    steps = whole(most, 1, "The largest number of outliers")
    if steps > points.size - 2:
        raise Refusal(
            "Of {values} values at most {allowed} can be tested as outliers. Given: {given}.",
            values=points.size,
            allowed=points.size - 2,
            given=most,
        )
    left, statistics, candidates = list(range(points.size)), [], []
    for _ in range(steps):
        place, statistic = _farthest(points[left])
        candidates.append(left.pop(place))
        statistics.append(statistic)
    critical = [grubbs_critical(points.size - step, alpha) for step in range(steps)]
    exceeding = [step for step in range(steps) if statistics[step] > critical[step]]
    count = exceeding[-1] + 1 if exceeding else 0
    return GeneralisedEsd(tuple(candidates[:count]), tuple(candidates), tuple(statistics), tuple(critical))


def _farthest(points: Floats) -> tuple[int, float]:
    spread = positive(standard_deviation(points), "The standard deviation of the values")
    away = np.abs(points - points.mean())
    place = int(np.argmax(away))
    return place, float(away[place]) / spread


def _below_bound(statistic: float, n: int) -> bool:
    """A distance cannot exceed (n − 1)/√n; all but one value are equal where it reaches that."""
    return n * statistic**2 < (n - 1) ** 2 * (1 - 1e-12)
