"""Tapes: temperature, permitted errors, and the uncertainty of one reading."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.length import Length
from qc_app.measure.tape import (
    AccuracyClass,
    class_error,
    handbook_44_tolerance,
    nearest_graduation,
    reading_uncertainty,
    temperature_correction,
)
from qc_app.refusal import Refusal


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


def test_a_hundred_feet_at_15_fahrenheit() -> None:
    # Surveying problem, 6.45 millionths per °F, 68 °F reference: −0.034185 ft
    correction = temperature_correction(100.0, celsius(15), expansion=6.45e-6 * 1.8)
    assert correction == pytest.approx(-0.034185, abs=1e-9)


def test_a_line_of_368_feet_at_22_fahrenheit() -> None:
    # Taping corrections, lecture slides: 368.5 ft, 22 °F, 6.5 millionths per °F: −0.11 ft, 368.39 ft
    correction = temperature_correction(368.5, celsius(22), expansion=6.5e-6 * 1.8)
    assert correction == pytest.approx(-0.1101815, abs=1e-9)
    assert round(368.5 + correction, 2) == 368.39


def test_a_course_of_304_metres() -> None:
    # Calibration of a road-race course, 6.45 millionths per °F: 304.8082 m at 42 °F become 304.757 m
    correction = temperature_correction(304.8082, celsius(42), expansion=6.45e-6 * 1.8)
    assert 304.8082 + correction == pytest.approx(304.75708366486, abs=1e-9)


def test_a_field_temperature() -> None:
    # Surveying problem sheet: 318 m become 318.103 m at 47.92 °C, 11.6 millionths per °C
    assert 318 + temperature_correction(318.0, 47.92) == pytest.approx(318.103, abs=5e-5)


# 24 ft of steel and of wood along the grain against 68 °F; 6.45 millionths per °F for steel, 1.7 and 2.5
# for wood (Wood Handbook chapter 4, from memory); constructed, solved two ways
@pytest.mark.parametrize(
    ("fahrenheit", "steel", "wood"),
    [
        (20, -0.0892, (-0.0235, -0.0346)),
        (32, -0.0669, (-0.0176, -0.0259)),
        (40, -0.052, (-0.0137, -0.0202)),
        (50, -0.0334, (-0.0088, -0.013)),
        (60, -0.0149, (-0.0039, -0.0058)),
        (68, 0.0, (0.0, 0.0)),
        (80, 0.0223, (0.0059, 0.0086)),
        (95, 0.0502, (0.0132, 0.0194)),
    ],
)
def test_a_panel_and_its_tape(fahrenheit: float, steel: float, wood: tuple[float, float]) -> None:
    tape = 6.45e-6 * 1.8
    assert temperature_correction(288.0, celsius(fahrenheit), expansion=tape) == pytest.approx(
        steel, abs=6e-5
    )
    for expansion, change in zip((1.7e-6, 2.5e-6), wood, strict=True):
        net = temperature_correction(
            288.0, celsius(fahrenheit), expansion=tape, material_expansion=expansion * 1.8
        )
        assert net == pytest.approx(steel - change, abs=1.2e-4)


def test_the_correction_keeps_the_type_of_the_reading() -> None:
    assert temperature_correction(Length.from_inches(288), 20) == Length.from_inches(0)
    cold = temperature_correction(Length.from_inches(288), 5)
    assert float(cold) == pytest.approx(temperature_correction(288.0, 5), rel=1e-12)
    assert temperature_correction(np.array([288.0, 96.0]), 5).shape == (2,)


@given(st.floats(-60, 80), st.floats(0, 1e5))
def test_a_cold_tape_reads_long(temperature: float, length: float) -> None:
    correction = temperature_correction(length, temperature)
    assert correction * (temperature - 20) >= 0


@pytest.mark.parametrize("temperature", [math.nan, math.inf, -61, 81])
def test_a_temperature_out_of_reach_is_refused(temperature: float) -> None:
    with pytest.raises(Refusal, match="°C"):
        temperature_correction(288.0, temperature)


@pytest.mark.parametrize("length", [math.nan, math.inf, -1.0])
def test_a_length_that_cannot_be_is_refused(length: float) -> None:
    with pytest.raises(Refusal, match="length"):
        temperature_correction(length, 5)


# Directive 2014/32/EU, annex X (MI-008): a + b L mm for tapes of 2, 3, 5, 8 and 10 m
@pytest.mark.parametrize(
    ("accuracy_class", "errors"),
    [
        (AccuracyClass.I, ["0.3", "0.4", "0.6", "0.9", "1.1"]),
        (AccuracyClass.II, ["0.7", "0.9", "1.3", "1.9", "2.3"]),
        (AccuracyClass.III, ["1.4", "1.8", "2.6", "3.8", "4.6"]),
    ],
)
def test_accuracy_classes(accuracy_class: AccuracyClass, errors: list[str]) -> None:
    for metres, error in zip((2, 3, 5, 8, 10), errors, strict=True):
        assert class_error(Length.from_millimetres(1000 * metres), accuracy_class).millimetres == Fraction(
            error
        )
    # rounded up to the next whole metre
    assert class_error(Length.from_millimetres(7001), accuracy_class) == class_error(
        Length.from_millimetres(8000), accuracy_class
    )


# NIST Handbook 44, section 5.52, table 2
@pytest.mark.parametrize(
    ("feet", "tolerance"),
    [
        *[(1, "1/32"), (6, "1/32"), (7, "1/16"), (24, "1/16"), (30, "1/16"), (31, "1/8"), (55, "1/8")],
        *[(56, "3/16"), (80, "3/16"), (81, "1/4"), (100, "1/4")],
    ],
)
def test_handbook_44_tolerances(feet: int, tolerance: str) -> None:
    assert handbook_44_tolerance(Length.from_inches(12 * feet)).inches == Fraction(tolerance)


def test_the_table_of_handbook_44_ends() -> None:
    with pytest.raises(Refusal, match="100 ft"):
        handbook_44_tolerance(Length.from_inches(1201))


@pytest.mark.parametrize(("halves", "sixteenths"), [(9, 4), (11, 6), (13, 6), (15, 8), (1, 0), (3, 2)])
def test_half_way_goes_to_the_even_graduation(halves: int, sixteenths: int) -> None:
    # NIST Handbook 44, section 10.3
    found = nearest_graduation(Length(Fraction(halves, 32)), Length(Fraction(1, 16)))
    assert found == Length(Fraction(sixteenths, 16))


def test_the_uncertainty_of_a_reading() -> None:
    sixteenth = Length(Fraction(1, 16))
    budget = reading_uncertainty(
        Length.from_inches(288), graduation=sixteenth, permitted_error=sixteenth, temperature_uncertainty=2
    )
    # JCGM 100:2008, 4.3.7 (clause from memory): half-width over √3
    assert budget.contributions["graduation"] == pytest.approx(1 / 32 / math.sqrt(3))
    assert budget.contributions["tape"] == pytest.approx(1 / 16 / math.sqrt(3))
    assert budget.contributions["temperature"] == pytest.approx(11.6e-6 * 288 * 2)
    assert budget.standard_uncertainty == pytest.approx(math.hypot(*budget.contributions.values()))
    alone = reading_uncertainty(Length.from_inches(288), graduation=sixteenth)
    assert alone.contributions.keys() == {"graduation"}
    with pytest.raises(Refusal, match="temperature"):
        reading_uncertainty(Length.from_inches(288), graduation=sixteenth, temperature_uncertainty=-1)
    with pytest.raises(Refusal, match="graduation"):
        reading_uncertainty(Length.from_inches(288), graduation=Length.from_inches(0))
