"""Limits that follow from a size: fixed, pro rata or banded.

"1/8 in" can mean 1/8 in whatever the size, 1/8 in for every so many feet, or one row of a table. Trades
differ, so a tolerance always says which. Each kind gives the permitted deviation for a size; all arithmetic
is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Protocol

from qc_app.measure.conformity import Limits
from qc_app.measure.length import Length
from qc_app.measure.value import Value, check_same_kind, number, shown
from qc_app.refusal import Refusal


class Tolerance(Protocol):
    """Anything that says by how much a characteristic of a given size may deviate."""

    def deviation(self, size: Value) -> Value:
        """The permitted deviation for ``size``."""
        ...


@dataclass(frozen=True)
class Fixed:
    """The same deviation for every size."""

    permitted: Value

    def __post_init__(self) -> None:
        _check_not_negative(self.permitted, "permitted deviation")

    def deviation(self, size: Value) -> Value:
        _check_positive(size, "size")
        return self.permitted


@dataclass(frozen=True)
class ProRata:
    """``permitted`` for every ``per`` of size, in proportion: 3/4 in per 100 ft."""

    permitted: Value
    per: Value

    def __post_init__(self) -> None:
        _check_not_negative(self.permitted, "permitted deviation")
        _check_positive(self.per, "reference size")

    def deviation(self, size: Value) -> Value:
        check_same_kind(size, self.per)
        _check_positive(size, "size")
        return _scaled(self.permitted, number(size, "size") / number(self.per, "reference size"))


@dataclass(frozen=True)
class Banded:
    """A table of permitted deviations by size, as in DIN 18202.

    ``rows``          (size up to and including, permitted deviation), sizes rising
    ``interpolated``  False: the row of the first size not below the given one; True: linear between rows,
                      where the standard says so, and the first row for smaller sizes
    ``rounded_to``    an interpolated deviation goes to the nearest multiple of this, half-way to the even one
    ``beyond``        deviation above the last size; None refuses such a size, as a table without entry does
    """

    rows: tuple[tuple[Value, Value], ...]
    interpolated: bool = False
    rounded_to: Value | None = None
    beyond: Value | None = None

    def __post_init__(self) -> None:
        if not self.rows:
            raise Refusal("A table of limits needs at least one row.")
        for size, permitted in self.rows:
            _check_positive(size, "size")
            _check_not_negative(permitted, "permitted deviation")
            check_same_kind(size, self.rows[0][0])
            check_same_kind(permitted, self.rows[0][1])
        if any(number(one, "size") >= number(other, "size") for (one, _), (other, _) in pairwise(self.rows)):
            raise Refusal("The sizes of a table of limits must rise.")

    def deviation(self, size: Value) -> Value:
        check_same_kind(size, self.rows[0][0])
        _check_positive(size, "size")
        at = number(size, "size")
        above = next((row for row, (limit, _) in enumerate(self.rows) if at <= number(limit, "size")), None)
        if above is None:
            if self.beyond is None:
                raise Refusal(
                    "The table of limits ends at {last}, before {size}.",
                    last=shown(self.rows[-1][0]),
                    size=shown(size),
                )
            return self.beyond
        if not self.interpolated or above == 0:
            return self.rows[above][1]
        return self._between(above, at)

    def _between(self, above: int, at: Fraction) -> Value:
        (start, low), (end, high) = self.rows[above - 1], self.rows[above]
        first, last = number(low, "deviation"), number(high, "deviation")
        along = (at - number(start, "size")) / (number(end, "size") - number(start, "size"))
        found = first + along * (last - first)
        if self.rounded_to is not None:
            unit = number(self.rounded_to, "rounding")
            found = round(found / unit) * unit
        return Length(found) if isinstance(high, Length) else found


def plus_minus(target: Value, tolerance: Tolerance, *, rounded_to: Value | None = None) -> Limits:
    """Limits at either side of ``target``, whose own size decides the permitted deviation.

    >>> plus_minus(Length(Fraction(96)), Fixed(Length(Fraction(1, 16)))).upper
    Length(inches=Fraction(1537, 16))
    """
    permitted = tolerance.deviation(target)
    check_same_kind(target, permitted)
    at, by = number(target, "target"), number(permitted, "permitted deviation")
    lower, upper = at - by, at + by
    if isinstance(target, Length):
        return Limits(Length(lower), Length(upper), rounded_to)
    return Limits(lower, upper, rounded_to)


def deviation_limits(size: Value, tolerance: Tolerance, *, rounded_to: Value | None = None) -> Limits:
    """Limits of a deviation that should be zero (out of square, bow, gap) on a part of ``size``."""
    permitted = tolerance.deviation(size)
    return Limits(_scaled(permitted, Fraction(-1)), permitted, rounded_to)


def at_most(size: Value, tolerance: Tolerance, *, rounded_to: Value | None = None) -> Limits:
    """The upper limit alone, for a quantity that has no sign (a gap under a straightedge)."""
    return Limits(upper=tolerance.deviation(size), rounded_to=rounded_to)


def _scaled(value: Value, factor: Fraction) -> Value:
    scaled = number(value, "permitted deviation") * factor
    return Length(scaled) if isinstance(value, Length) else scaled


def _check_not_negative(value: Value, name: str) -> None:
    if number(value, name) < 0:
        raise Refusal("The {name} must not be negative, not {value}.", name=name, value=shown(value))


def _check_positive(value: Value, name: str) -> None:
    if number(value, name) <= 0:
        raise Refusal("The {name} must be more than zero, not {value}.", name=name, value=shown(value))
