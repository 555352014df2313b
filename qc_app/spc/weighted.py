"""Charts that remember: exponentially weighted moving averages and cumulative sums, for small shifts."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.refusal import Refusal
from qc_app.spc.limits import ControlLimits
from qc_app.spc.series import Floats, finite, positive, series


def ewma(
    values: ArrayLike, target: float, sigma: float, weight: float = 0.2, width: float = 3.0
) -> ControlLimits:
    """Exponentially weighted moving averages with exact, time-varying limits.

    z[i] = weight · x[i] + (1 − weight) · z[i−1], from z = target; the limits of the i-th are target ± width ·
    sigma · √(weight/(2 − weight) · (1 − (1 − weight)^(2i))) (S. W. Roberts, *Technometrics* 1(3), 1959;
    NIST/SEMATECH e-Handbook, section 6.3.2.4; ISO 7870-6).

    Parameters
    ----------
    values : shape (n,), n ≥ 1, in order of time.
    target, sigma : the mean to hold and the standard deviation of one value.
    weight : of the newest value, above 0 and at most 1.
    width : of the limits, in standard deviations of the average.

    Returns
    -------
    ControlLimits
        ``points`` are the averages, ``lower`` and ``upper`` their limits, one for each value.

    Raises
    ------
    Refusal
        For no values, one not finite, sigma or width not above zero, or a weight out of range.

    >>> chart = ewma([52.0, 47.0, 53.0], target=50, sigma=2, weight=0.3)
    >>> chart.points.round(3).tolist(), chart.upper.round(3).tolist()
    ([50.6, 49.52, 50.564], [51.8, 52.197, 52.368])
    """
    points, middle = series(values), finite(target, "The target")
    spread, width = positive(sigma, "Sigma"), positive(width, "The width of the limits")
    if positive(weight, "The weight") > 1:
        raise Refusal("The weight lies above 0 and is at most 1. Given: {given}.", given=weight)
    kept = 1 - weight
    age = np.arange(1, points.size + 1)
    point_sigma = spread * np.sqrt(weight / (2 - weight) * (1 - kept ** (2 * age)))
    return ControlLimits(
        points=_averages(points, middle, weight),
        centre=middle,
        lower=middle - width * point_sigma,
        upper=middle + width * point_sigma,
        sigma=spread,
        point_sigma=point_sigma,
        method="given",
    )


@dataclass(frozen=True)
class Shift:
    """A lasting change of the mean, as a cumulative sum sees it.

    ``signal`` is the index at which the sum first passed the decision limit, ``start`` that of the first
    value after it last stood at zero, where the change probably began, and ``mean`` the estimate of the mean
    since: target ± (allowance + sum/count). ``size`` is that less the target, in the unit of the values.
    """

    side: Literal["above", "below"]
    start: int
    signal: int
    mean: float
    size: float


@dataclass(frozen=True)
class Cusum:
    """Cumulative sums of both sides (shape (n,) each, in the unit of the values, never below zero).

    ``decision`` is the limit both are held against. ``above`` and ``below`` are the indexes at which the sum
    exceeds it, ``shifts`` the lasting changes found, in order of their signals.
    """

    high: Floats
    low: Floats
    decision: float
    above: NDArray[np.intp]
    below: NDArray[np.intp]
    shifts: tuple[Shift, ...]


def cusum(
    values: ArrayLike,
    target: float,
    sigma: float,
    allowance: float = 0.5,
    decision: float = 5.0,
    *,
    head_start: float = 0.0,
) -> Cusum:
    """Cumulative sums of both sides.

    high[i] = max(0, high[i−1] + x[i] − target − allowance · sigma), and low likewise downwards; a signal
    where one exceeds decision · sigma (E. S. Page, *Biometrika* 41, 1954; NIST/SEMATECH e-Handbook, section
    6.3.2.3; ISO 7870-4). The sums go on after a signal.

    Parameters
    ----------
    values : shape (n,), n ≥ 1, in order of time.
    target, sigma : the mean to hold and the standard deviation of one value.
    allowance : in sigmas, usually half the shift to be found.
    decision : in sigmas.
    head_start : value both sums start from, in sigmas; half the decision gives a fast initial response (J. M.
        Lucas, R. B. Crosier, *Technometrics* 24(3), 1982).

    Raises
    ------
    Refusal
        For no values, one not finite, sigma or decision not above zero, a negative allowance, or a head start
        outside 0 to decision.

    >>> found = cusum([0.2, -0.3, 1.9, 2.4, 2.1, 1.8], target=0, sigma=1, decision=4)
    >>> found.high.round(1).tolist(), found.shifts[0].start, round(found.shifts[0].size, 2)
    ([0.0, 0.0, 1.4, 3.3, 4.9, 6.2], 2, 2.13)
    """
    points, middle, spread = series(values), finite(target, "The target"), positive(sigma, "Sigma")
    limit = positive(decision, "The decision limit") * spread
    slack, start = finite(allowance, "The allowance") * spread, finite(head_start, "The head start") * spread
    if slack < 0:
        raise Refusal("The allowance cannot be below zero. Given: {given}.", given=allowance)
    if not 0 <= start <= limit:
        raise Refusal(
            "The head start lies between 0 and the decision limit. Given: {given}.", given=head_start
        )
    high, low = _sums(points - middle - slack, start), _sums(middle - points - slack, start)
    shifts = _shifts("above", high, limit, middle, slack) + _shifts("below", low, limit, middle, slack)
    return Cusum(
        high=high,
        low=low,
        decision=limit,
        above=np.flatnonzero(high > limit),
        below=np.flatnonzero(low > limit),
        shifts=tuple(sorted(shifts, key=lambda shift: shift.signal)),
    )


def _averages(points: Floats, start: float, weight: float) -> Floats:
    average, averages = start, []
    for value in points.tolist():
        average += weight * (value - average)
        averages.append(average)
    return np.array(averages)


def _sums(gains: Floats, start: float) -> Floats:
    total, totals = start, []
    for gain in gains.tolist():
        total = max(0.0, total + gain)
        totals.append(total)
    return np.array(totals)


def _shifts(
    side: Literal["above", "below"], sums: Floats, limit: float, target: float, slack: float
) -> list[Shift]:
    """One shift for each excursion from zero that passes the limit."""
    found: list[Shift] = []
    start = signal = 0
    sign = 1 if side == "above" else -1
    inside = True
    for i, total in enumerate(sums.tolist()):
        if total == 0:
            start, inside = i + 1, True
        elif inside and total > limit:
            inside, signal = False, i
            size = sign * (slack + total / (signal - start + 1))
            found.append(Shift(side=side, start=start, signal=signal, mean=target + size, size=size))
    return found
