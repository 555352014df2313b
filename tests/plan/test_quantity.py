"""Amounts in whole grains, read as people write them and written as the shop reads them."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.density import Density
from qc_app.plan.quantity import (
    GRAINS,
    Quantity,
    Units,
    axis_unit,
    density_grains,
    format_amount,
    format_difference,
    parse_amount,
    plotted,
)
from qc_app.refusal import Refusal
from tests.plan.conftest import INCH

IMPERIAL, METRIC = Units("imperial", 16), Units("metric", 16)

# kg/m³ for each lb/ft³, from the exact pound and foot (NIST SP 811, appendix B.8).
DENSITIES = [(1.5, 24.03), (2.0, 32.04), (3.0, 48.06), (3.5, 56.06), (4.0, 64.07), (4.5, 72.08)]


@pytest.mark.parametrize(
    ("quantity", "text", "grains"),
    [
        (Quantity.LENGTH, "1/64 in", 396_875),
        (Quantity.LENGTH, "1 mm", 1_000_000),
        (Quantity.LENGTH, "24'", 7_315_200_000),
        (Quantity.DENSITY, "3.5 lb/ft³", 3_500_000),
        (Quantity.DENSITY, "3.5 lb/ft3", 3_500_000),
        (Quantity.DENSITY, " 16.018463374 kg/m³", 1_000_000),
        (Quantity.MOISTURE, "18 %", 18_000_000),
        (Quantity.MOISTURE, "14,5", 14_500_000),
        (Quantity.COUNT, " 12 ", 12),
    ],
)
def test_an_amount_is_stored_as_whole_grains(quantity: Quantity, text: str, grains: int) -> None:
    assert parse_amount(quantity, text) == grains


@pytest.mark.parametrize(
    ("quantity", "text", "said"),
    [
        (Quantity.LENGTH, "3.5 lb/ft³", "3.5 lb/ft³"),
        (Quantity.DENSITY, "3.5", "“3.5”"),
        (Quantity.DENSITY, "-3.5 lb/ft³", "“-3.5 lb/ft³”"),
        (Quantity.DENSITY, "1e3 kg/m³", "“1e3 kg/m³”"),
        (Quantity.DENSITY, "٣ lb/ft³", "“٣ lb/ft³”"),
        (Quantity.DENSITY, "nan lb/ft³", "nan"),
        (Quantity.MOISTURE, "201 %", "201"),
        (Quantity.MOISTURE, "-1", "-1"),
        (Quantity.COUNT, "1.5", "“1.5”"),
        (Quantity.COUNT, "10000", "“10000”"),
        (Quantity.COUNT, "²", "“²”"),
        (Quantity.COUNT, "", "“”"),
    ],
)
def test_what_is_no_amount_is_refused_and_named(quantity: Quantity, text: str, said: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_amount(quantity, text)
    assert said in str(refused.value)


@pytest.mark.parametrize(("pounds", "kilograms"), DENSITIES)
def test_densities_are_shown_in_either_unit(pounds: float, kilograms: float) -> None:
    amount = parse_amount(Quantity.DENSITY, f"{pounds} lb/ft³")
    assert format_amount(Quantity.DENSITY, amount, IMPERIAL) == f"{pounds:.2f} lb/ft³"
    assert format_amount(Quantity.DENSITY, amount, METRIC) == f"{kilograms:.1f} kg/m³"
    assert plotted(Quantity.DENSITY, amount, IMPERIAL) == pounds
    assert plotted(Quantity.DENSITY, amount, METRIC) == pytest.approx(kilograms, abs=0.005)
    assert abs(parse_amount(Quantity.DENSITY, f"{kilograms} kg/m³") - amount) <= 0.005 / 16 * GRAINS


@pytest.mark.parametrize(
    ("quantity", "amount", "imperial", "metric"),
    [
        (Quantity.LENGTH, 5363 * INCH // 16, "27' 11 3/16\"", "8513.8 mm"),
        (Quantity.LENGTH, 0, '0"', "0 mm"),
        (Quantity.MOISTURE, 14_500_000, "14.5 %", "14.5 %"),
        (Quantity.COUNT, 3, "3", "3"),
    ],
)
def test_an_amount_is_written_as_the_shop_writes_it(
    quantity: Quantity, amount: int, imperial: str, metric: str
) -> None:
    assert format_amount(quantity, amount, IMPERIAL) == imperial
    assert format_amount(quantity, amount, METRIC) == metric


@pytest.mark.parametrize(
    ("quantity", "amount", "text"),
    [
        (Quantity.LENGTH, INCH // 16, '+1/16"'),
        (Quantity.LENGTH, -INCH // 16, '−1/16"'),
        (Quantity.LENGTH, 0, '0"'),
        (Quantity.DENSITY, 250_000, "+0.25 lb/ft³"),
        (Quantity.DENSITY, -250_000, "−0.25 lb/ft³"),
        (Quantity.DENSITY, 0, "0.00 lb/ft³"),
        (Quantity.MOISTURE, -1_500_000, "−1.5 %"),
        (Quantity.COUNT, 2, "+2"),
    ],
)
def test_a_difference_always_has_its_sign(quantity: Quantity, amount: int, text: str) -> None:
    assert format_difference(quantity, amount, IMPERIAL) == text


@given(st.integers(0, 100 * 12 * 64), st.sampled_from([16, 32, 64]))
def test_a_length_on_the_graduation_is_read_back_exactly(steps: int, denominator: int) -> None:
    amount = steps * INCH // denominator
    units = Units("imperial", denominator)
    assert parse_amount(Quantity.LENGTH, format_amount(Quantity.LENGTH, amount, units)) == amount


@given(st.integers(0, 300_000))
def test_tenths_of_a_millimetre_are_read_back_exactly(tenths: int) -> None:
    amount = tenths * 100_000
    assert parse_amount(Quantity.LENGTH, format_amount(Quantity.LENGTH, amount, METRIC)) == amount


@given(st.integers(0, 20_000_000), st.sampled_from([IMPERIAL, METRIC]))
def test_a_density_is_read_back_to_the_last_digit_shown(amount: int, units: Units) -> None:
    half_a_digit = 0.005 if units is IMPERIAL else 0.05 / 16.0184
    back = parse_amount(Quantity.DENSITY, format_amount(Quantity.DENSITY, amount, units))
    assert abs(back - amount) <= half_a_digit * GRAINS + 1


@given(st.integers(0, 200_000_000))
def test_moisture_is_read_back_to_the_last_digit_shown(amount: int) -> None:
    back = parse_amount(Quantity.MOISTURE, format_amount(Quantity.MOISTURE, amount, IMPERIAL))
    assert abs(back - amount) <= GRAINS // 20


@given(st.integers(0, 9999))
def test_a_count_is_read_back_exactly(count: int) -> None:
    assert parse_amount(Quantity.COUNT, format_amount(Quantity.COUNT, count, METRIC)) == count


@given(st.sampled_from(Quantity), st.text(max_size=30))
def test_any_text_gives_whole_grains_or_a_refusal(quantity: Quantity, text: str) -> None:
    try:
        amount = parse_amount(quantity, text)
    except Refusal:
        return
    assert type(amount) is int
    assert amount >= 0


@pytest.mark.parametrize(
    ("quantity", "imperial", "metric"),
    [
        (Quantity.LENGTH, "in", "mm"),
        (Quantity.DENSITY, "lb/ft³", "kg/m³"),
        (Quantity.MOISTURE, "%", "%"),
        (Quantity.COUNT, "", ""),
    ],
)
def test_an_axis_has_the_unit_of_the_shop(quantity: Quantity, imperial: str, metric: str) -> None:
    assert (axis_unit(quantity, IMPERIAL), axis_unit(quantity, METRIC)) == (imperial, metric)


def test_plotted_numbers_are_in_the_unit_of_the_axis() -> None:
    assert plotted(Quantity.LENGTH, INCH // 16, IMPERIAL) == 0.0625
    assert plotted(Quantity.LENGTH, INCH, METRIC) == 25.4
    assert plotted(Quantity.MOISTURE, 14_500_000, METRIC) == 14.5
    assert plotted(Quantity.COUNT, 4, METRIC) == 4


def test_a_measured_density_is_stored_to_the_millionth_of_a_pound() -> None:
    assert density_grains(Density(16.018463373960138)) == 1_000_000
    pounds = Fraction(1) / (Fraction("0.45359237") / Fraction("0.3048") ** 3)
    assert density_grains(Density(60.0)) == round(60 * pounds * 1_000_000) == 3_745_678
