"""The mass blown into a bay, and the density it gives.

A bay of the panel here is 22 1/2 in clear between members, 96 in long (the panel's width) and 11 1/4 in deep:
24 300 in³, or 14.0625 ft³.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.fill import Volume, mass_balance
from qc_app.measure.mass import Mass
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.instrument import parse_uncertainty
from qc_app.plan.method import METHODS, Circumstances, EntryRefused, Outcome
from qc_app.plan.quantity import Quantity, Units, format_amount, format_derived, parse_amount, plotted
from qc_app.plan.subject import Bay
from qc_app.refusal import Refusal
from tests.plan.conftest import INCH, subject

CUBIC_FEET = 14.0625
MILLION = 1_000_000
HERE = Circumstances(subject(), "bay 3", uncertainties={"scale": 50 * MILLION, "bay_volume": 2 * MILLION})


def fill(at: Circumstances = HERE, **entries: str) -> Outcome:
    return METHODS["fill"].work_out(entries, at)


def test_the_density_is_the_mass_over_the_volume_of_the_bay() -> None:
    # 56.25 lb over 14.0625 ft³ is 4 lb/ft³ exactly: constructed.
    assert fill(mass="56.25 lb").amount == 4 * MILLION


@pytest.mark.parametrize(
    ("depth", "pounds", "density"),
    [
        # Published bay of blown fibre in a 2x6 wall: 14.5 × 93 × 5.5 in, 4.85 lb, 1.13 lb/ft³.
        (5.5, "4.85", 1.13),
        # Public insulation text: one 30 lb bag for three 8 ft bays of a 2x4 wall, "roughly 3.5 lb/ft³".
        (3.5, "10", 3.66),
    ],
)
def test_a_published_bay_of_a_wall_comes_out_at_its_density(
    depth: float, pounds: str, density: float
) -> None:
    bay = Bay(1, 29 * INCH // 2, round(depth * INCH))
    wall = replace(subject("closed_wall"), width=93 * INCH, bays=(bay,))
    filled = fill(Circumstances(wall, "bay 1"), mass=f"{pounds} lb").amount / MILLION
    assert filled == pytest.approx(density, abs=0.005)


def test_each_bay_is_filled_by_its_own_width_and_depth() -> None:
    panel = replace(subject(), bays=(Bay(1, 22 * INCH, 6 * INCH), Bay(2, 11 * INCH, 6 * INCH)))
    one, half = (fill(Circumstances(panel, f"bay {n}"), mass="25 lb").amount for n in (1, 2))
    assert half == pytest.approx(2 * one, rel=1e-6)


def test_the_bay_runs_across_the_panel() -> None:
    wider = replace(HERE, subject=replace(subject(), width=2 * subject().width))
    longer = replace(HERE, subject=replace(subject(), length=2 * subject().length))
    assert fill(wider, mass="56.25 lb").amount == 2 * MILLION
    assert fill(longer, mass="56.25 lb").amount == 4 * MILLION


def test_its_uncertainty_joins_the_scale_and_the_volume() -> None:
    # JCGM 100:2008, 5.1.6 (from memory): relative variances of a quotient add. 50 g of 56.25 lb, and 2 %.
    grams = 56.25 * 453.59237
    relative = ((50 / grams) ** 2 + 0.02**2) ** 0.5
    assert fill(mass="56.25 lb").standard_uncertainty == pytest.approx(relative * 4 * MILLION, abs=1)
    room = Volume(Mass.from_grams(24_300).grams)
    known = mass_balance(Mass.from_pounds(56.25), room, mass_uncertainty=50, volume_uncertainty=0.02)
    assert known.relative_uncertainty == pytest.approx(relative, rel=1e-9)


@pytest.mark.parametrize("known", [{}, {"scale": 50 * MILLION}, {"bay_volume": 2 * MILLION}])
def test_without_both_uncertainties_none_is_claimed(known: dict[str, int]) -> None:
    assert fill(replace(HERE, uncertainties=known), mass="56.25 lb").standard_uncertainty is None


def test_the_default_plan_knows_the_volume_of_a_bay_to_two_percent(plan: ControlPlan) -> None:
    assert plan.uncertainties["bay_volume"] == 2 * MILLION == parse_uncertainty("bay_volume", "2 %")


def test_setting_and_seconds_are_kept_but_do_not_change_the_density() -> None:
    assert fill(mass="56.25 lb", setting="gate 4, air 7", seconds="95") == fill(mass="56.25 lb")


def test_the_mass_that_the_target_takes_stands_beside_it(plan: ControlPlan) -> None:
    filled = plan.characteristic("closed_roof", "bay_fill").work_out({"mass": "50 lb"}, HERE)
    (wanted,) = filled.companions
    assert (wanted.name, wanted.quantity) == ("Target would take", Quantity.MASS)
    assert wanted.amount / MILLION == pytest.approx(56.25 * 453.59237)  # 4.0 lb/ft³ of 14.0625 ft³
    assert format_derived(Quantity.MASS, wanted.amount, Units("metric")) == "25.5 kg"
    assert format_derived(Quantity.MASS, 50 * 453_592_370, Units()) == "50.0 lb"


def test_without_a_target_no_mass_is_wanted() -> None:
    assert fill(mass="50 lb").companions == ()


def test_a_mass_is_held_in_micrograms() -> None:
    assert parse_amount(Quantity.MASS, "1.5 kg") == 1_500_000_000
    assert format_amount(Quantity.MASS, 453_592_370, Units()) == "1.0 lb"
    assert plotted(Quantity.MASS, 2_500_000_000, Units("metric")) == 2.5


@pytest.mark.parametrize("place", ["bay 13", "", "AB"])
def test_a_mass_needs_the_bay_it_was_blown_into(place: str) -> None:
    with pytest.raises(EntryRefused, match="needs the bay"):
        fill(replace(HERE, place=place), mass="56 lb")


@given(st.integers(1, 400))
def test_a_mass_is_taken_when_one_bay_can_hold_it_and_doubted_otherwise(pounds: int) -> None:
    density = pounds / CUBIC_FEET
    try:
        assert fill(mass=f"{pounds} lb").amount == pytest.approx(density * MILLION, abs=1)
        assert 0.5 <= density <= 15
    except EntryRefused as refused:
        assert refused.about == "mass"  # noqa: PT017
        assert not 0.5 <= density <= 15


@pytest.mark.parametrize("text", ["0 %", "2 in", "-1 %"])
def test_an_uncertainty_of_the_volume_is_a_percentage_above_zero(text: str) -> None:
    with pytest.raises(Refusal):
        parse_uncertainty("bay_volume", text)
