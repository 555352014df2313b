"""Sampling one unit at a time: stop as soon as the answer is clear."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from qc_app.refusal import Refusal
from qc_app.spc.attribute_plan import TwoPoints
from qc_app.spc.series import finite, whole

NEGLIGIBLE = 1e-12
"""Chance of still being undecided below which a plan is not followed further."""


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
        """Probability of acceptance at a share nonconforming: its operating characteristic, exact."""
        return self._follow(quality)[0]

    def average_sample(self, quality: float) -> float:
        """Average number of units inspected at a share nonconforming, exact."""
        return self._follow(quality)[1]

    def _follow(self, quality: float) -> tuple[float, float]:
        """Acceptance and average number, by following the chance of each count of nonconforming units."""
        p = finite(quality, "The share nonconforming")
        if not 0 <= p <= 1:
            raise Refusal("A share lies from 0 to 1. Given: {given}.", given=quality)
        chances, accepted, average, n = np.ones(1), 0.0, 0.0, 0
        least = 0  # the count that the first of the chances belongs to
        while chances.size and chances.sum() > NEGLIGIBLE:
            average, n = average + float(chances.sum()), n + 1
            chances = np.append(chances * (1 - p), 0.0) + np.append(0.0, chances * p)
            line = self.slope * n
            accepts = max(0, math.floor(line - self.accept_offset) + 1 - least)
            rejects = max(0, math.ceil(line + self.reject_offset) - least)
            accepted += float(chances[:accepts].sum())
            chances, least = chances[accepts:rejects], least + accepts
        return accepted, average


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
