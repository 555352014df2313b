"""Mean, spread and autocorrelation, exact for the decimals that were entered.

A reading of 10000000.2 is not exactly a double, and the rounding of such doubles can outweigh a small spread.
So sums are taken over the shortest decimals that name the values, which are what somebody typed, with 60
digits (NIST Statistical Reference Datasets, "Univariate Summary Statistics", certify such cases).
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from decimal import Context, Decimal, localcontext
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.series import series

DIGITS = 60


@contextmanager
def exactly() -> Iterator[None]:
    """Within it, decimals are worked out to 60 digits."""
    with localcontext(Context(prec=DIGITS)):
        yield


def decimals(values: ArrayLike) -> "np.ndarray[tuple[int, ...], np.dtype[np.object_]]":
    """The values as decimals, in an array of the same shape."""
    array = np.asarray(values, dtype=np.float64)
    flat = np.empty(array.size, dtype=object)
    flat[:] = [Decimal(repr(value)) for value in array.ravel().tolist()]
    return flat.reshape(array.shape)


def mean(values: ArrayLike) -> float:
    """The arithmetic mean of shape (n,), n ≥ 1."""
    with exactly():
        return float(_mean(decimals(series(values))))


def standard_deviation(values: ArrayLike) -> float:
    """The standard deviation, divisor n − 1, of shape (n,), n ≥ 2.

    >>> standard_deviation([10000000.1, 10000000.2, 10000000.3])
    0.1
    """
    with exactly():
        parts = decimals(series(values, fewest=2))
        middle = _mean(parts)
        squares = _sum((part - middle) ** 2 for part in parts)
        return float((squares / (len(parts) - 1)).sqrt())


def lag_one_autocorrelation(values: ArrayLike) -> float:
    """Σ d[i] d[i+1] / Σ d[i]², with d the deviations from the mean; shape (n,), n ≥ 2.

    Raises
    ------
    Refusal
        If all values are equal.

    >>> round(lag_one_autocorrelation([1, 2, 1, 2, 1, 2]), 4)
    -0.8333
    """
    with exactly():
        parts = decimals(series(values, fewest=2))
        middle = _mean(parts)
        away = [part - middle for part in parts]
        squares = _sum(d * d for d in away)
        if squares == 0:
            raise Refusal(
                "All values are {given}; an autocorrelation needs values that vary.", given=parts[0]
            )
        return float(_sum(a * b for a, b in pairwise(away)) / squares)


def _mean(parts: Iterable[Decimal]) -> Decimal:
    listed = list(parts)
    return _sum(listed) / len(listed)


def _sum(parts: Iterable[Decimal]) -> Decimal:
    return sum(parts, start=Decimal(0))
