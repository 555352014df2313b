"""Confidence intervals of sums and differences of mean squares."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from qc_app.spc.capability_indices import Interval
from qc_app.spc.series import share


class Term(NamedTuple):
    """A mean square with its degrees of freedom, and the coefficient it comes with."""

    coefficient: float
    mean_square: float
    freedom: int


def interval(terms: Sequence[Term], confidence: float = 0.95) -> Interval:
    """Confidence interval of a variance that is estimated by Σ coefficient · mean square; never below zero.

    The modified large-sample method: N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam, T.-F. C. Lu,
    *Journal of Statistical Computation and Simulation* 35, 1990; exact for a single term.

    >>> [round(bound, 3) for bound in interval([Term(1, 2.0, 10)])]
    [0.976, 6.16]
    """
    alpha = (1 - share(confidence, "The confidence")) / 2
    # In units of the largest mean square, whose own square might leave the range of a double.
    unit = max(term.mean_square for term in terms) or 1.0
    scaled = [term._replace(mean_square=term.mean_square / unit) for term in terms]
    estimate = sum(term.coefficient * term.mean_square for term in scaled)
    return Interval(
        unit * max(0.0, estimate - math.sqrt(_squared_reach(scaled, alpha, 1 - alpha))),
        unit * max(0.0, estimate + math.sqrt(_squared_reach(scaled, 1 - alpha, alpha))),
    )


def _squared_reach(terms: Sequence[Term], own: float, other: float) -> float:
    """Squared distance from the estimate to a bound; positive terms count at ``own`` upper tail area."""
    squares = 0.0
    for term in terms:
        tail = own if term.coefficient > 0 else other
        squares += (_relative_reach(tail, term.freedom) * term.coefficient * term.mean_square) ** 2
    for plus in (term for term in terms if term.coefficient > 0):
        for minus in (term for term in terms if term.coefficient < 0):
            product = plus.coefficient * -minus.coefficient * plus.mean_square * minus.mean_square
            squares += _cross(own, other, plus.freedom, minus.freedom) * product
    return max(0.0, squares)


def _relative_reach(tail: float, freedom: int) -> float:
    """1 − ν/χ², with χ² the point that the upper tail area exceeds."""
    from scipy.special import chdtri

    return 1 - freedom / float(chdtri(freedom, tail))


def _cross(own: float, other: float, plus: int, minus: int) -> float:
    from scipy.special import fdtri

    f = float(fdtri(plus, minus, 1 - own))
    of_plus, of_minus = _relative_reach(own, plus), _relative_reach(other, minus)
    return ((f - 1) ** 2 - (of_plus * f) ** 2 - of_minus**2) / f
