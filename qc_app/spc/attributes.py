"""Control charts of counted things: nonconforming panels, nonconformities, and their rates.

Sources: ISO 7870-2; NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3. Three-sigma limits rest
on the normal approximation; for small counts the exact limits of the binomial or Poisson are better. Both
suppose that chance within each sample is all there is; ``Dispersion`` tests it.
"""

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.limits import ControlLimits
from qc_app.spc.series import SMALLEST, Floats, positive, series, share, whole_counts

Limits = Literal["three sigma", "probability"]

FALSE_ALARMS = 0.0027
"""Share of points that exact probability limits may let signal falsely: that of three sigma when normal."""


class Discrete(Protocol):
    """A distribution of counts, one for each sample: quantiles from below and from above."""

    def ppf(self, q: float, /) -> ArrayLike:
        """The least count that at least the share q lies at or below."""

    def isf(self, q: float, /) -> ArrayLike:
        """The least count that at most the share q lies above."""


@dataclass(frozen=True)
class Dispersion:
    """Whether samples vary more (or less) than chance within each explains.

    ``statistic`` is the sum of squared standardised deviations from the centre, chi-square with
    ``degrees_of_freedom``; ``ratio`` is the variance relative to what was supposed; ``p_over`` the chance of
    at least so much variation, ``p_under`` of at most so much (R. A. Fisher, *Statistical Methods for
    Research Workers*, section 19: index of dispersion).
    """

    statistic: float
    degrees_of_freedom: int
    ratio: float
    p_over: float
    p_under: float

    def cries_wolf(self, level: float = 0.01) -> bool:
        """Whether the chart would signal falsely too often; then chart single values with moving ranges."""
        return self.p_over < level


@dataclass(frozen=True)
class Attributes(ControlLimits):
    """A chart of counts, rates or proportions. ``sigma`` varies with the size of the samples."""

    dispersion: Dispersion


def proportions(
    nonconforming: ArrayLike,
    sizes: ArrayLike,
    *,
    centre: float | None = None,
    limits: Limits = "three sigma",
    false_alarms: float = FALSE_ALARMS,
) -> Attributes:
    """Proportions nonconforming, in samples whose sizes may vary.

    Parameters
    ----------
    nonconforming : shape (n,), whole numbers; ``sizes`` one for all or shape (n,), the number inspected.
    centre : the long-run proportion, if known; else all nonconforming over all inspected.
    limits : "three sigma", or "probability" for exact binomial limits: a point beyond either has a chance of
        at most ``false_alarms`` / 2.

    Raises
    ------
    Refusal
        For a negative or broken count, more nonconforming than inspected, or a proportion of all or none.

    >>> chart = proportions([2, 0, 3, 1], sizes=[50, 40, 60, 50])
    >>> round(chart.centre, 3), chart.upper.round(3).tolist()
    (0.03, [0.102, 0.111, 0.096, 0.102])
    """
    counted = whole_counts(nonconforming, "The number nonconforming")
    inspected = _sizes(sizes, counted, whole_numbers=True)
    wrong = np.flatnonzero(counted > inspected)
    if wrong.size:
        raise Refusal(
            "Sample {place} has {counted} nonconforming of {inspected} inspected.",
            place=int(wrong[0]) + 1,
            counted=int(counted[wrong[0]]),
            inspected=int(inspected[wrong[0]]),
        )
    middle = float(counted.sum() / inspected.sum()) if centre is None else centre
    if not 0 < middle < 1:
        raise Refusal(
            "No limits follow from a proportion of {given}: give the long-run proportion as the centre.",
            given=middle,
        )
    variance = middle * (1 - middle)
    bounds = None
    if limits == "probability":
        from scipy.stats import binom

        bounds = _exact(binom(inspected, middle), false_alarms)
    return _chart(counted, inspected, middle, variance, bounds, centre, most=1.0)


def counts(
    values: ArrayLike,
    *,
    centre: float | None = None,
    limits: Limits = "three sigma",
    false_alarms: float = FALSE_ALARMS,
) -> Attributes:
    """Counts of nonconformities in samples of one size, taken to be Poisson; otherwise as ``rates``.

    >>> chart = counts([3, 5, 2, 6, 4])
    >>> float(chart.upper[0]), float(chart.lower[0])
    (10.0, 0.0)
    """
    counted = whole_counts(values, "The counts")
    return rates(counted, np.ones_like(counted), centre=centre, limits=limits, false_alarms=false_alarms)


