"""Sampling one unit at a time: stop as soon as the answer is clear."""

import math
from dataclasses import dataclass
from typing import Literal

from qc_app.refusal import Refusal
from qc_app.spc.attribute_plan import TwoPoints
from qc_app.spc.series import finite, whole


@dataclass(frozen=True)
class SequentialPlan:
    """Wald's sequential plan: two parallel lines in a chart of nonconforming against inspected.

    Accept on or below slope · inspected − ``accept_offset``, reject on or above slope · inspected +
    ``reject_offset``, else inspect another (A. Wald, *Sequential Analysis*, 1947, chapter 5).
    """

    slope: float
    accept_offset: float
    reject_offset: float
    points: TwoPoints

    def decision(self, inspected: int, nonconforming: int) -> Literal["accept", "reject", "go on"]:
        """What to do after so many units.

        Raises
        ------
        Refusal
            For negative numbers, or more nonconforming than inspected.
        """
        n, d = (
            whole(inspected, 0, "The number inspected"),
            whole(nonconforming, 0, "The number nonconforming"),
        )
        if d > n:
            raise Refusal("{d} nonconforming of {n} inspected cannot be.", d=d, n=n)
        if n and d <= self.slope * n - self.accept_offset:
            return "accept"
        return "reject" if d >= self.slope * n + self.reject_offset else "go on"

    def acceptance(self, quality: float) -> float:
        """Probability of acceptance at a share nonconforming, by Wald's approximation."""
        p = _share(quality)
        if p in (0.0, 1.0):
            return 1.0 - p
        up, down = self._logarithms()
        h = self._exponent(p)
        if abs(h) < 1e-9:
            return up / (up - down)
        return math.expm1(h * up) / (math.exp(h * up) - math.exp(h * down))

    def average_sample(self, quality: float) -> float:
        """Average number of units inspected at a share nonconforming, by Wald's approximation."""
        p = _share(quality)
        up, down = self._logarithms()
        bad, good = self._steps()
        drift = p * bad + (1 - p) * good
        accepted = self.acceptance(p)
        if abs(drift) < 1e-12:
            return -up * down / (p * bad**2 + (1 - p) * good**2)
        return (accepted * down + (1 - accepted) * up) / drift

    def _logarithms(self) -> tuple[float, float]:
        """Log-likelihood ratios at which to reject and to accept."""
        producer, consumer = self.points.producer_risk, self.points.consumer_risk
        return math.log((1 - consumer) / producer), math.log(consumer / (1 - producer))

    def _steps(self) -> tuple[float, float]:
        """What a nonconforming and a conforming unit add to the log-likelihood ratio."""
        good, poor = self.points.good, self.points.poor
        return math.log(poor / good), math.log((1 - poor) / (1 - good))

    def _exponent(self, p: float) -> float:
        """The h ≠ 0 with p e^(h·bad) + (1 − p) e^(h·good) = 1; 0 where there is none."""
        from scipy.optimize import brentq

        bad, good = self._steps()
        drift = p * bad + (1 - p) * good
        if abs(drift) < 1e-12:
            return 0.0

        def excess(h: float) -> float:
            return p * math.exp(h * bad) + (1 - p) * math.exp(h * good) - 1

        # Beside its root at 0 the convex function has another on the side against the drift.
        side = -math.copysign(1.0, drift)
        far = side
        while excess(far) < 0:
            far *= 2
        near = far / 2
        while excess(near) > 0:
            near /= 2
            if abs(near) < 1e-12:
                return 0.0
        return float(brentq(excess, near, far, xtol=1e-13))


def sequential_plan(points: TwoPoints) -> SequentialPlan:
    """Wald's plan through two points.

    >>> plan = sequential_plan(TwoPoints(good=0.01, poor=0.10, producer_risk=0.05, consumer_risk=0.10))
    >>> round(plan.slope, 4), round(plan.accept_offset, 4), round(plan.reject_offset, 4)
    (0.0397, 0.9389, 1.2054)
    """
    k = math.log(points.poor * (1 - points.good) / (points.good * (1 - points.poor)))
    producer, consumer = points.producer_risk, points.consumer_risk
    return SequentialPlan(
        slope=math.log((1 - points.good) / (1 - points.poor)) / k,
        accept_offset=math.log((1 - producer) / consumer) / k,
        reject_offset=math.log((1 - consumer) / producer) / k,
        points=points,
    )


def _share(quality: float) -> float:
    if not 0 <= finite(quality, "The share nonconforming") <= 1:
        raise Refusal("A share lies from 0 to 1. Given: {given}.", given=quality)
    return float(quality)
