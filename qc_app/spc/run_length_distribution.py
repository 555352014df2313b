"""A run length: how many points a chart goes before it signals, with its whole distribution.

Every chart here forgets: from some point on, the chance of a signal at the next point, given none so far, no
longer changes. So the survival is followed point by point until that has settled, and goes on geometrically
from there; the average and every quantile then come to more digits than any table prints.
"""

import math
from collections.abc import Iterable
from typing import Self

import numpy as np

from qc_app.refusal import Refusal
from qc_app.spc.series import Floats, positive, share

SETTLED = 1e-13
"""Relative change of the hazard, over ``PATIENCE`` points, at which it counts as settled."""

PATIENCE = 30
NOTHING = 1e-13
"""Survival at which a run is over for good."""

LONGEST = 20_000


class RunLength(float):
    """Average number of points until a chart signals, as a number, with the distribution around it.

    ``survival[t]`` is the chance of no signal in the first t points; after the last one kept it falls by the
    factor 1 − ``hazard`` at every point.
    """

    survival: Floats
    hazard: float

    def __new__(cls, survival: Iterable[float]) -> Self:
        kept, hazard = _until_settled(survival)
        rest = kept[-1] / hazard if kept[-1] > 0 else 0.0
        made = super().__new__(cls, math.fsum(kept[:-1]) + rest)
        made.survival, made.hazard = kept, hazard
        return made

    @property
    def average(self) -> float:
        """The average run length."""
        return float(self)

    def quantile(self, probability: float) -> int:
        """The number of points by which a signal has come with at least this probability.

        Raises
        ------
        Refusal
            If the probability is not strictly between 0 and 1.
        """
        remaining = 1 - share(probability, "The probability")
        reached = np.flatnonzero(self.survival <= remaining * (1 + 1e-12))
        if reached.size:
            return int(reached[0])
        beyond = math.log(remaining / self.survival[-1]) / math.log1p(-self.hazard)
        return self.survival.size - 1 + math.ceil(beyond - 1e-9)

    @property
    def median(self) -> int:
        """Points within which half of all runs end."""
        return self.quantile(0.5)

    @property
    def fifth_percentile(self) -> int:
        """Points within which one run in twenty ends."""
        return self.quantile(0.05)

    @property
    def ninety_fifth_percentile(self) -> int:
        """Points within which nineteen runs of twenty end."""
        return self.quantile(0.95)

    def days(self, panels_per_day: float = 18) -> float:
        """The average in working days of so many panels."""
        return float(self) / positive(panels_per_day, "The number of panels a day")


def _until_settled(survival: Iterable[float]) -> tuple[Floats, float]:
    kept, hazards = [1.0], [0.0]
    for chance in survival:
        hazards.append(1 - chance / kept[-1])
        kept.append(chance)
        if chance < NOTHING:
            return np.array([*kept, 0.0]), 1.0
        if len(hazards) > PATIENCE and hazards[-1] > 0:
            recent = hazards[-PATIENCE:]
            # Survivals carry rounding errors of about 1e-16, so hazards can be no steadier than that.
            if max(recent) - min(recent) <= SETTLED * hazards[-1] + 1e-15 / chance:
                return np.array(kept), math.fsum(recent) / PATIENCE
        if len(kept) > LONGEST:
            break
    raise Refusal("The run length is too long to be worked out: the chart hardly ever signals.")
