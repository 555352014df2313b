"""Uncertainty budgets: what each source contributes to the uncertainty of a result.

After JCGM 100:2008 "Guide to the expression of uncertainty in measurement"; clause numbers from memory:

- type A evaluation: 4.2
- rectangular and triangular distributions: 4.3.7 and 4.3.9
- law of propagation: 5.1.2, with correlation 5.2.2
- products of powers: 5.1.6
- coverage factors: annex G
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from qc_app.refusal import Refusal


@dataclass(frozen=True)
class Budget:
    """A result and what each independent source contributes to its standard uncertainty, in its unit.

    A contribution is the sensitivity to the source times the standard uncertainty of the source; it keeps
    its sign.
    """

    value: float
    contributions: Mapping[str, float]

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty: the root of the sum of squares."""
        return math.hypot(*self.contributions.values())

    @property
    def shares(self) -> dict[str, float]:
        """Each source's share of the variance; they add up to 1."""
        variance = self.standard_uncertainty**2
        return {name: part**2 / variance if variance else 0.0 for name, part in self.contributions.items()}

    def scaled(self, factor: float) -> Budget:
        """The same budget in another unit."""
        return Budget(self.value * factor, {name: part * factor for name, part in self.contributions.items()})


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value that lies anywhere within ± ``half_width`` with equal chance.

    >>> round(rectangular(0.1), 4)
    0.0577
    """
    return _not_negative(half_width, "half-width") / math.sqrt(3)


def triangular(half_width: float) -> float:
    """Standard uncertainty of a value within ± ``half_width`` that is likeliest in the middle.

    >>> round(triangular(0.1), 4)
    0.0408
    """
    return _not_negative(half_width, "half-width") / math.sqrt(6)


def product_of_powers(value: float, sources: Mapping[str, tuple[float, float, float]]) -> Budget:
    """The budget of a result proportional to a power of each source.

    ``sources`` by name: (estimate, standard uncertainty, power).

    Raises ``Refusal`` for an estimate of zero and for a negative uncertainty.
    """
    for name, (estimate, uncertainty, _) in sources.items():
        _not_negative(uncertainty, f"standard uncertainty of the {name}")
        if estimate == 0 or not math.isfinite(estimate):
            raise Refusal(
                "The {name} must be a finite number not zero, but it is {value}.", name=name, value=estimate
            )
    parts = {name: value * power * spread / at for name, (at, spread, power) in sources.items()}
    return Budget(value, parts)


def combined_standard_uncertainty(slopes: Sequence[float], covariance: Sequence[Sequence[float]]) -> float:
    """Standard uncertainty of a result with ``slopes`` in correlated inputs of this covariance matrix."""
    sensitivity = np.asarray(slopes, dtype=float)
    return math.sqrt(float(sensitivity @ np.asarray(covariance, dtype=float) @ sensitivity))


@dataclass(frozen=True)
class TypeA:
    """Mean of ``count`` observations, their standard deviation, and the standard uncertainty of the mean."""

    count: int
    mean: float
    deviation: float
    standard_uncertainty: float


def type_a(observations: Sequence[float]) -> TypeA:
    """Type A evaluation of two or more independent observations; raises ``Refusal`` for fewer.

    >>> type_a([14.0, 15.0, 16.0]).standard_uncertainty == 1 / math.sqrt(3)
    True
    """
    count = len(observations)
    if count < 2:
        raise Refusal("Two observations or more are needed, not {count}.", count=count)
    for observation in observations:
        if not math.isfinite(observation):
            raise Refusal("An observation must be a finite number, not {value}.", value=observation)
    mean = math.fsum(observations) / count
    deviation = math.sqrt(math.fsum((value - mean) ** 2 for value in observations) / (count - 1))
    return TypeA(count, mean, deviation, deviation / math.sqrt(count))


def coverage_factor(probability: float, degrees_of_freedom: float) -> float:
    """Student's t for a two-sided interval of this probability (JCGM 100:2008, table G.2).

    Raises ``Refusal`` for a probability outside 0 to 1 or for no degrees of freedom.

    >>> round(coverage_factor(0.95, 10), 2)
    2.23
    """
    if not 0 < probability < 1:
        raise Refusal("A coverage probability lies between 0 and 1, not {value}.", value=probability)
    if not degrees_of_freedom > 0:
        raise Refusal("Degrees of freedom are more than zero, not {value}.", value=degrees_of_freedom)
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, (1 + probability) / 2))


def _not_negative(value: float, name: str) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise Refusal(
            "The {name} must be a finite number, not negative, not {value}.", name=name, value=value
        )
    return value
