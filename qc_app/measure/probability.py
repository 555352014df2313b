"""How probable it is that a true value lies within limits, given the measured one and its uncertainty."""

from __future__ import annotations

import math
from typing import overload

import numpy as np
from numpy.typing import NDArray

from qc_app.measure.length import Length
from qc_app.measure.value import Value, check_same_kind, number
from qc_app.refusal import Refusal

FloatArray = NDArray[np.float64]


@overload
def conformance_probability(
    value: Value, standard_uncertainty: Value, lower: Value | None = ..., upper: Value | None = ...
) -> float: ...


@overload
def conformance_probability(
    value: FloatArray,
    standard_uncertainty: FloatArray | Value,
    lower: Value | None = ...,
    upper: Value | None = ...,
) -> FloatArray: ...


def conformance_probability(
    value: Value | FloatArray,
    standard_uncertainty: Value | FloatArray,
    lower: Value | None = None,
    upper: Value | None = None,
) -> float | FloatArray:
    """Probability that the true value lies between ``lower`` and ``upper`` (JCGM 106:2012, 7, from memory).

    The true value is taken as normal about ``value`` with ``standard_uncertainty``, nothing else being
    known about the process. All are lengths, or all numbers in one unit. ``value`` and its uncertainty may
    be arrays of numbers.

    Raises ``Refusal`` for a value that is not finite, an uncertainty not more than zero, a lower limit
    above the upper, no limit at all, and lengths mixed with numbers.

    >>> round(conformance_probability(13.6, 1.8, lower=12.5, upper=16.3), 4)
    0.6626
    """
    limits = [limit for limit in (lower, upper) if limit is not None]
    if not limits:
        raise Refusal("A conformance probability needs a lower limit, an upper limit, or both.")
    low = -math.inf if lower is None else float(number(lower, "lower limit"))
    high = math.inf if upper is None else float(number(upper, "upper limit"))
    if low > high:
        raise Refusal("The lower limit {lower} is above the upper limit {upper}.", lower=low, upper=high)
    if isinstance(value, np.ndarray) or isinstance(standard_uncertainty, np.ndarray):
        return _probabilities(value, standard_uncertainty, low, high)
    for other in (*limits, standard_uncertainty):
        check_same_kind(value, other)
    at, spread = number(value, "value"), number(standard_uncertainty, "standard uncertainty")
    _check_spread(spread > 0, float(spread))
    return normal_between((low - float(at)) / float(spread), (high - float(at)) / float(spread))


def normal_between(lower: float, upper: float) -> float:
    """Probability that a standard normal variable lies between these; as exact in the tails.

    >>> round(normal_between(-1.96, 1.96), 4)
    0.95
    """
    if lower > 0:
        lower, upper = -upper, -lower
    return 0.5 * (math.erfc(-upper / math.sqrt(2)) - math.erfc(-lower / math.sqrt(2)))


def _probabilities(value: object, spread: object, low: float, high: float) -> FloatArray:
    from scipy.special import ndtr

    if isinstance(value, Length) or isinstance(spread, Length):
        raise Refusal("Arrays hold plain numbers: give lengths in one unit.")
    at, spreads = np.asarray(value, dtype=float), np.asarray(spread, dtype=float)
    if not np.isfinite(at).all():
        raise Refusal("The value must be a finite number, not {value}.", value=at[~np.isfinite(at)].flat[0])
    sound = np.isfinite(spreads) & (spreads > 0)
    _check_spread(bool(sound.all()), float(spreads.flat[np.argmin(sound)]))
    below, above = (low - at) / spreads, (high - at) / spreads
    mirrored = below > 0
    found: FloatArray = np.where(mirrored, ndtr(-below) - ndtr(-above), ndtr(above) - ndtr(below))
    return found


def _check_spread(is_sound: bool, spread: float) -> None:
    if not is_sound:
        raise Refusal(
            "The standard uncertainty must be a finite number, more than zero, not {value}.", value=spread
        )
