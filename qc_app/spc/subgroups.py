"""Subgroups of readings: their sizes, means and spreads."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.refusal import Refusal
from qc_app.spc.constants import LARGEST_SUBGROUP
from qc_app.spc.series import Floats, series

Subgroups = ArrayLike | Sequence[ArrayLike]
"""Shape (k, n), or k rows of different lengths."""


@dataclass(frozen=True)
class Summary:
    """Sizes, means, ranges and standard deviations (divisor n − 1) of subgroups, shape (k,) each."""

    sizes: NDArray[np.intp]
    means: Floats
    ranges: Floats
    deviations: Floats

    @property
    def equal(self) -> bool:
        """Whether all subgroups have the same size."""
        return bool(np.all(self.sizes == self.sizes[0]))

    @property
    def grand_mean(self) -> float:
        """The mean of all values, each subgroup weighing by its size."""
        return float(np.average(self.means, weights=self.sizes))


def summary(subgroups: Subgroups, fewest: int = 2) -> Summary:
    """Sizes, means and spreads of each subgroup.

    Raises
    ------
    Refusal
        If there are fewer than ``fewest`` subgroups, one has fewer than 2 or more than 100 values, or a value
        is not a finite number.
    """
    rows = [
        series(row, fewest=2, name=f"Subgroup {place}")  # type: ignore[arg-type]  # a row of either form
        for place, row in enumerate(_rows(subgroups), start=1)
    ]
    if len(rows) < fewest:
        raise Refusal("At least {fewest} subgroups are needed; {given} came.", fewest=fewest, given=len(rows))
    largest = max(row.size for row in rows)
    if largest > LARGEST_SUBGROUP:
        raise Refusal(
            "A subgroup holds at most {largest} values. Given: {given}.",
            largest=LARGEST_SUBGROUP,
            given=largest,
        )
    return Summary(
        sizes=np.array([row.size for row in rows]),
        means=np.array([row.mean() for row in rows]),
        ranges=np.array([np.ptp(row) for row in rows]),
        deviations=np.array([row.std(ddof=1) for row in rows]),
    )


def _rows(subgroups: Subgroups) -> list[object]:
    if not isinstance(subgroups, Sequence | np.ndarray) or isinstance(subgroups, str):
        raise Refusal("Subgroups are rows of values. Given: {given}.", given=type(subgroups).__name__)
    return list(subgroups)
