"""Sampling by measuring: accept the lot if its mean keeps far enough from the limit of tolerance."""

import math
from dataclasses import dataclass

from qc_app.refusal import Refusal
from qc_app.spc.attribute_plan import LARGEST_SAMPLE, TwoPoints
from qc_app.spc.series import finite, whole


@dataclass(frozen=True)
class VariablesPlan:
    """Measure ``sample`` units; accept if the limit lies at least ``distance`` standard deviations from the
    mean. ``sigma_known`` says whether that is the process's own, or the sample's."""

    sample: int
    distance: float
    sigma_known: bool

    def __post_init__(self) -> None:
        whole(self.sample, 1 if self.sigma_known else 2, "The sample")
        finite(self.distance, "The distance")

    def acceptance(self, quality: float) -> float:
        """Probability of acceptance at a share nonconforming, for normal values and one limit."""
        from scipy.special import ndtr, ndtri

        if not 0 < finite(quality, "The share nonconforming") < 1:
            raise Refusal("The share nonconforming lies between 0 and 1. Given: {given}.", given=quality)
        away, root = -float(ndtri(quality)), math.sqrt(self.sample)
        if self.sigma_known:
            return float(ndtr(root * (away - self.distance)))
        from scipy.stats import nct

        return float(nct.sf(root * self.distance, self.sample - 1, root * away))


def variables_plan(points: TwoPoints, sigma_known: bool = False) -> VariablesPlan:
    """The smallest plan through two points, for one limit of tolerance and normal values.

    With sigma known: n = ((zα + zβ)/(z good − z poor))². With the sample's own, exactly by the noncentral t;
    the distance is the one at which the consumer's risk is met.

    >>> plan = variables_plan(TwoPoints(good=0.01, poor=0.06), sigma_known=True)
    >>> plan.sample, round(plan.distance, 4)
    (15, 1.8857)
    >>> variables_plan(TwoPoints(good=0.01, poor=0.06)).sample
    42
    """
    from scipy.special import ndtri

    good, poor = -float(ndtri(points.good)), -float(ndtri(points.poor))
    producer, consumer = -float(ndtri(points.producer_risk)), -float(ndtri(points.consumer_risk))
    fewest = max(1, math.ceil(((producer + consumer) / (good - poor)) ** 2 - 1e-9))
    if sigma_known:
        return VariablesPlan(fewest, poor + consumer / math.sqrt(fewest), True)
    low, high = max(2, fewest), max(2, fewest)
    while not _holds(points, high):
        low, high = high + 1, 2 * high
        if high > LARGEST_SAMPLE:
            raise Refusal("The two shares are too alike; a sample would pass {most}.", most=LARGEST_SAMPLE)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if _holds(points, middle) else (middle + 1, high)
    return VariablesPlan(low, _distance(points, low), False)


def _holds(points: TwoPoints, sample: int) -> bool:
    plan = VariablesPlan(sample, _distance(points, sample), False)
    return plan.acceptance(points.good) >= 1 - points.producer_risk


def _distance(points: TwoPoints, sample: int) -> float:
    """The distance at which a lot of the poor share is accepted with just the consumer's risk."""
    from qc_app.spc.tolerance_interval import one_sided_factor

    return one_sided_factor(sample, 1 - points.poor, 1 - points.consumer_risk)
