"""Sampling by counting nonconforming units: single plans, their characteristic, and what goes out."""

from dataclasses import dataclass

from qc_app.refusal import Refusal
from qc_app.spc.series import finite, whole

LARGEST_SAMPLE = 100_000

FINEST_LOT = 10_000
"""Units in the largest lot of which every number nonconforming is looked at."""


@dataclass(frozen=True)
class TwoPoints:
    """Two points of an operating characteristic, by share nonconforming: ``good`` is to be accepted, with a
    risk of at most ``producer_risk`` that it is not, ``poor`` to be rejected, with ``consumer_risk`` that it
    is not."""

    good: float
    poor: float
    producer_risk: float = 0.05
    consumer_risk: float = 0.10

    def __post_init__(self) -> None:
        if not 0 < self.good < self.poor < 1:
            raise Refusal(
                "The good share lies below the poor one, both between 0 and 1. Given: {good} and {poor}.",
                good=self.good,
                poor=self.poor,
            )
        if not (
            self.producer_risk > 0 and self.consumer_risk > 0 and self.producer_risk + self.consumer_risk < 1
        ):
            raise Refusal(
                "The two risks lie above 0 and add up to less than 1. Given: {producer} and {consumer}.",
                producer=self.producer_risk,
                consumer=self.consumer_risk,
            )


@dataclass(frozen=True)
class AttributePlan:
    """Inspect ``sample`` units, accept the lot if no more than ``accept`` do not conform.

    ``lot`` is the size of the lot, None where it is large against the sample.

    >>> plan = AttributePlan(sample=52, accept=3)
    >>> round(plan.acceptance(0.05), 3), round(plan.outgoing(0.05), 4)
    (0.738, 0.0369)
    """

    sample: int
    accept: int
    lot: int | None = None

    def __post_init__(self) -> None:
        whole(self.sample, 1, "The sample")
        if whole(self.accept, 0, "The acceptance number") >= self.sample:
            raise Refusal(
                "A plan that accepts {accept} of {sample} rejects nothing.",
                accept=self.accept,
                sample=self.sample,
            )
        if self.lot is not None and whole(self.lot, 1, "The lot") < self.sample:
            raise Refusal(
                "A sample of {sample} does not come from a lot of {lot}.", sample=self.sample, lot=self.lot
            )

    def acceptance(self, quality: float) -> float:
        """Probability of acceptance at a share nonconforming: its operating characteristic.

        Binomial, or hypergeometric for a lot of known size, which then has the nearest whole number.
        """
        if not 0 <= finite(quality, "The share nonconforming") <= 1:
            raise Refusal("A share lies from 0 to 1. Given: {given}.", given=quality)
        if self.lot is None:
            from scipy.special import bdtr

            return float(bdtr(self.accept, self.sample, quality))
        from scipy.stats import hypergeom

        return float(hypergeom.cdf(self.accept, self.lot, round(quality * self.lot), self.sample))

    def outgoing(self, quality: float) -> float:
        """Average share nonconforming that goes out when rejected lots are sorted and put right.

        acceptance · quality, times (lot − sample)/lot for a lot of known size.
        """
        left = 1.0 if self.lot is None else (self.lot - self.sample) / self.lot
        return self.acceptance(quality) * quality * left

    def worst_outgoing(self) -> tuple[float, float]:
        """The incoming share at which most goes out, and that limit of average outgoing quality.

        A lot of known size holds a whole number of nonconforming units; beyond 10 000 units some are skipped.
        """
        import numpy as np

        if self.lot is not None:
            from scipy.stats import hypergeom

            wrong = np.unique(np.rint(np.linspace(0, self.lot, min(self.lot, FINEST_LOT) + 1)))
            accepted = hypergeom.cdf(self.accept, self.lot, wrong, self.sample)
            worst = float(wrong[np.argmax(accepted * wrong)]) / self.lot
            return worst, self.outgoing(worst)
        from scipy.optimize import minimize_scalar

        grid = np.linspace(0, 1, 1001)
        best = int(np.argmax([self.outgoing(float(p)) for p in grid]))
        around = (float(grid[max(0, best - 1)]), float(grid[min(1000, best + 1)]))
        found = minimize_scalar(
            lambda p: -self.outgoing(float(p)), bounds=around, method="bounded", options={"xatol": 1e-9}
        )
        return float(found.x), -float(found.fun)

    def average_inspected(self, quality: float) -> float:
        """Average number inspected in a lot when rejected lots are sorted; needs the size of the lot."""
        if self.lot is None:
            raise Refusal("How much is sorted depends on the size of the lot; none was given.")
        return self.sample + (1 - self.acceptance(quality)) * (self.lot - self.sample)


def attribute_plan(points: TwoPoints, lot: int | None = None) -> AttributePlan:
    """The smallest single plan through two points.

    Raises
    ------
    Refusal
        If a lot is too small for such a plan, or a sample would pass 100 000.

    >>> attribute_plan(TwoPoints(good=0.01, poor=0.06, producer_risk=0.05, consumer_risk=0.10))
    AttributePlan(sample=110, accept=3, lot=None)
    """
    most = LARGEST_SAMPLE if lot is None else whole(lot, 2, "The lot")
    accept, sample = 0, 1
    while sample <= most:
        # The smallest sample the consumer's risk allows at this acceptance number; then the producer's.
        sample = _smallest(points, accept, max(sample, accept + 1), lot, most)
        if sample > most:
            break
        plan = AttributePlan(sample, accept, lot)
        if plan.acceptance(points.good) >= 1 - points.producer_risk:
            return plan
        accept += 1
    raise Refusal("No plan with a sample of at most {most} goes through these two points.", most=most)


def _smallest(points: TwoPoints, accept: int, low: int, lot: int | None, most: int) -> int:
    """The smallest sample that accepts the poor share no more often than it may; acceptance falls with it."""
    high = low
    while high <= most and AttributePlan(high, accept, lot).acceptance(points.poor) > points.consumer_risk:
        low, high = high + 1, high * 2
    high = min(high, most + 1)
    while low < high:
        middle = (low + high) // 2
        if AttributePlan(middle, accept, lot).acceptance(points.poor) > points.consumer_risk:
            low = middle + 1
        else:
            high = middle
    return low
