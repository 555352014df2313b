"""Short runs: panels of several kinds on one chart, each reading seen against its own target.

Source of the charts: D. C. Montgomery, *Introduction to Statistical Quality Control*, "Statistical process
control for short production runs"; ISO 7870-8. Values may be single, shape (n,), or rows of a subgroup for
each target; the chart is then of individuals, or of means and ranges.
"""

from collections import defaultdict
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.refusal import Refusal
from qc_app.spc.constants import D2_OF_TWO
from qc_app.spc.series import SMALLEST, Floats, series
from qc_app.spc.shewhart import Individuals, Means, individuals, means_and_ranges
from qc_app.spc.subgroups import Subgroups

Chart = Individuals | Means


def deviations(
    values: Subgroups, targets: ArrayLike, *, centre: float | None = None, sigma: float | None = None
) -> Chart:
    """Deviation of each value from its own target, in the unit of the values.

    For kinds that share one spread. ``targets`` is one for all, or one for each value or subgroup.

    >>> chart = deviations([96.1, 120.2, 95.9, 120.0], targets=[96, 120, 96, 120])
    >>> chart.points.round(1).tolist()
    [0.1, 0.2, -0.1, 0.0]
    """
    return _chart(values, targets, 1.0, centre, sigma)


def standardised(values: Subgroups, targets: ArrayLike, sigmas: ArrayLike) -> Chart:
    """Deviation from target in standard deviations of the value's own kind: centre 0, sigma 1.

    For kinds whose spread depends on their target. ``sigmas`` are those of one value, one for all or one for
    each value or subgroup; ``sigmas_by_kind`` estimates them.

    >>> standardised([96.2, 121.0], targets=[96, 120], sigmas=[0.1, 0.5]).points.round(6).tolist()
    [2.0, 2.0]
    """
    return _chart(values, targets, sigmas, 0.0, 1.0)


def by_tolerance(
    values: Subgroups,
    targets: ArrayLike,
    tolerances: ArrayLike,
    *,
    centre: float | None = None,
    sigma: float | None = None,
) -> Chart:
    """Deviation from target as a share of the tolerance: ±1 is the limit of tolerance either side.

    For kinds whose tolerances follow what the work can hold. ``tolerances`` are half-widths above zero, one
    for all or one for each value or subgroup.

    >>> by_tolerance([96.1, 119.9], targets=[96, 120], tolerances=[0.125, 0.25]).points.round(2).tolist()
    [0.8, -0.4]
    """
    return _chart(values, targets, tolerances, centre, sigma)


def sigmas_by_kind(values: ArrayLike, kinds: Sequence[object]) -> Floats:
    """Standard deviation of each value's kind, from the mean moving range within that kind, shape (n,).

    Raises
    ------
    Refusal
        If a kind has fewer than two values, or no spread.

    >>> sigmas_by_kind([96.0, 120.0, 96.2, 120.5], ["short", "long", "short", "long"]).round(3).tolist()
    [0.177, 0.443, 0.177, 0.443]
    """
    points = series(values)
    if len(kinds) != points.size:
        raise Refusal("{values} values came with {kinds} kinds.", values=points.size, kinds=len(kinds))
    members: defaultdict[object, list[float]] = defaultdict(list)
    for value, kind in zip(points.tolist(), kinds, strict=True):
        members[kind].append(value)
    spread = {kind: _sigma_of(kind, of_kind) for kind, of_kind in members.items()}
    return np.array([spread[kind] for kind in kinds])


def _sigma_of(kind: object, values: list[float]) -> float:
    sigma = float(np.abs(np.diff(values)).mean()) / D2_OF_TWO if len(values) > 1 else 0.0
    if sigma == 0:
        raise Refusal(
            "The kind “{kind}” needs two values that differ, to estimate its spread; {given} came.",
            kind=kind,
            given=len(values),
        )
    return sigma


def _chart(
    values: Subgroups, targets: ArrayLike, units: ArrayLike, centre: float | None, sigma: float | None
) -> Chart:
    rows = list(values) if isinstance(values, Sequence | np.ndarray) else []
    goals = _one_each(targets, len(rows), "targets")
    scales = _one_each(units, len(rows), "sigmas or tolerances")
    if np.any(scales < SMALLEST):
        raise Refusal("A sigma or tolerance must be above zero. Given: {given}.", given=float(scales.min()))
    if rows and all(np.ndim(row) == 0 for row in rows):
        scaled: NDArray[np.float64] = (series(np.asarray(rows)) - goals) / scales
        return individuals(scaled, centre=centre, sigma=sigma)
    groups = [
        (series(row, name=f"Subgroup {place}") - goal) / scale
        for place, (row, goal, scale) in enumerate(zip(rows, goals, scales, strict=True), start=1)
    ]
    return means_and_ranges(groups, centre=centre, sigma=sigma)


def _one_each(given: ArrayLike, count: int, name: str) -> Floats:
    flat = series(np.atleast_1d(np.asarray(given, dtype=np.float64)), name=f"The row of {name}")
    if flat.size == 1:
        return np.full(count, flat[0])
    if flat.size != count:
        raise Refusal("{values} values came with {given} {name}.", values=count, given=flat.size, name=name)
    return flat
