"""A value that limits can be set to: a plain number in a unit of its own, or a length."""

from __future__ import annotations

from fractions import Fraction

from qc_app.measure.entry import exact
from qc_app.measure.length import Length
from qc_app.refusal import Refusal

Value = int | float | Fraction | Length


def number(value: Value, name: str) -> Fraction:
    """``value`` as an exact fraction, a length in inches; ``Refusal`` when it is not finite."""
    return value.inches if isinstance(value, Length) else exact(value, name)


def check_same_kind(value: Value, other: Value) -> None:
    """Raise ``Refusal`` when one is a length and the other a plain number."""
    if isinstance(value, Length) != isinstance(other, Length):
        raise Refusal(
            "A length can only be compared with a length: {value} and {other}.",
            value=shown(value),
            other=shown(other),
        )


def shown(value: Value) -> str:
    """``value`` as a sentence shows it, with "in" after a length."""
    return f"{float(value):g} in" if isinstance(value, Length) else f"{float(value):g}"
