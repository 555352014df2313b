"""Variances of a measurement by source, and what follows from them."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.anova import Row
from qc_app.spc.capability_indices import Interval
from qc_app.spc.series import Floats, check_finite, numbers
from qc_app.spc.variance_components import Term


@dataclass(frozen=True)
class Components:
    """Variances by source, in squared units of the measurements.

    ``gauge`` is repeatability plus reproducibility; ``total`` adds the parts. ``intervals`` hold the
    confidence intervals of those that have one, by the same names. ``tolerance`` is the width of tolerance.
    """

    repeatability: float
    reproducibility: float
    appraisers: float
    interaction: float
    parts: float
    intervals: dict[str, Interval]
    tolerance: float | None = None

    @property
    def gauge(self) -> float:
        """Variance of the measurement: repeatability and reproducibility together."""
        return self.repeatability + self.reproducibility

    @property
    def total(self) -> float:
        """Variance of a single measurement of a part picked at random."""
        return self.gauge + self.parts

    @property
    def standard_uncertainty(self) -> float:
        """What a single reading by any of the appraisers is uncertain by, in the unit of the readings."""
        return math.sqrt(self.gauge)

    @property
    def share_of_variation(self) -> float:
        """Standard deviation of the measurement over the total standard deviation."""
        return math.sqrt(self.gauge / self.total)

    @property
    def share_of_tolerance(self) -> float | None:
        """Six standard deviations of the measurement over the width of tolerance."""
        return None if self.tolerance is None else 6 * math.sqrt(self.gauge) / self.tolerance

    @property
    def distinct_categories(self) -> int:
        """Groups of parts the measurement can tell apart: √(2 · parts/gauge), rounded down, at least 1."""
        if self.gauge == 0:
            raise Refusal("The measurement shows no variation at all: read it to more digits.")
        return max(1, int(math.sqrt(2 * self.parts / self.gauge)))


def difference(upper: Row, lower: Row, share: int) -> list[Term]:
    """Terms of a variance component: the difference of two mean squares over ``share``."""
    return [
        Term(1 / share, upper.mean_square, upper.degrees_of_freedom),
        Term(-1 / share, lower.mean_square, lower.degrees_of_freedom),
    ]


def estimate(terms: list[Term]) -> float:
    """The variance the terms estimate, not below zero."""
    return max(0.0, sum(term.coefficient * term.mean_square for term in terms))


def cells(measurements: ArrayLike, axes: str, fewest: tuple[int, int, int]) -> Floats:
    """The measurements as an array of three axes; Refusal for another shape, or a value not finite."""
    array = numbers(measurements, "The study")
    if array.ndim != 3 or any(given < least for given, least in zip(array.shape, fewest, strict=True)):
        raise Refusal(
            "A gauge study needs measurements by {axes}, at least {fewest}. Given: {given}.",
            axes=axes,
            fewest=" × ".join(map(str, fewest)),
            given=" × ".join(map(str, array.shape)) or "one number",
        )
    check_finite(array, "The study")
    if np.ptp(array) == 0:
        raise Refusal(
            "All measurements are {given}: there is no variation to study.", given=float(array.flat[0])
        )
    return array
