"""Bias of an instrument against references, and how it changes along the range.

Sources: AIAG, *Measurement Systems Analysis*, 4th edition, chapter III, section B; NIST/SEMATECH e-Handbook,
sections 2.1.4 and 4.4. Sums are taken in decimals (see ``moments``).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.capability_indices import Interval
from qc_app.spc.moments import decimals, exactly, mean, standard_deviation
from qc_app.spc.series import finite, series, share


@dataclass(frozen=True)
class Bias:
    """Mean reading less the reference, with its standard error, and the test of no bias (Student's t)."""

    bias: float
    standard_error: float
    degrees_of_freedom: int
    t: float
    p: float

    def interval(self, confidence: float = 0.95) -> Interval:
        """Confidence interval of the bias."""
        reach = _student(confidence, self.degrees_of_freedom) * self.standard_error
        return Interval(self.bias - reach, self.bias + reach)


@dataclass(frozen=True)
class Line:
    """A least-squares line with standard errors, and the t of no slope and no intercept.

    ``residual_deviation`` has n − 2 degrees of freedom; ``r_squared`` is the share of variance explained;
    ``mean_x`` is the mean of x and ``squares_x`` the sum of squared distances from it.
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    residual_deviation: float
    r_squared: float
    degrees_of_freedom: int
    mean_x: float
    squares_x: float

    @property
    def slope_t(self) -> float:
        """Slope over its standard error; infinite where the points lie on the line."""
        return self.slope / self.slope_error if self.slope_error else math.copysign(math.inf, self.slope)

    @property
    def intercept_t(self) -> float:
        """Intercept over its standard error; infinite where the points lie on the line."""
        return (
            self.intercept / self.intercept_error
            if self.intercept_error
            else math.copysign(math.inf, self.intercept)
        )

    def at(self, x: float) -> float:
        """The line's value there."""
        return self.intercept + self.slope * x

    def interval_at(self, x: float, confidence: float = 0.95) -> Interval:
        """Confidence interval of the line's value there."""
        n = self.degrees_of_freedom + 2
        error = self.residual_deviation * math.sqrt(1 / n + (x - self.mean_x) ** 2 / self.squares_x)
        reach = _student(confidence, self.degrees_of_freedom) * error
        return Interval(self.at(x) - reach, self.at(x) + reach)


@dataclass(frozen=True)
class Linearity:
    """Bias at each reference, the bias over all, and the line of bias against reference."""

    biases: dict[float, Bias]
    mean_bias: float
    line: Line

    def changes(self, level: float = 0.05) -> bool:
        """Whether the bias changes along the range by more than chance explains."""
        from scipy.special import stdtr

        freedom = self.line.degrees_of_freedom
        return 2 * float(stdtr(freedom, -abs(self.line.slope_t))) < share(level, "The level")


def bias(readings: ArrayLike, reference: float) -> Bias:
    """Bias of repeated readings of one reference.

    Raises
    ------
    Refusal
        For fewer than two readings, or one not finite.

    >>> found = bias([5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1], reference=6)
    >>> round(found.bias, 4), round(found.standard_error, 4), found.p > 0.05
    (0.025, 0.0566, True)
    """
    from scipy.special import stdtr

    points, true = series(readings, fewest=2), finite(reference, "The reference")
    away = decimals(points) - Decimal(repr(true))
    found, spread = mean([float(d) for d in away]), standard_deviation(points)
    error, freedom = spread / math.sqrt(points.size), points.size - 1
    if error == 0:
        certain = found == 0
        return Bias(
            found, 0.0, freedom, 0.0 if certain else math.copysign(math.inf, found), 1.0 if certain else 0.0
        )
    t = found / error
    return Bias(found, error, freedom, t, 2 * float(stdtr(freedom, -abs(t))))


def linearity(readings: Mapping[float, ArrayLike]) -> Linearity:
    """Bias along the range, from repeated readings of several references.

    Parameters
    ----------
    readings : from each reference to its readings; at least two references with two readings each.

    Raises
    ------
    Refusal
        For fewer references or readings, or one not finite.

    >>> found = linearity({2.0: [2.1, 2.0], 4.0: [4.2, 4.3], 6.0: [6.4, 6.3]})
    >>> round(found.line.slope, 3), round(found.mean_bias, 3)
    (0.075, 0.217)
    """
    if len(readings) < 2:
        raise Refusal("Linearity needs at least two references; {given} came.", given=len(readings))
    biases = {float(reference): bias(values, reference) for reference, values in readings.items()}
    pairs = [
        (float(reference), float(away))
        for reference, values in readings.items()
        for away in decimals(series(values)) - Decimal(repr(float(reference)))
    ]
    references, differences = zip(*pairs, strict=True)
    return Linearity(biases, mean(differences), straight_line(references, differences))


def straight_line(x: ArrayLike, y: ArrayLike) -> Line:
    """Least-squares line through points; shape (n,) each, n ≥ 3, with x not all equal.

    >>> found = straight_line([1, 2, 3, 4], [2.1, 3.9, 6.2, 7.8])
    >>> round(found.slope, 3), round(found.intercept, 3), round(found.r_squared, 4)
    (1.94, 0.15, 0.9957)
    """
    along, values = series(x, fewest=3, name="x"), series(y, fewest=3, name="y")
    if along.size != values.size:
        raise Refusal("{x} values of x came with {y} of y.", x=along.size, y=values.size)
    n = along.size
    with exactly():
        xs, ys = decimals(along), decimals(values)
        mean_x, mean_y = xs.sum() / n, ys.sum() / n
        dx, dy = xs - mean_x, ys - mean_y
        squares_x, squares_y, products = (dx * dx).sum(), (dy * dy).sum(), (dx * dy).sum()
        if squares_x == 0:
            raise Refusal("A line needs different values of x; all are {given}.", given=xs[0])
        slope = products / squares_x
        intercept = mean_y - slope * mean_x
        rest = ((ys - intercept - slope * xs) ** 2).sum()
        variance = rest / (n - 2)
        return Line(
            slope=float(slope),
            intercept=float(intercept),
            slope_error=float((variance / squares_x).sqrt()),
            intercept_error=float((variance * (Decimal(1) / n + mean_x**2 / squares_x)).sqrt()),
            residual_deviation=float(variance.sqrt()),
            r_squared=float(1 - rest / squares_y) if squares_y else 1.0,
            degrees_of_freedom=n - 2,
            mean_x=float(mean_x),
            squares_x=float(squares_x),
        )


def _student(confidence: float, freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, (1 + share(confidence, "The confidence")) / 2))
