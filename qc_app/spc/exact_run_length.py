"""How many points a chart goes before it signals: exact, for any shift of the mean.

The values are independent and normal with known centre and sigma; ``shift`` is how far their mean lies from
the centre line, in sigmas. With no shift every signal is a false alarm. Limits estimated from few points make
real run lengths vary around these.
"""

import math
from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np

from qc_app.refusal import Refusal
from qc_app.spc.order_survival import ordered_survival
from qc_app.spc.quadrature import gauss_legendre
from qc_app.spc.rule_chain import ORDERED, SIGNAL, Chain, chain
from qc_app.spc.run_length_distribution import RunLength
from qc_app.spc.run_rules import Rule, as_rules
from qc_app.spc.series import Floats, finite, positive


def shewhart(rules: Iterable[str | Rule] | None = ("beyond_limit",), shift: float = 0.0) -> RunLength:
    """Run length of a chart of single values under any set of the run rules together.

    By the Markov chain of C. W. Champ and W. H. Woodall, *Technometrics* 29(4), 1987; where a rule looks at
    the order of the points, by an integral equation in the last value.

    Raises
    ------
    Refusal
        For an unknown rule, no rule at all, or a shift that is not finite.

    >>> round(shewhart(["beyond_limit"]), 2), shewhart(["beyond_limit"]).median
    (370.4, 257)
    >>> round(shewhart(["beyond_limit", "two_of_three_outer", "four_of_five_outer"]), 1)
    132.9
    """
    chosen = as_rules(rules)
    if not chosen:
        raise Refusal("Without a run rule there is no signal. Name at least one.")
    return _shewhart(chosen, finite(shift, "The shift"))


def ewma(weight: float, width: float, shift: float = 0.0) -> RunLength:
    """Run length of an exponentially weighted moving average with the limits it has in the long run.

    From an average that starts on the target; by the integral equation of S. V. Crowder, *Technometrics*
    29(4), 1987.

    Raises
    ------
    Refusal
        For a weight not above 0 and at most 1, a width not above zero, a shift not finite.

    >>> round(ewma(0.1, 2.7), 1), round(ewma(0.1, 2.7, shift=1), 1)
    (369.0, 9.7)
    """
    if positive(weight, "The weight") > 1:
        raise Refusal("The weight lies above 0 and is at most 1. Given: {given}.", given=weight)
    positive(width, "The width of the limits")
    return _ewma(float(weight), float(width), finite(shift, "The shift"))


def cusum(allowance: float, decision: float, shift: float = 0.0, *, head_start: float = 0.0) -> RunLength:
    """Run length of a two-sided cumulative sum, all arguments in sigmas.

    Each side by the integral equation of E. S. Page, *Biometrika* 41, 1954. When one side signals the other
    stands at zero, so both sides together follow from each alone (K. W. Kemp, *JRSS B* 23, 1961), not only
    on average but for every number of points.

    Raises
    ------
    Refusal
        For an allowance or decision not above zero, a head start outside 0 to half the decision limit.

    >>> round(cusum(0.5, 5), 1), round(cusum(0.5, 5, shift=1), 2)
    (465.4, 10.38)
    """
    positive(allowance, "The allowance")
    positive(decision, "The decision limit")
    if not 0 <= finite(head_start, "The head start") <= decision / 2:
        raise Refusal(
            "The head start lies between 0 and half the decision limit. Given: {given}.", given=head_start
        )
    return _cusum(float(allowance), float(decision), finite(shift, "The shift"), float(head_start))


@lru_cache(maxsize=256)
def _shewhart(rules: tuple[Rule, ...], shift: float) -> RunLength:
    steps = chain(rules)
    if any(rule.name in ORDERED for rule in rules):
        return RunLength(ordered_survival(steps, shift))
    return RunLength(_zone_survival(steps, shift))


def _zone_survival(steps: Chain, shift: float) -> Iterator[float]:
    from scipy.special import ndtr

    below = ndtr(np.array(steps.lines) - shift)
    chances = np.diff(below, prepend=0.0, append=1.0)
    ahead = np.ones(len(steps.upward) + 1)
    ahead[SIGNAL] = 0
    while True:
        yield float(chances @ ahead[steps.first])
        ahead[:-1] = ahead[steps.upward] @ chances


@lru_cache(maxsize=256)
def _ewma(weight: float, width: float, shift: float) -> RunLength:
    limit = width * np.sqrt(weight / (2 - weight))
    points, weights = gauss_legendre(_enough_points(2 * limit / weight), -limit, limit)
    away = (points - (1 - weight) * points[:, np.newaxis]) / weight - shift
    start = points / weight - shift
    return RunLength(_survival(_normal(start) * weights / weight, _normal(away) * weights / weight))


def _survival(first: Floats, onward: Floats) -> Iterator[float]:
    """Chance of no signal in 1, 2, … points: where the first may lead, and each further one."""
    ahead = np.ones(len(onward))
    while True:
        yield float(first @ ahead)
        ahead = onward @ ahead


@lru_cache(maxsize=256)
def _cusum(allowance: float, decision: float, shift: float, head_start: float) -> RunLength:
    high = _one_side(allowance, decision, shift, head_start)
    low = _one_side(allowance, decision, -shift, head_start)
    return RunLength(_both_sides(high, low))


def _one_side(
    allowance: float, decision: float, shift: float, head_start: float
) -> Iterator[tuple[float, float]]:
    """Chance that one side signals at point 1, 2, …: from zero, and from its head start."""
    from scipy.special import ndtr

    points, weights = gauss_legendre(_enough_points(decision), 0, decision)
    starts = np.concatenate(([0.0, head_start], points))
    drift = shift - allowance
    to_points = _normal(points - starts[:, np.newaxis] - drift) * weights
    to_zero = ndtr(-starts - drift)
    signal = ndtr(starts + drift - decision)
    while True:
        yield float(signal[0]), float(signal[1])
        signal = to_zero * signal[0] + to_points @ signal[2:]


def _both_sides(high: Iterator[tuple[float, float]], low: Iterator[tuple[float, float]]) -> Iterator[float]:
    """Chance that neither side has signalled by point 1, 2, …

    With generating functions H and L of each side from zero, and h and l from its head start, that of both
    together is f = (h (1 − L) + l (1 − H)) / (1 − H L); its coefficients follow one after the other.
    """
    kept, survival = np.zeros((6, 512)), 1.0
    for size, ((of_high, ahead_high), (of_low, ahead_low)) in enumerate(zip(high, low, strict=True)):
        if size == kept.shape[1]:
            kept = np.hstack((kept, np.zeros_like(kept)))
        kept[:4, size] = of_high, of_low, ahead_high, ahead_low
        # Products of series whose first coefficient belongs to point 1: that of point t ends at t − 1.
        earlier = kept[:, :size]
        all_high, all_low, first_high, first_low, product, found = earlier
        found_now = (
            ahead_high
            + ahead_low
            + float(product @ found[::-1] - first_high @ all_low[::-1] - first_low @ all_high[::-1])
        )
        kept[4, size] = all_high @ all_low[::-1]
        kept[5, size] = found_now
        survival -= found_now
        yield survival


def _enough_points(sigmas: float) -> int:
    """Points that integrate a normal density over so many of its standard deviations to about 1e-10."""
    return 16 * math.ceil(2 + 0.6 * sigmas)


def _normal(z: Floats) -> Floats:
    density: Floats = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return density
