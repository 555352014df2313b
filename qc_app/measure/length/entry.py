"""What people type for a length, read exactly or refused.

Accepted:

- feet and inches: ``27' 11 3/16"``, ``27 ft 11 3/16 in``, ``12'-3 1/2"``
- feet-inches-sixteenths: ``27-11-3``
- feet-inches-fraction: ``12-3-1/2``
- inches: ``335 3/16``, ``335.1875``, ``3-1/2"``; a number without a unit is inches
- metric: ``8514 mm``, ``851.4 cm``, ``8.514 m``

Typographic primes, quotes, vulgar fractions and no-break spaces are read as what they stand for, a comma as
in ``qc_app.measure.entry``.

Refused:

- what two people could read differently: ``12 3``, ``12-3``, ``8,514``
- what no tape shows: thirds, 17/16, 14 inches beside feet
- what cannot be stored exactly in whole nanometres
"""

import re
from fractions import Fraction

from qc_app.measure.entry import DECIMAL, LONGEST_ENTRY, is_thousands_or_decimal, tidied
from qc_app.measure.length.exact import NANOMETRES_PER_INCH, Length
from qc_app.refusal import Refusal, shortened

LONGEST = Length.from_inches(12_000)
"""Longer than any panel, truck or tape: 1000 ft."""

_GRADUATIONS = (2, 4, 8, 16, 32, 64)
"""Parts of an inch whose fractions a tape can show; whole inches are written without one."""
_INCHES_PER_UNIT = {"mm": Fraction(10, 254), "cm": Fraction(100, 254), "m": Fraction(10_000, 254)}

_MARKS = str.maketrans({"′": "'", "’": "'", "‘": "'", "″": '"', "”": '"', "“": '"', "⁄": "/"})
_VULGAR = {
    **{"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"},
    **{"⅓": "1/3", "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6"},
}
_VULGAR_SIGN = re.compile(rf"(?P<whole>[0-9]?)(?P<sign>[{''.join(_VULGAR)}])")
_SIGNED = re.compile(r"^-|[+−–—﹣－]| -[0-9.]")

_QUANTITY = rf"(?:(?:(?P<whole>[0-9]+)[ -])?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)|(?P<decimal>{DECIMAL}))"
_FEET_MARK = r" ?(?:'|feet|foot|ft\.?)"
_INCH_MARK = r"(?: ?(?:\"|inches|inch|in\.?))?"
_METRIC = re.compile(rf"(?P<decimal>{DECIMAL}) ?(?P<unit>mm|cm|m)")
_FEET_AND_INCHES = re.compile(rf"(?P<feet>[0-9]+){_FEET_MARK}(?: - | |-)?{_QUANTITY}{_INCH_MARK}")
_FEET = re.compile(_QUANTITY + _FEET_MARK)
_INCHES = re.compile(_QUANTITY + _INCH_MARK)
_FEET_INCHES_SIXTEENTHS = re.compile(r"(?P<feet>[0-9]+)-(?P<whole>[0-9]+)-(?P<top>[0-9]+)")
_FEET_INCHES_FRACTION = re.compile(
    rf"(?P<feet>[0-9]+)-(?P<whole>[0-9]+)[ -](?P<top>[0-9]+)/(?P<bottom>[0-9]+){_INCH_MARK}"
)
_SEVERAL_NUMBERS = re.compile(rf"(?:{DECIMAL})(?:[ -](?:{DECIMAL}))+(?:[ -][0-9]+/[0-9]+)?{_INCH_MARK}")


class LengthRefused(Refusal):
    """An entry that is no length, or that could be read as more than one."""


