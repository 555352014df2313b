"""The exact length: a rational number of inches.

1 in = 25.4 mm exactly (NIST SP 811, appendix B.8), so every graduation of a tape, 1/64 in or 1 mm, is a whole
number of nanometres and can be stored as an integer.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.entry import exact
from qc_app.refusal import Refusal

MILLIMETRES_PER_INCH = Fraction(254, 10)
NANOMETRES_PER_INCH = 25_400_000


def positive_inches(size: Length | float | Fraction, name: str) -> Fraction:
    """The exact inches of a size that must be more than zero; a plain number is inches.

    Raises ``Refusal`` naming the quantity.
    """
    inches = size.inches if isinstance(size, Length) else exact(size, name)
    if inches <= 0:
        raise Refusal("The {name} must be more than zero, not {inches} in.", name=name, inches=float(inches))
    return inches


@dataclass(frozen=True, order=True, slots=True)
class Length:
    """A length or a difference of lengths, in inches, exact; negative for a deviation below its target.

    Any rational number of inches can be held; a float is taken as the binary fraction it is.

    Raises ``Refusal`` for NaN and infinity.

    >>> Length.from_millimetres(8514) - Length(335)
    Length(inches=Fraction(25, 127))
    """

    inches: Fraction

    def __post_init__(self) -> None:
        object.__setattr__(self, "inches", exact(self.inches, "length"))

    @classmethod
    def from_inches(cls, inches: float | Fraction) -> Length:
        """The length of so many inches: whole, fraction, or a float with the exact value it holds."""
        return cls(exact(inches, "length"))

    @classmethod
    def from_millimetres(cls, millimetres: float | Fraction) -> Length:
        """The length of so many millimetres."""
        return cls(exact(millimetres, "length") / MILLIMETRES_PER_INCH)

    @classmethod
    def from_nanometres(cls, nanometres: int) -> Length:
        """The length of so many nanometres, as stored."""
        return cls(Fraction(nanometres, NANOMETRES_PER_INCH))

    @property
    def millimetres(self) -> Fraction:
        return self.inches * MILLIMETRES_PER_INCH

    @property
    def nanometres(self) -> int:
        """The whole number of nanometres, for storage.

        Raises ``Refusal`` when the length is not a whole number of them, as a third of an inch is not.

        >>> Length(Fraction(1, 64)).nanometres
        396875
        """
        nanometres = self.inches * NANOMETRES_PER_INCH
        if nanometres.denominator != 1:
            raise Refusal("A length of {inches} in is not a whole number of nanometres.", inches=self.inches)
        return nanometres.numerator

    def __add__(self, other: Length) -> Length:
        return Length(self.inches + other.inches) if isinstance(other, Length) else NotImplemented

    def __sub__(self, other: Length) -> Length:
        return Length(self.inches - other.inches) if isinstance(other, Length) else NotImplemented

    def __mul__(self, factor: int | Fraction) -> Length:
        return Length(self.inches * factor) if isinstance(factor, int | Fraction) else NotImplemented

    __rmul__ = __mul__

    def __neg__(self) -> Length:
        return Length(-self.inches)

    def __abs__(self) -> Length:
        return Length(abs(self.inches))

    def __float__(self) -> float:
        """Inches, rounded to the nearest float."""
        return float(self.inches)