def rates(
    counts: ArrayLike,
    sizes: ArrayLike,
    *,
    centre: float | None = None,
    limits: Limits = "three sigma",
    false_alarms: float = FALSE_ALARMS,
) -> Attributes:
    """Nonconformities for each unit of size (area, length, panels), taken to be Poisson.

    Parameters
    ----------
    counts : shape (n,), whole numbers; ``sizes`` one for all or shape (n,), above zero, not only whole.
    centre : the long-run rate, if known; else all counts over all sizes.
    limits : "three sigma", or "probability" for exact Poisson limits as in ``proportions``.

    Raises
    ------
    Refusal
        For a negative or broken count, a size not above zero, or no nonconformity at all and no centre given.

    >>> rates([4, 6, 2], sizes=[2.0, 3.0, 1.0]).points.tolist()
    [2.0, 2.0, 2.0]
    """
    counted = whole_counts(counts, "The counts")
    amounts = _sizes(sizes, counted, whole_numbers=False)
    middle = float(counted.sum() / amounts.sum()) if centre is None else centre
    if middle == 0:
        raise Refusal("No limits follow from no nonconformity at all: give the long-run rate as the centre.")
    positive(middle, "The centre line")
    bounds = None
    if limits == "probability":
        from scipy.stats import poisson

        bounds = _exact(poisson(amounts * middle), false_alarms)
    return _chart(counted, amounts, middle, middle, bounds, centre, most=np.inf)


def _chart(
    counted: Floats,
    sizes: Floats,
    centre: float,
    variance: float,
    bounds: tuple[Floats, Floats] | None,
    given: float | None,
    most: float,
) -> Attributes:
    points, sigma = counted / sizes, np.sqrt(variance / sizes)
    lower, upper = (centre - 3 * sigma, centre + 3 * sigma)
    if bounds is not None:
        lower, upper = bounds[0] / sizes, bounds[1] / sizes
    return Attributes(
        points=points,
        centre=centre,
        lower=np.maximum(lower, 0.0),
        upper=np.minimum(upper, most),
        sigma=sigma,
        point_sigma=sigma,
        method="given" if given is not None else "from the centre line, by chance alone",
        dispersion=_dispersion((points - centre) / sigma, estimated=given is None),
    )


def _exact(chance: Discrete, false_alarms: float) -> tuple[Floats, Floats]:
    """The least and the largest count that are no signal: each tail beyond holds at most half the risk."""
    half = share(false_alarms, "The share of false alarms") / 2
    return np.asarray(chance.ppf(half), dtype=np.float64), np.asarray(chance.isf(half), dtype=np.float64)


def _dispersion(standardised: Floats, estimated: bool) -> Dispersion:
    from scipy.special import chdtr, chdtrc

    freedom = standardised.size - estimated
    statistic = float(standardised @ standardised)
    if freedom == 0:
        return Dispersion(0.0, 0, 1.0, 1.0, 1.0)
    return Dispersion(
        statistic=statistic,
        degrees_of_freedom=freedom,
        ratio=statistic / freedom,
        p_over=float(chdtrc(freedom, statistic)),
        p_under=float(chdtr(freedom, statistic)),
    )


def _sizes(sizes: ArrayLike, counted: Floats, whole_numbers: bool) -> Floats:
    flat = np.full_like(counted, sizes) if np.ndim(sizes) == 0 else sizes
    amounts = whole_counts(flat, "The sizes") if whole_numbers else series(flat, name="The sizes")
    if amounts.size != counted.size:
        raise Refusal("{counts} counts came with {sizes} sizes.", counts=counted.size, sizes=amounts.size)
    wrong = np.flatnonzero(amounts < SMALLEST)
    if wrong.size:
        raise Refusal(
            "Sample {place} has size {given}; a size is above zero.",
            place=int(wrong[0]) + 1,
            given=float(amounts[wrong[0]]),
        )
    return amounts