def parse_length(text: str) -> Length:
    """The exact length that ``text`` states; a bare number is inches.

    Raises ``LengthRefused`` (a ``ValueError``) with a sentence that names the entry and what is accepted.

    >>> parse_length("27' 11 3/16\\"") == parse_length("27-11-3") == parse_length("335.1875")
    True
    >>> parse_length("12 3")
    Traceback (most recent call last):
    qc_app.measure.length.entry.LengthRefused: “12 3” can be read in two ways. Write 12' 3" or 12 3/16".
    """
    if len(text) > LONGEST_ENTRY:
        raise LengthRefused(
            "“{given}” is too long for a length: at most {limit} characters.",
            given=shortened(text),
            limit=LONGEST_ENTRY,
        )
    written = _spelled_out(text)
    if not written:
        raise LengthRefused("No length was entered. Write one such as 27' 11 3/16\" or 8514 mm.")
    if _SIGNED.search(written):
        raise LengthRefused("“{given}” has a sign. A measured length has none.", given=text)
    length = Length(_inches(written, text))
    _check_size(length, text)
    return length


def _spelled_out(text: str) -> str:
    """The entry with plain ASCII marks in lower case: ``11⅜″`` becomes ``11 3/8 "``."""
    spelled = _VULGAR_SIGN.sub(lambda sign: f"{sign['whole']} {_VULGAR[sign['sign']]} ".lstrip(), text)
    written = tidied(spelled.translate(_MARKS).replace("''", '"'))
    return written.lower() if written.isascii() else written


def _inches(written: str, given: str) -> Fraction:
    if match := _METRIC.fullmatch(written):
        return _decimal(match["decimal"], given) * _INCHES_PER_UNIT[match["unit"]]
    if match := _FEET_INCHES_SIXTEENTHS.fullmatch(written):
        return _feet_and_inches(match["feet"], _mixed(match["whole"], match["top"], "16", given), given)
    if match := _FEET_INCHES_FRACTION.fullmatch(written):
        inches = _mixed(match["whole"], match["top"], match["bottom"], given)
        return _feet_and_inches(match["feet"], inches, given)
    if match := _FEET_AND_INCHES.fullmatch(written):
        return _feet_and_inches(match["feet"], _quantity(match, given), given)
    if match := _FEET.fullmatch(written):
        return 12 * _quantity(match, given)
    if match := _INCHES.fullmatch(written):
        return _quantity(match, given)
    if _SEVERAL_NUMBERS.fullmatch(written):
        raise LengthRefused('“{given}” can be read in two ways. Write 12\' 3" or 12 3/16".', given=given)
    raise LengthRefused(
        "“{given}” is not a length. Write one such as 27' 11 3/16\", 27-11-3, 335.1875 or 8514 mm.",
        given=given,
    )


def _quantity(match: re.Match[str], given: str) -> Fraction:
    if match["decimal"] is not None:
        return _decimal(match["decimal"], given)
    return _mixed(match["whole"] or "0", match["top"], match["bottom"], given)


def _decimal(number: str, given: str) -> Fraction:
    if is_thousands_or_decimal(number):
        raise LengthRefused(
            "The comma in “{given}” can mean thousands or decimals. Write a decimal point, or no comma.",
            given=given,
        )
    return Fraction(number.replace(",", "."))


def _mixed(whole: str, top: str, bottom: str, given: str) -> Fraction:
    if int(bottom) not in _GRADUATIONS:
        raise LengthRefused(
            "“{given}” has a fraction that no tape shows: halves, 4ths, 8ths, 16ths, 32nds or 64ths.",
            given=given,
        )
    if int(top) >= int(bottom):
        raise LengthRefused("“{given}” has a fraction of an inch that is not less than 1.", given=given)
    return int(whole) + Fraction(int(top), int(bottom))


def _feet_and_inches(feet: str, inches: Fraction, given: str) -> Fraction:
    if inches >= 12:
        raise LengthRefused("“{given}” has 12 inches or more beside the feet.", given=given)
    return 12 * int(feet) + inches


def _check_size(length: Length, given: str) -> None:
    if length > LONGEST:
        raise LengthRefused("“{given}” is longer than 1000 ft. Check the unit.", given=given)
    if (length.inches * NANOMETRES_PER_INCH).denominator != 1:
        raise LengthRefused("“{given}” has more decimals than can be kept exactly.", given=given)
