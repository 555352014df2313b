"""Lengths are printed as the trade writes them, and read back as the same length."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.length import Length, format_deviation, format_length, parse_length
from qc_app.refusal import Refusal


@pytest.mark.parametrize(
    ("inches", "printed"),
    [
        (Fraction(5363, 16), "27' 11 3/16\""),
        (Fraction(5187, 16), "27' 0 3/16\""),
        (324, "27' 0\""),
        (Fraction(23, 2), '11 1/2"'),
        (Fraction(8, 16), '1/2"'),
        (0, '0"'),
        (Fraction(-1, 16), '−1/16"'),
        (Fraction(-5363, 16), "−27' 11 3/16\""),
        (Fraction(-1, 100), '0"'),
        (Fraction(383, 32), "1' 0\""),
    ],
)
def test_feet_inches_and_a_reduced_fraction(inches: Fraction | int, printed: str) -> None:
    assert format_length(Length.from_inches(inches)) == printed


@pytest.mark.parametrize(
    ("millimetres", "printed"),
    [
        ("8514", "8514 mm"),
        ("8514.5", "8514.5 mm"),
        ("-1.5", "−1.5 mm"),
        ("0.04", "0 mm"),
        ("8513.7625", "8513.8 mm"),
    ],
)
def test_millimetres_with_decimals_only_where_needed(millimetres: str, printed: str) -> None:
    assert format_length(Length.from_millimetres(Fraction(millimetres)), system="metric") == printed


def test_millimetres_can_be_printed_to_the_nanometre() -> None:
    assert format_length(Length(Fraction(1, 64)), system="metric", decimals=6) == "0.396875 mm"
    assert format_length(Length.from_inches(1), system="metric", decimals=0) == "25 mm"


@pytest.mark.parametrize(
    ("inches", "printed"),
    [(Fraction(1, 16), '+1/16"'), (Fraction(-1, 16), '−1/16"'), (0, '0"'), (Fraction(1, 99), '0"')],
)
def test_a_deviation_always_shows_its_sign(inches: Fraction | int, printed: str) -> None:
    assert format_deviation(Length.from_inches(inches)) == printed


def test_a_deviation_in_millimetres_shows_its_sign() -> None:
    assert format_deviation(Length.from_millimetres(Fraction("1.5")), system="metric") == "+1.5 mm"
    assert format_deviation(Length.from_millimetres(-2), system="metric") == "−2 mm"


@pytest.mark.parametrize(("halves", "sixteenths"), [(9, 4), (11, 6), (13, 6), (15, 8), (1, 0), (3, 2)])
def test_half_way_between_two_graduations_is_read_as_the_even_one(halves: int, sixteenths: int) -> None:
    # NIST Handbook 44, section 10.3: 4.5, 5.5, 6.5, 7.5, 0.5 and 1.5 sixteenths; half-up
    # would give 5, 6, 7, 8, 1, 2
    printed = format_length(Length(Fraction(halves, 32)), 16)
    assert parse_length(printed).inches * 16 == sixteenths


def test_an_inch_is_divided_as_tapes_are() -> None:
    with pytest.raises(Refusal, match="10"):
        format_length(Length.from_inches(1), 10)
    with pytest.raises(Refusal, match="cubits"):
        format_length(Length.from_inches(1), system="cubits")  # type: ignore[arg-type]


@given(st.integers(0, 100 * 12 * 64))
def test_every_64th_to_100_feet_is_read_back(steps: int) -> None:
    length = Length(Fraction(steps, 64))
    assert parse_length(format_length(length, 64)) == length
    assert parse_length(format_length(length, system="metric", decimals=6)) == length


@given(st.integers(0, 30_480))
def test_every_millimetre_to_100_feet_is_read_back(millimetres: int) -> None:
    length = Length.from_millimetres(millimetres)
    assert parse_length(format_length(length, system="metric")) == length


def test_the_first_ten_feet_are_read_back_one_by_one() -> None:
    for steps in range(10 * 12 * 64 + 1):
        length = Length(Fraction(steps, 64))
        assert parse_length(format_length(length, 64)) == length
