"""When a process changed: the most likely moment, and all moments that remain plausible."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.spc.series import Floats, finite, positive, series, share


@dataclass(frozen=True)
class ChangePoint:
    """A lasting step of the mean.

    ``first`` is the index of the first value after the most likely change; ``plausible`` the indexes that
    with ``confidence`` include the true one; ``before`` and ``after`` the means on either side; ``gain`` the
    logarithm of how much likelier the values are with this change than with none.
    """

    first: int
    plausible: NDArray[np.intp]
    before: float
    after: float
    gain: float
    confidence: float

    @property
    def size(self) -> float:
        """The step, in the unit of the values."""
        return self.after - self.before


def change_point(
    values: ArrayLike, sigma: float, centre: float | None = None, confidence: float = 0.9
) -> ChangePoint:
    """The most likely moment of one step of the mean, in values up to a signal.

    The estimate is the moment of greatest likelihood (A. R. Samuel, J. J. Pignatiello, J. A. Calvin, *Quality
    Engineering* 10(3), 1998). The plausible set holds each moment whose log-likelihood falls short of the
    greatest by no more than D, with confidence (1 − e^−D)² (D. Siegmund, *Annals of Statistics* 14, 1986).

    Parameters
    ----------
    values : shape (n,), n ≥ 2, from where the process was good up to the signal, in order of time.
    sigma : standard deviation of a value.
    centre : the mean before the change, if known; else the mean of the values before it.

    Raises
    ------
    Refusal
        For fewer than two values, one not finite, or sigma not above zero.

    >>> found = change_point([0.1, -0.3, 0.2, 0.0, 2.1, 1.8, 2.2], sigma=1, centre=0)
    >>> found.first, found.plausible.tolist(), round(found.after, 2)
    (4, [2, 3, 4, 5], 2.03)
    """
    points, spread = series(values, fewest=2), positive(sigma, "Sigma")
    level = share(confidence, "The confidence")
    known = None if centre is None else finite(centre, "The centre line")
    gains = _gains(points, spread, known)
    best = int(np.argmax(gains))
    reach = -math.log(1 - math.sqrt(level))
    first = 0 if known is not None else 1
    before = known if known is not None else float(points[: best + first].mean())
    return ChangePoint(
        first=best + first,
        plausible=np.flatnonzero(gains >= gains[best] - reach) + first,
        before=before,
        after=float(points[best + first :].mean()),
        gain=float(gains[best]),
        confidence=level,
    )


def _gains(points: Floats, sigma: float, centre: float | None) -> Floats:
    """Log-likelihood gained by a change before each value, or each but the first if no centre is known."""
    n = points.size
    if centre is not None:
        sums, weights = np.cumsum((points - centre)[::-1])[::-1], 1 / np.arange(n, 0, -1)
    else:
        count = np.arange(1, n)
        sums, weights = np.cumsum(points - points.mean())[:-1], n / (count * (n - count))
    gains: Floats = sums**2 * weights / (2 * sigma**2)
    return gains
