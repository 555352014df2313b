"""Does a value meet its limits?"""

import math
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from qc_app.measure.length import Length
from qc_app.refusal import Refusal

Value = int | float | Fraction | Length


class Verdict(StrEnum):
    """What a reading says about its limits."""

    WITHIN = "within"
    OUTSIDE = "outside"
    UNCLEAR = "unclear"


@dataclass(frozen=True)
class Limits:
    """Limits of tolerance: a lower one, an upper one, or both; in the unit of the values judged by them.

    Raises ``Refusal`` when neither is given, when one is not finite, when the lower lies above the upper,
    or when one is a ``Length`` and the other a number.
    """

    lower: Value | None = None
    upper: Value | None = None

    def __post_init__(self) -> None:
        for limit in (self.lower, self.upper):
            if limit is not None:
                check_finite(limit, "limit")
        if self.lower is None and self.upper is None:
            raise Refusal("A tolerance needs a lower limit, an upper limit, or both.")
        if self.lower is not None and self.upper is not None and is_below(self.upper, self.lower):
            raise Refusal(
                "The lower limit {lower} is above the upper limit {upper}.",
                lower=self.lower,
                upper=self.upper,
            )


def judge(value: Value, limits: Limits) -> Verdict:
    """The verdict on ``value`` as it stands, compared exactly: on a limit is within.

    Raises ``Refusal`` for a value that is not finite, or a number where the limits are lengths.

    >>> judge(Fraction(1, 16), Limits(upper=Fraction(1, 16)))
    <Verdict.WITHIN: 'within'>
    """
    check_finite(value, "value")
    too_low = limits.lower is not None and is_below(value, limits.lower)
    too_high = limits.upper is not None and is_below(limits.upper, value)
    return Verdict.OUTSIDE if too_low or too_high else Verdict.WITHIN


def check_finite(value: Value, name: str) -> None:
    """Raise ``Refusal`` unless ``value`` is a finite number or a length."""
    if isinstance(value, float) and not math.isfinite(value):
        raise Refusal("The {name} must be a finite number, not {value}.", name=name, value=value)


def is_below(value: Value, limit: Value) -> bool:
    """Whether ``value`` is less than ``limit``; exact, a float standing for the binary fraction it holds."""
    if isinstance(value, Length) and isinstance(limit, Length):
        return value < limit
    if isinstance(value, Length) or isinstance(limit, Length):
        raise Refusal(
            "A length can only be compared with a length: {value} and {limit}.", value=value, limit=limit
        )
    return value < limit
