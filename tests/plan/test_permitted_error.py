"""How far off instruments may be when they are checked, and what follows for the uncertainty of a reading."""

import math

import pytest

from qc_app.measure.length import parse_length
from qc_app.plan.instrument import format_error, format_reading, parse_reading
from qc_app.plan.permitted_error import class_uncertainty, permitted_error, permitted_steps
from qc_app.plan.quantity import GRAINS, Units
from qc_app.refusal import Refusal

MILLIMETRE = 1_000_000


def nanometres(text: str) -> int:
    return parse_length(text).nanometres


@pytest.mark.parametrize(
    ("accuracy_class", "metres", "millimetres"),
    # (a + b L) mm, L rounded up to whole metres (Directive 2014/32/EU, annex X, MI-008, table 1)
    [("I", 1, 0.2), ("II", 1, 0.5), ("III", 1, 1.0), ("II", 2.5, 0.9), ("II", 8, 1.9), ("III", 8, 3.8)],
)
def test_a_tape_of_a_european_class_may_be_off_by_its_permissible_error(
    accuracy_class: str, metres: float, millimetres: float
) -> None:
    steps = permitted_steps("tape", accuracy_class, None, 0)
    assert permitted_error(steps, round(metres * 1000 * MILLIMETRE)) == round(millimetres * MILLIMETRE)


@pytest.mark.parametrize(
    ("feet", "inch"),
    # NIST Handbook 44, section 5.52, table 2: metal tapes, interval from zero
    [("6'", "1/32"), ("6' 1/64", "1/16"), ("30'", "1/16"), ("55'", "1/8"), ("80'", "3/16"), ("100'", "1/4")],
)
def test_a_tape_without_a_class_is_held_to_the_handbook(feet: str, inch: str) -> None:
    assert permitted_error(permitted_steps("tape", "", None, 0), nanometres(feet)) == nanometres(inch)


def test_beyond_its_class_nothing_is_said() -> None:
    with pytest.raises(Refusal, match="so large"):
        permitted_error(permitted_steps("tape", "", None, 0), nanometres("101'"))


def test_a_scale_of_a_class_may_be_off_by_more_graduations_the_more_it_carries() -> None:
    """Class III, e = 0.1 g: 500 e is 50 g, 2000 e is 200 g (Directive 2014/31/EU, annex I, table 3)."""
    steps = permitted_steps("scale", "III", GRAINS // 10, 0)
    assert [permitted_error(steps, grams * GRAINS) for grams in (0, 50, 51, 200, 201)] == [
        100_000,
        100_000,
        200_000,
        200_000,
        300_000,
    ]


def test_without_a_class_two_standard_uncertainties_are_permitted_but_never_less_than_a_graduation() -> None:
    """Coverage factor 2, JCGM 100:2008, 6.3.3; the graduation is common practice."""
    assert permitted_error(permitted_steps("moisture_meter", "", None, GRAINS), 0) == 2 * GRAINS
    assert permitted_error(permitted_steps("scale", "", GRAINS, GRAINS // 4), 0) == GRAINS


def test_a_class_gives_a_rectangular_uncertainty() -> None:
    """A class II tape to 8 m may be off by 1.9 mm: 1.9 / √3 = 1.097 mm (JCGM 100:2008, 4.3.7)."""
    eight_metres = 8000 * MILLIMETRE
    alone = class_uncertainty("tape", "II", None, eight_metres)
    assert alone == round(1.9 * MILLIMETRE / math.sqrt(3))
    marked = class_uncertainty("tape", "II", MILLIMETRE, eight_metres)
    # Half a graduation to either side is rectangular too; independent sources add in squares (5.1.2).
    assert marked == pytest.approx(MILLIMETRE * math.sqrt(1.9**2 / 3 + 0.5**2 / 3), rel=1e-6)


def test_a_scales_class_counts_in_its_graduations() -> None:
    tenth = GRAINS // 10
    found = class_uncertainty("scale", "III", tenth, 200 * GRAINS)
    assert found == round(math.sqrt((2 * tenth) ** 2 / 3 + (tenth / 2) ** 2 / 3))
    with pytest.raises(Refusal, match="counts in its graduations"):
        class_uncertainty("scale", "III", None, 200 * GRAINS)


def test_without_a_class_the_plans_uncertainty_stays() -> None:
    assert class_uncertainty("tape", "", None, nanometres("24'")) is None


def test_a_class_that_a_kind_does_not_have_is_refused() -> None:
    with pytest.raises(Refusal, match="no accuracy class “IV”"):
        class_uncertainty("tape", "IV", None, nanometres("24'"))
    with pytest.raises(Refusal, match="no accuracy class “II”"):
        class_uncertainty("moisture_meter", "II", None, GRAINS)


@pytest.mark.parametrize(
    ("kind", "typed", "grains"),
    [
        ("scale", "-0.2 g", -200_000),
        ("scale", "\N{MINUS SIGN}0.2", -200_000),
        ("scale", "1 kg", 1000 * GRAINS),
        ("moisture_meter", "16.5 %", 16_500_000),
        ("core_cutter", "2 1/2", 63_500_000),
    ],
)
def test_what_an_instrument_reads_is_read_by_its_kind(kind: str, typed: str, grains: int) -> None:
    assert parse_reading(kind, typed) == grains


def test_a_length_or_moisture_below_zero_is_refused() -> None:
    for kind in ("tape", "moisture_meter"):
        with pytest.raises(Refusal):
            parse_reading(kind, "-1")


def test_errors_are_written_finer_than_the_instruments_own_marks() -> None:
    inch, metric = Units(), Units("metric")
    assert format_error("tape", nanometres("1/32"), inch) == "0.031 in"
    assert format_error("tape", 500_000, metric) == "0.5 mm"
    assert format_error("scale", -200_000, inch) == "0.2 g"
    assert format_reading("scale", -200_000, inch) == "\N{MINUS SIGN}0.2 g"
