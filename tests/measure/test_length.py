"""Lengths are exact, whatever unit they came in."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.length import Length
from qc_app.refusal import Refusal

LENGTHS = st.integers(-(10**15), 10**15).map(Length.from_nanometres)


def test_an_inch_is_exactly_25_4_millimetres() -> None:
    # NIST SP 811 (2008), appendix B.8: inch to centimetre, 2.54 exactly; 16 CFR 500.19(a)
    assert Length.from_inches(1).millimetres == Fraction("25.4")
    assert Length.from_inches(12).millimetres == Fraction("304.8")


def test_a_64th_of_an_inch_is_a_whole_number_of_nanometres() -> None:
    assert Length(Fraction(1, 64)).nanometres == 396_875


def test_a_third_of_an_inch_cannot_be_stored() -> None:
    with pytest.raises(Refusal, match="1/3"):
        _ = Length(Fraction(1, 3)).nanometres


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_length_is_finite(value: float) -> None:
    with pytest.raises(Refusal, match="finite"):
        Length.from_inches(value)
    with pytest.raises(Refusal, match="finite"):
        Length.from_millimetres(value)


def test_a_float_stands_for_the_binary_fraction_it_holds() -> None:
    assert Length.from_inches(335.1875).inches == Fraction(5363, 16)
    assert Length.from_inches(0.1).inches != Fraction(1, 10)


@given(LENGTHS)
def test_storage_gives_back_the_same_length(length: Length) -> None:
    assert Length.from_nanometres(length.nanometres) == length
    assert Length.from_millimetres(length.millimetres) == length


@given(LENGTHS, LENGTHS)
def test_lengths_add_subtract_and_order_like_their_nanometres(one: Length, other: Length) -> None:
    assert (one + other).nanometres == one.nanometres + other.nanometres
    assert (one - other) + other == one
    assert (one < other) == (one.nanometres < other.nanometres)
    assert abs(-one) == abs(one)


def test_a_length_is_scaled_by_rational_numbers_only() -> None:
    assert Length.from_inches(3) * Fraction(1, 2) == 2 * Length(Fraction(3, 4))
    with pytest.raises(TypeError):
        _ = Length.from_inches(3) * 0.5  # type: ignore[operator]
    with pytest.raises(TypeError):
        _ = Length.from_inches(3) + 1  # type: ignore[operator]
    with pytest.raises(TypeError):
        _ = Length.from_inches(3) - 1  # type: ignore[operator]
    assert float(Length(Fraction(1, 16))) == 0.0625
