"""Decimal numbers as people type them, read exactly.

A point is always a decimal point. A comma is a decimal comma only where it cannot be a separator of
thousands: ``1,5`` and ``0,125`` are read, ``8,514`` is refused, since one reader sees eight and a half,
another eight thousand. Digits are the ten ASCII digits: look-alikes from other scripts are refused.
"""

import re
from fractions import Fraction

from qc_app.refusal import Refusal, shortened

LONGEST_ENTRY = 40
"""Characters looked at; anything longer is refused before any pattern is tried."""

DECIMAL = r"[0-9]+(?:[.,][0-9]+)?|\.[0-9]+"

_DECIMAL = re.compile(DECIMAL)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u200a\u202f"), " ")


def tidied(text: str) -> str:
    """``text`` with every run of spaces, no-break ones too, as one space and none at the ends."""
    return " ".join(text.translate(_SPACES).split())


def is_thousands_or_decimal(number: str) -> bool:
    """Whether the comma in ``number`` can be read both ways.

    >>> is_thousands_or_decimal("8,514"), is_thousands_or_decimal("8,5"), is_thousands_or_decimal("0,125")
    (True, False, False)
    """
    return _THOUSANDS.fullmatch(number) is not None


def decimal_number(text: str) -> Fraction:
    """The exact value of one plain decimal number.

    Raises ``Refusal`` for anything else: a sign, an exponent, several numbers, an ambiguous comma.

    >>> decimal_number("14,5")
    Fraction(29, 2)
    """
    if _DECIMAL.fullmatch(text) is None:
        raise Refusal("“{given}” is not a plain number such as 14 or 14.5.", given=shortened(text))
    if is_thousands_or_decimal(text):
        raise Refusal(
            "The comma in “{given}” can mean thousands or decimals. Write a decimal point, or no comma.",
            given=shortened(text),
        )
    return Fraction(text.replace(",", "."))


def exact(value: float | Fraction, name: str) -> Fraction:
    """``value`` as an exact fraction; a float stands for the binary fraction it holds.

    Raises ``Refusal`` naming the quantity when the value is not a finite number.
    """
    try:
        return Fraction(value)
    except (ValueError, OverflowError):
        raise Refusal("The {name} must be a finite number, not {value}.", name=name, value=value) from None
