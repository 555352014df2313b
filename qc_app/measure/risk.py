"""Probabilities behind a verdict: that the true value conforms, and how often a rule errs for a process.

JCGM 106:2012, clause numbers from memory: conformance probability in clause 7, consumer's and producer's
global risk in 9.5. True values and errors of measurement are taken as normal.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qc_app.measure.conformity import Limits
from qc_app.measure.probability import normal_between
from qc_app.measure.value import number
from qc_app.refusal import Refusal


@dataclass(frozen=True, slots=True)
class GlobalRisks:
    """Probabilities for the next item of a process.

    ``consumers``   it does not conform and is accepted
    ``producers``   it conforms and is rejected
    ``conforming``  it conforms, whatever the measurement says
    """

    consumers: float
    producers: float
    conforming: float


def global_risks(
    mean: float,
    deviation: float,
    standard_uncertainty: float,
    limits: Limits,
    acceptance: Limits | None = None,
) -> GlobalRisks:
    """Consumer's and producer's risk for a normal process measured with a normal error (JCGM 106:2012, 9.5).

    ``mean``                  of the true values
    ``deviation``             their standard deviation
    ``standard_uncertainty``  of one measurement
    ``limits``                of tolerance
    ``acceptance``            limits by which the measured value is accepted; those of tolerance when left out

    Raises ``Refusal`` for a mean that is not finite, and for a deviation or uncertainty not more than zero.

    >>> risks = global_risks(0, 1, 0.25, Limits(-2, 2))
    >>> round(risks.consumers, 4), round(risks.producers, 4)
    (0.008, 0.0149)
    """
    _check_process(mean, deviation, standard_uncertainty)
    low, high = _bounds(limits)
    accept_low, accept_high = _bounds(acceptance or limits)

    def accepted(true: float) -> float:
        return normal_between(
            (accept_low - true) / standard_uncertainty, (accept_high - true) / standard_uncertainty
        )

    def rejected(true: float) -> float:
        below = normal_between(-math.inf, (accept_low - true) / standard_uncertainty)
        return below + normal_between((accept_high - true) / standard_uncertainty, math.inf)

    edges = [edge for edge in (low, high, accept_low, accept_high) if math.isfinite(edge)]
    intervals = _intervals(mean, deviation, standard_uncertainty, edges)

    def integral(chance: Callable[[float], float], is_inside: bool) -> float:
        return math.fsum(
            _integral(chance, mean, deviation, start, end)
            for start, end in intervals
            if (low <= (start + end) / 2 <= high) is is_inside
        )

    conforming = normal_between((low - mean) / deviation, (high - mean) / deviation)
    return GlobalRisks(integral(accepted, False), integral(rejected, True), conforming)


def _check_process(mean: float, deviation: float, standard_uncertainty: float) -> None:
    for name, value in (("deviation", deviation), ("standard uncertainty", standard_uncertainty)):
        if not (math.isfinite(value) and value > 0):
            raise Refusal(
                "The {name} must be a finite number, more than zero, not {value}.", name=name, value=value
            )
    if not math.isfinite(mean):
        raise Refusal("The mean must be a finite number, not {value}.", value=mean)


def _bounds(limits: Limits) -> tuple[float, float]:
    low = -math.inf if limits.lower is None else float(number(limits.lower, "limit"))
    high = math.inf if limits.upper is None else float(number(limits.upper, "limit"))
    return low, high


def _intervals(mean: float, deviation: float, spread: float, edges: list[float]) -> list[tuple[float, float]]:
    """Intervals on which density and chance of acceptance are both smooth, out to where nothing is left."""
    reach = 9 * deviation
    cuts = {mean + step * deviation for step in range(-9, 10)}
    cuts |= {edge + step * spread for edge in edges for step in range(-9, 10)}
    inside = sorted(cut for cut in cuts | set(edges) if abs(cut - mean) <= reach)
    return list(pairwise(inside))


# Gauss-Legendre: exact to the last places on intervals of one standard deviation
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


def _integral(
    chance: Callable[[float], float], mean: float, deviation: float, start: float, end: float
) -> float:
    """Integral of ``chance`` times the density of the true values, from ``start`` to ``end``."""
    half, middle = (end - start) / 2, (start + end) / 2
    total = 0.0
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        true = middle + half * float(node)
        z = (true - mean) / deviation
        total += float(weight) * chance(true) * math.exp(-0.5 * z * z)
    return total * half / (deviation * math.sqrt(2 * math.pi))
