"""Which simple distribution describes values best, and capability from its percentiles.

Source of the percentile method: ISO 22514-2. All candidates have two parameters, fitted by maximum
likelihood, so the likeliest is the best.
"""

import math
import warnings
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.capability_indices import Indices, check_limits
from qc_app.spc.moments import mean, standard_deviation
from qc_app.spc.series import Floats, positive, series

LOW, HIGH = 0.00135, 0.99865
"""Shares below the percentiles that take the place of minus and plus three sigma."""

EVERYWHERE = {
    "normal": "norm",
    "logistic": "logistic",
    "largest value": "gumbel_r",
    "smallest value": "gumbel_l",
}
POSITIVE = {"lognormal": "lognorm", "gamma": "gamma", "Weibull": "weibull_min"}


@dataclass(frozen=True)
class Fitted:
    """A distribution fitted to values: its 0.135 %, 50 % and 99.865 % percentiles and its log-likelihood."""

    name: str
    low: float
    median: float
    high: float
    log_likelihood: float
    parameters: tuple[float, ...]

    def share_outside(self, lower: float | None, upper: float | None) -> float:
        """Share of the distribution outside limits of tolerance."""
        found = _frozen(self.name, self.parameters)
        below = 0.0 if lower is None else float(found.cdf(lower))
        return below + (0.0 if upper is None else float(found.sf(upper)))

    def indices(self, lower: float | None, upper: float | None) -> Indices:
        """Capability by percentiles: distances from the median over those of the percentiles."""
        check_limits(lower, upper)
        below = None if lower is None else (self.median - lower) / (self.median - self.low)
        above = None if upper is None else (upper - self.median) / (self.high - self.median)
        width = None if lower is None or upper is None else (upper - lower) / (self.high - self.low)
        return Indices(width, below, above, min(side for side in (below, above) if side is not None), None)


def fit(values: ArrayLike, name: str) -> Fitted:
    """The distribution of that name, fitted to values of shape (n,), n ≥ 3.

    Raises
    ------
    Refusal
        For an unknown name, values that do not vary, or values not above zero where it needs them.
    """
    points = series(values, fewest=3)
    positive(standard_deviation(points), "The standard deviation of the values")
    known = EVERYWHERE | POSITIVE
    if name not in known:
        raise Refusal("No distribution “{given}”. Known: {known}.", given=name, known=", ".join(known))
    if name in POSITIVE and points.min() <= 0:
        raise Refusal(
            "The {name} distribution needs values above zero. Given: {given}.",
            name=name,
            given=float(points.min()),
        )
    try:
        # A search for the maximum may try parameters that overflow; only what it ends with counts.
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fitted = _fitted(points, name)
    except (ValueError, ArithmeticError, RuntimeError):
        fitted = None
    if fitted is None or not (fitted.low < fitted.median < fitted.high and math.isfinite(fitted.high)):
        raise Refusal("The {name} distribution does not fit these values.", name=name)
    return fitted


def best_fit(values: ArrayLike) -> Fitted:
    """The likeliest of the distributions that can describe the values.

    >>> import numpy as np
    >>> best_fit(np.exp(np.linspace(-2, 2, 41))).name
    'lognormal'
    """
    candidates = [fit(values, "normal")]
    for name in [*EVERYWHERE, *POSITIVE][1:]:
        # What cannot be fitted is no candidate.
        with suppress(Refusal):
            candidates.append(fit(values, name))
    return max(candidates, key=lambda fitted: fitted.log_likelihood)


def _fitted(points: Floats, name: str) -> Fitted:
    parameters = _likeliest(points, name)
    found = _frozen(name, parameters)
    low, median, high = (float(quantile) for quantile in found.ppf([LOW, 0.5, HIGH]))
    return Fitted(name, low, median, high, float(found.logpdf(points).sum()), parameters)


def _likeliest(points: Floats, name: str) -> tuple[float, ...]:
    """The parameters of greatest likelihood, found for values brought to the size of 1."""
    from scipy import stats

    if name == "normal":
        return mean(points), float(points.std())
    family = getattr(stats, (EVERYWHERE | POSITIVE)[name])
    origin = 0.0 if name in POSITIVE else mean(points)
    unit = mean(points) if name in POSITIVE else standard_deviation(points)
    fixed = {"floc": 0} if name in POSITIVE else {}
    *shape, place, scale = (float(p) for p in family.fit((points - origin) / unit, **fixed))
    return (*shape, origin + unit * place, unit * scale)


def _frozen(name: str, parameters: tuple[float, ...]) -> Any:  # a distribution of SciPy, which names no type
    from scipy import stats

    return getattr(stats, (EVERYWHERE | POSITIVE)[name])(*parameters)
