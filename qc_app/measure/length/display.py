"""How a length is printed: feet, inches and a fraction, or millimetres."""

from fractions import Fraction
from typing import Literal

from qc_app.measure.length.exact import Length
from qc_app.refusal import Refusal

System = Literal["imperial", "metric"]

GRADUATIONS = (1, 2, 4, 8, 16, 32, 64)
"""Parts of an inch that tapes are divided into."""

MINUS = "−"


def format_length(
    length: Length, denominator: int = 16, system: System = "imperial", *, decimals: int = 1
) -> str:
    """``length`` as the trade writes it, rounded to a graduation.

    - Imperial: feet, inches and a reduced fraction, to the nearest ``1/denominator`` of an inch (1, 2, 4 …
      64); less than a foot prints only inches.
    - Metric: millimetres, with at most ``decimals`` places and no idle zeros.

    A value half-way between two graduations goes to the even one (NIST Handbook 44, section 10.3). A negative
    length carries a minus sign (U+2212), unless it rounds to zero.

    Raises ``Refusal`` for an unknown graduation or system.

    >>> format_length(Length(Fraction(5363, 16)))
    '27\\' 11 3/16"'
    >>> format_length(Length.from_millimetres(8514), system="metric")
    '8514 mm'
    """
    size, is_zero = _size(abs(length), denominator, system, decimals)
    return size if length.inches >= 0 or is_zero else MINUS + size


def format_deviation(
    length: Length, denominator: int = 16, system: System = "imperial", *, decimals: int = 1
) -> str:
    """``length`` as a deviation from a target: as ``format_length``, and a plus sign where it is above.

    >>> format_deviation(Length(Fraction(1, 16))), format_deviation(Length(0))
    ('+1/16"', '0"')
    """
    size, is_zero = _size(abs(length), denominator, system, decimals)
    if is_zero:
        return size
    return ("+" if length.inches > 0 else MINUS) + size


def _size(length: Length, denominator: int, system: str, decimals: int) -> tuple[str, bool]:
    """The length without its sign, as printed, and whether it was rounded to zero."""
    if system == "metric":
        return _millimetres(length, decimals)
    if system != "imperial":
        raise Refusal("Lengths are shown as imperial or metric, not “{system}”.", system=system)
    if denominator not in GRADUATIONS:
        raise Refusal(
            "An inch is divided into 1, 2, 4, 8, 16, 32 or 64 parts, not {denominator}.",
            denominator=denominator,
        )
    return _feet_and_inches(length, denominator)


def _millimetres(length: Length, decimals: int) -> tuple[str, bool]:
    # round() of a Fraction is exact and takes the even neighbour at half-way
    steps = round(length.millimetres * 10**decimals)
    whole, part = divmod(steps, 10**decimals)
    digits = f"{part:0{decimals}d}".rstrip("0") if part else ""
    return f"{whole}.{digits} mm" if digits else f"{whole} mm", steps == 0


def _feet_and_inches(length: Length, denominator: int) -> tuple[str, bool]:
    steps = round(length.inches * denominator)
    feet, rest = divmod(steps, 12 * denominator)
    inches, part = divmod(rest, denominator)
    numbers = [str(inches)] if inches or feet or not part else []
    if part:
        numbers.append(str(Fraction(part, denominator)))
    size = " ".join(numbers) + '"'
    return f"{feet}' {size}" if feet else size, steps == 0
