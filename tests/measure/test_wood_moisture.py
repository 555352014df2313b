"""Wood and the climate around it, against the tables of the Wood Handbook."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.moisture import CorrectionTable, dew_point, equilibrium_moisture_content
from qc_app.measure.shrinkage import (
    CEDAR_AND_REDWOOD_WIDTH,
    THICKNESS,
    WIDTH,
    change_by_coefficient,
    change_by_shrinkage,
    change_coefficient,
    change_of_lumber,
)
from qc_app.refusal import Refusal

HUMIDITIES = np.arange(5.0, 100.0, 5.0)
# Wood Handbook FPL-GTR-282 (2021), table 4-2, partly from memory: °F, then percent moisture at 5, 10 … 95 %
# relative humidity. The equation stands beside the table and reproduces it to about half of its last digit.
TABLE_4_2 = {
    30: "1.4 2.6 3.7 4.6 5.5 6.3 7.1 7.9 8.7 9.5 10.4 11.3 12.4 13.5 14.9 16.5 18.5 21.0 24.3",
    40: "1.4 2.6 3.7 4.6 5.5 6.3 7.1 7.9 8.7 9.5 10.4 11.3 12.3 13.5 14.9 16.5 18.5 21.0 24.3",
    50: "1.4 2.6 3.6 4.6 5.5 6.3 7.1 7.9 8.7 9.5 10.3 11.2 12.3 13.4 14.8 16.4 18.4 20.9 24.3",
    60: "1.3 2.5 3.6 4.6 5.4 6.2 7.0 7.8 8.6 9.4 10.2 11.1 12.1 13.3 14.6 16.2 18.2 20.7 24.1",
    70: "1.3 2.5 3.5 4.5 5.4 6.2 6.9 7.7 8.5 9.2 10.1 11.0 12.0 13.1 14.4 16.0 17.9 20.5 23.9",
    80: "1.3 2.4 3.5 4.4 5.3 6.1 6.8 7.6 8.3 9.1 9.9 10.8 11.7 12.9 14.2 15.7 17.7 20.2 23.6",
    90: "1.2 2.3 3.4 4.3 5.1 5.9 6.7 7.4 8.1 8.9 9.7 10.5 11.5 12.6 13.9 15.4 17.3 19.8 23.3",
    100: "1.2 2.3 3.3 4.2 5.0 5.8 6.5 7.2 7.9 8.7 9.5 10.3 11.2 12.3 13.6 15.1 17.0 19.5 22.9",
}


@pytest.mark.parametrize("fahrenheit", TABLE_4_2)
def test_equilibrium_moisture_content(fahrenheit: int) -> None:
    celsius = np.full(19, (fahrenheit - 32) / 1.8)
    found = equilibrium_moisture_content(celsius, HUMIDITIES)
    assert np.abs(found - np.array(TABLE_4_2[fahrenheit].split(), dtype=float)).max() <= 0.06


@given(st.floats(0, 60), st.floats(0, 99), st.floats(0.1, 1))
def test_damper_air_makes_damper_wood(celsius: float, humidity: float, more: float) -> None:
    drier = equilibrium_moisture_content(celsius, humidity)
    assert 0 <= drier < equilibrium_moisture_content(celsius, humidity + more) < 40


@pytest.mark.parametrize(
    ("celsius", "humidity"), [(math.nan, 50), (20, math.nan), (20, -1), (20, 101), (200, 50)]
)
def test_a_climate_that_cannot_be_is_refused(celsius: float, humidity: float) -> None:
    with pytest.raises(Refusal, match="must lie between"):
        equilibrium_moisture_content(celsius, humidity)
    with pytest.raises(Refusal, match="must lie between"):
        dew_point(celsius, humidity)


def test_an_array_names_the_value_that_is_refused() -> None:
    with pytest.raises(Refusal, match=r"not 120\.0"):
        equilibrium_moisture_content(np.full(3, 20.0), np.array([50.0, 120.0, 60.0]))


# Saturation vapour pressure of water, hPa at °C: steam tables, from memory
@pytest.mark.parametrize(
    ("celsius", "pressure"), [(5, 8.725), (10, 12.281), (15, 17.056), (20, 23.388), (25, 31.690)]
)
def test_the_dew_point_is_where_the_vapour_is_saturated(celsius: float, pressure: float) -> None:
    assert dew_point(30, 100 * pressure / 42.455) == pytest.approx(celsius, abs=0.02)
    assert dew_point(celsius, 100) == pytest.approx(celsius, abs=1e-9)


def test_dry_air_has_no_dew_point() -> None:
    with pytest.raises(Refusal, match="no dew point"):
        dew_point(20, 0)


# Wood Handbook, tables 4-3 (shrinkage in percent) and 13-5 (coefficient × 10⁵), radial and tangential
SHRINKAGES = {
    "Alder, red": ((4.4, 7.3), (151, 256)),
    "Ash, black": ((5.0, 7.8), (172, 274)),
    "Aspen, quaking": ((3.5, 6.7), (119, 234)),
    "Basswood, American": ((6.6, 9.3), (230, 330)),
    "Beech, American": ((5.5, 11.9), (190, 431)),
    "Birch, yellow": ((7.3, 9.5), (256, 338)),
    "Cherry, black": ((3.7, 7.1), (126, 248)),
    "Cottonwood, eastern": ((3.9, 9.2), (133, 327)),
    "Elm, winged": ((5.3, 11.6), (183, 419)),
    "Hackberry": ((4.8, 8.9), (165, 315)),
    "Tupelo, black": ((5.1, 8.7), (176, 308)),
    "Walnut, black": ((5.5, 7.8), (190, 274)),
    # derived from table 4-3 by the same relation
    "Douglas-fir, coast": ((4.8, 7.6), (165, 267)),
    "Fir, white": ((3.3, 7.0), (112, 245)),
    "Western redcedar": ((2.4, 5.0), (81, 172)),
}


@pytest.mark.parametrize("species", SHRINKAGES)
def test_coefficients_follow_from_shrinkage(species: str) -> None:
    for shrinkage, coefficient in zip(*SHRINKAGES[species], strict=True):
        assert change_coefficient(shrinkage) * 1e5 == pytest.approx(coefficient, abs=1.01)


def test_a_board_of_white_fir() -> None:
    # Wood Handbook, chapter 13: 9.15 in (232 mm) flat-sawn white fir, 8 to 11 %; partly from memory:
    # 0.06725 in, 1.705 mm
    change = change_by_coefficient(9.15, 0.00245, 8, 11)
    assert change == pytest.approx(0.06725, abs=5e-6)
    assert change_by_coefficient(232, 0.00245, 8, 11) == pytest.approx(1.705, abs=5e-4)
    assert 9.15 + change == pytest.approx(9.217, abs=5e-4)
    assert change_by_coefficient(9.15, change_coefficient(7.0), 8, 11) == pytest.approx(change, rel=2e-3)


def test_the_two_ways_of_the_handbook_agree_where_both_hold() -> None:
    for shrinkage in (3.3, 7.0, 11.9):
        one = change_by_coefficient(10, change_coefficient(shrinkage), 10, 12)
        assert change_by_shrinkage(10, shrinkage, 10, 12) == pytest.approx(one, rel=1e-9)


def test_green_wood_shrinks_by_the_whole_shrinkage() -> None:
    assert change_by_shrinkage(100, 7.6, 30, 0) == pytest.approx(-7.6, abs=1e-12)
    assert change_by_shrinkage(100, 7.6, 45, 0) == pytest.approx(-7.6, abs=1e-12)


def test_lumber_shrinks_as_the_lumber_standard_says() -> None:
    # PS 20-70: 2.80 % of width and 2.35 % of thickness from green to 15 %, as quoted in Green, FPL-RP-489
    assert change_of_lumber(100, 30, 15) == pytest.approx(-2.80, abs=0.01)
    assert change_of_lumber(100, 30, 15, THICKNESS) == pytest.approx(-2.35, abs=0.01)
    # 11.25 in joist from 19 to 12 %: 0.17 in
    assert change_of_lumber(11.25, 19, 12) == pytest.approx(-0.17, abs=5e-3)
    assert abs(change_of_lumber(11.25, 19, 12, CEDAR_AND_REDWOOD_WIDTH)) < abs(
        change_of_lumber(11.25, 19, 12, WIDTH)
    )
    assert change_of_lumber(11.25, 40, 35) == 0


def test_moisture_beyond_a_formula_is_refused() -> None:
    with pytest.raises(Refusal, match="moisture content"):
        change_by_coefficient(9.15, 0.00245, 8, 19)
    with pytest.raises(Refusal, match="moisture content"):
        change_by_shrinkage(9.15, 7, -1, 19)
    with pytest.raises(Refusal, match="shrinkage"):
        change_by_shrinkage(9.15, 0, 8, 19)
    with pytest.raises(Refusal, match="shrinkage"):
        change_coefficient(math.nan)
    with pytest.raises(Refusal, match="size"):
        change_of_lumber(math.nan, 8, 19)


# Two pin meters, both set for 20 °C, as their manuals put it: one adds 0.5 % for every 5 °C below, the
# other makes 17 % of 15 % at 10 °C and 11 % at 50 °C
ONE = CorrectionTable((0.0, 20.0, 40.0), (10.0, 20.0), ((12.0, 22.0), (10.0, 20.0), (8.0, 18.0)))
OTHER = CorrectionTable((10.0, 20.0, 50.0), (15.0, 24.0), ((17.0, 26.0), (15.0, 24.0), (11.0, 18.0)))


def test_each_meter_has_its_own_correction() -> None:
    assert ONE.corrected_reading(15, 10) == pytest.approx(16)
    assert OTHER.corrected_reading(15, 10) == pytest.approx(17)
    assert OTHER.corrected_reading(15, 50) == pytest.approx(11)
    assert OTHER.corrected_reading(19.5, 20) == pytest.approx(19.5)
    assert OTHER.corrected_reading(24, 35) == pytest.approx(21)


@pytest.mark.parametrize(
    ("reading", "celsius"), [(9, 20), (21, 20), (15, -1), (15, 41), (math.nan, 20), (15, math.nan)]
)
def test_a_correction_table_is_not_extended(reading: float, celsius: float) -> None:
    with pytest.raises(Refusal, match="must lie between"):
        ONE.corrected_reading(reading, celsius)


def test_a_table_that_cannot_be_is_refused() -> None:
    with pytest.raises(Refusal, match="one row"):
        CorrectionTable((0.0, 20.0), (10.0, 20.0), ((12.0, 22.0),))
    with pytest.raises(Refusal, match="one row"):
        CorrectionTable((0.0, 20.0), (10.0, 20.0), ((12.0, 22.0), (10.0,)))
    with pytest.raises(Refusal, match="rising"):
        CorrectionTable((20.0, 0.0), (10.0, 20.0), ((12.0, 22.0), (10.0, 20.0)))
    with pytest.raises(Refusal, match="finite"):
        CorrectionTable((0.0, 20.0), (10.0, 20.0), ((12.0, math.nan), (10.0, 20.0)))
