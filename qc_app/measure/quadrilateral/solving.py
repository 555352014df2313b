"""From tape readings to the shape of a panel."""

from __future__ import annotations

from typing import Any, overload

import numpy as np

from qc_app.measure.length import Length
from qc_app.measure.quadrilateral.adjustment import FloatArray, adjust
from qc_app.measure.quadrilateral.readings import Pair, Reading, take
from qc_app.measure.quadrilateral.shape import PanelShape, shape_of
from qc_app.refusal import Refusal

Size = Length | float
OnePair = tuple[Size | None, Size | None]
Six = tuple[Size, Size, Size, Size, Size, Size]


@overload
def solve(  # type: ignore[overload-overlap]
    length: Size,
    width: Size,
    *,
    edges: OnePair = ...,
    ends: OnePair = ...,
    diagonals: OnePair,
    uncertainty: Size | Six,
    false_alarm_rate: float = ...,
) -> PanelShape[float, bool]: ...


@overload
def solve(
    length: Reading,
    width: Reading,
    *,
    edges: Pair = ...,
    ends: Pair = ...,
    diagonals: Pair,
    uncertainty: Size | Six,
    false_alarm_rate: float = ...,
) -> PanelShape[FloatArray, np.ndarray[Any, np.dtype[np.bool_]]]: ...


def solve(
    length: Reading,
    width: Reading,
    *,
    edges: Pair = (None, None),
    ends: Pair = (None, None),
    diagonals: Pair,
    uncertainty: Size | Six,
    false_alarm_rate: float = 0.01,
) -> PanelShape[Any, Any]:
    """The shape of a panel of nominal ``length`` × ``width`` from tape readings in inches or as ``Length``.

    Corners A, B, C, D go round the panel. A reading may be an array with one value for each panel; all are
    broadcast together.

    ``edges``             (AB, DC), None for one that was not read
    ``ends``              (DA, CB), likewise
    ``diagonals``         (AC, BD), likewise
    ``uncertainty``       standard uncertainty of a reading: one for all, or six for AB, DC, DA, CB, AC, BD
    ``false_alarm_rate``  probability that sound readings are called inconsistent

    What is read decides what can be said:

    - Six readings: one is redundant. The corners are those of least squares, and the misclosure is tested
      against its own uncertainty. An error of scale common to all readings of one tape does not show in it.
    - Four sides and one diagonal: the other diagonal follows; nothing can be tested.
    - Both diagonals but not all sides: a side not read takes its nominal size, changed as little as the
      diagonals ask for; nothing can be tested.

    Raises ``Refusal`` for a reading that is zero, negative or not finite, far from its nominal size, or
    impossible beside the others, and for an uncertainty or false-alarm rate out of range.

    >>> sides = {"edges": (288, 288), "ends": (96, 96), "uncertainty": 1 / 32}
    >>> panel = solve(288, 96, **sides, diagonals=(304.5625, 303.5))
    >>> panel.is_consistent, round(panel.misclosure, 3), panel.suspects()[0].reading, panel.suspects()[0].slip
    (False, 0.906, 'AC', 'one inch')
    """
    if not 0 < false_alarm_rate < 1:
        raise Refusal("The false-alarm rate must lie between 0 and 1, not {rate}.", rate=false_alarm_rate)
    readings = take(length, width, edges, ends, diagonals, uncertainty)
    complete = bool(readings.is_read.all())
    weights = readings.uncertainty**2 if complete else (~readings.is_read).astype(float)
    return shape_of(readings, adjust(readings.lengths, weights), false_alarm_rate)
