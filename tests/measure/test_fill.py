"""Fill by mass balance, and whether it agrees with the cores."""

import math
from fractions import Fraction

import pytest

from qc_app.measure.budget import Budget
from qc_app.measure.core_sample import MeasuredDensity
from qc_app.measure.density import Density
from qc_app.measure.fill import (
    Volume,
    agreement,
    bags_needed,
    bay_volume,
    coverage_per_bag,
    mass_balance,
    mass_needed,
)
from qc_app.measure.length import Length
from qc_app.measure.mass import Mass
from qc_app.refusal import Refusal


def test_a_bay_of_a_2x6_wall() -> None:
    # Published bay of blown fibre: 14.5 × 93 × 5.5 in, 7416 in³, 4.29 ft³, 4.85 lb at 1.13 lb/ft³. The
    # source drops the fraction of 7416.75.
    volume = bay_volume(14.5, 93, 5.5)
    assert volume.cubic_inches == Fraction("7416.75")
    assert round(float(volume.cubic_feet), 2) == 4.29
    pounds = mass_needed(volume, Density.from_pounds_per_cubic_foot(1.13)).pounds
    assert float(pounds) == pytest.approx(4.850073784722222, rel=1e-12)


def test_a_bag_for_three_bays() -> None:
    # Public insulation text: one 30 lb bag for three 8 ft 2x4 bays, "roughly 3.5 lb/ft³"
    bay = bay_volume(14.5, 93, 3.5)
    room = bay + bay + bay
    filled = mass_balance(Mass.from_pounds(30), room, mass_uncertainty=100, volume_uncertainty=0.02)
    assert filled.density.pounds_per_cubic_foot == pytest.approx(3.6612108692197682, rel=1e-12)


def test_five_cubic_feet_of_fill() -> None:
    # Public page: 17.5 lb at 3.5 lb/ft³, 20.7 lb with a fifth more. 17.5 × 1.2 is 21.0: the page is wrong.
    volume = Volume(Fraction(5 * 1728))
    assert float(mass_needed(volume, Density.from_pounds_per_cubic_foot(3.5)).pounds) == pytest.approx(17.5)
    assert float(mass_needed(volume, Density.from_pounds_per_cubic_foot(3.5 * 1.2)).pounds) == pytest.approx(
        21.0
    )
    assert float(mass_needed(volume, Density.from_pounds_per_cubic_foot(3.5 * 1.4)).pounds) == pytest.approx(
        24.5
    )


def test_bags_of_a_roof_panel() -> None:
    # Constructed: 8 × 24 ft, 11.25 in deep, 10 % framing; 24 bags of 25 lb, 6.5 lb left
    volume = Volume(Fraction(162 * 1728))
    blown, left = Mass.from_pounds(600), Mass.from_pounds(Fraction("6.5"))
    filled = mass_balance(blown, volume, left, mass_uncertainty=Mass.from_pounds(2), volume_uncertainty=0.02)
    assert filled.density.pounds_per_cubic_foot == pytest.approx(3.6635802469135803, rel=1e-12)
    assert filled.density.kilograms_per_cubic_metre == pytest.approx(58.68492600274902, rel=1e-12)
    assert filled.relative_uncertainty == pytest.approx(math.hypot(2 / 593.5, 0.02), rel=1e-12)
    bag, wanted = Mass.from_pounds(25), Density.from_pounds_per_cubic_foot(3.5)
    assert bags_needed(volume, wanted, bag) == pytest.approx(22.68, abs=1e-9)
    # one bag more or less moves the mean by 0.154 lb/ft³, and covers 7.62 ft² of bay
    assert 25 / float(volume.cubic_feet) == pytest.approx(0.15432098765432098)
    assert coverage_per_bag(11.25, wanted, bag) == pytest.approx(25 / (3.5 * 11.25 / 12), rel=1e-12)


def test_what_is_in_the_way_is_taken_off() -> None:
    pipe = Volume(Fraction(100))
    assert (
        bay_volume(14.5, 93, 5.5, depth_taken=Length(Fraction(3, 2))).cubic_inches
        == Fraction("14.5") * 93 * 4
    )
    assert bay_volume(14.5, 93, 5.5, blocked=pipe).cubic_inches == Fraction("7316.75")
    assert float(Volume(Fraction(1728)).cubic_metres) == pytest.approx(
        0.0283168, abs=5e-8
    )  # 16 CFR 500.19(a)
    for hindrance in (5.5, 6, -1):
        with pytest.raises(Refusal, match="in the way"):
            bay_volume(14.5, 93, 5.5, depth_taken=hindrance)
    for amount in (7417, -1):
        with pytest.raises(Refusal, match="in the way"):
            bay_volume(14.5, 93, 5.5, blocked=Volume(Fraction(amount)))


def measured(value: float, spread: float) -> MeasuredDensity:
    return MeasuredDensity(Budget(value, {"all": spread}))


def test_agreement_is_judged_by_the_normalised_error() -> None:
    # ISO 13528:2022, Eₙ: (x₁ − x₂) / √(U₁² + U₂²), satisfactory up to 1; from memory
    assert agreement(measured(60, 1.5), measured(55, 2)).normalised_error == pytest.approx(1)
    assert agreement(measured(60, 1.5), measured(55, 2)).agrees
    apart = agreement(measured(54.9, 2), measured(60, 1.5))
    assert apart.normalised_error == pytest.approx(-1.02)
    assert not apart.agrees
    assert agreement(measured(54.9, 2), measured(60, 1.5), coverage=3).agrees
    with pytest.raises(Refusal, match="coverage"):
        agreement(measured(54.9, 2), measured(60, 1.5), coverage=0)
    with pytest.raises(Refusal, match="without uncertainty"):
        agreement(measured(54.9, 0), measured(60, 0))


def test_an_impossible_balance_is_refused() -> None:
    room = Volume(Fraction(1728))
    good = {"mass_uncertainty": 1.0, "volume_uncertainty": 0.01}
    for blown, left in ((0, 0), (-1, 0), (10, 10), (10, 11), (10, -1), (math.nan, 0), (10, math.inf)):
        with pytest.raises(Refusal, match="mass"):
            mass_balance(blown, room, left, **good)
    with pytest.raises(Refusal, match="volume"):
        mass_balance(10, Volume(Fraction(0)), **good)
    for spread in (0, -1, math.nan):
        with pytest.raises(Refusal, match="uncertainty of the volume"):
            mass_balance(10, room, mass_uncertainty=1, volume_uncertainty=spread)
        with pytest.raises(Refusal, match="uncertainty of the mass"):
            mass_balance(10, room, mass_uncertainty=spread, volume_uncertainty=0.01)
    with pytest.raises(Refusal, match="mass of a bag"):
        bags_needed(room, Density(60), Mass.from_grams(0))
    with pytest.raises(Refusal, match="density"):
        coverage_per_bag(5.5, Density(0), Mass.from_pounds(25))
