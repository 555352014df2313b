"""What every control chart says of itself: points, centre line, limits, sigma, and where sigma came from."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc_app.spc.series import Floats


def constant(value: float, points: int) -> Floats:
    """The same value for each point, as a read-only array that takes no room."""
    return np.broadcast_to(np.float64(value), points)


@dataclass(frozen=True)
class ControlLimits:
    """The points of a chart with its centre line and control limits.

    ``lower`` and ``upper`` hold one limit for each point (shape (n,)), since on some charts they vary.
    ``centre`` is one number, or one for each point where it varies with the size of subgroups. ``sigma`` is
    the standard deviation of one value, as estimated or given, and ``method`` says how; ``point_sigma`` is
    that of each plotted point (shape (n,)), which is what run rules compare with.
    """

    points: Floats
    centre: float | Floats
    lower: Floats
    upper: Floats
    sigma: float | Floats
    point_sigma: Floats
    method: str

    @property
    def outside(self) -> NDArray[np.intp]:
        """Indexes of the points beyond a limit; one exactly on a limit is not beyond it."""
        return np.flatnonzero((self.points > self.upper) | (self.points < self.lower))
