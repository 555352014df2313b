"""Mass and size of a core give its density."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.core_sample import Density, Mass, core_density, parse_mass
from qc_app.measure.length import Length
from qc_app.refusal import Refusal

# density = mass / (π/4 · d² · depth); bore and depth in inches, grams at 3.5 lb/ft³, lb/ft³ for one gram
# more.
# Constructed; the method is that of public guides on core sampling of dense-packed cellulose.
GEOMETRY = [
    (2.0, 11.25, 32.47, 0.1078),
    (2.5, 11.25, 50.74, 0.069),
    (3.0, 9.25, 60.07, 0.0583),
    (4.0, 11.875, 137.1, 0.0255),
    (4.0, 15.5, 178.95, 0.0196),
]

# NIST SP 811 (2008), appendix B.8: lb/ft³ to kg/m³, 1.601 846 E+01; exactly 0.45359237 / 0.3048³. The pairs
# are recomputed from it and rounded.
PAIRS = [
    *[(1.5, 24.03), (2.0, 32.04), (2.3, 36.84), (3.0, 48.06), (3.2, 51.26), (3.5, 56.06), (3.6, 57.67)],
    *[
        (4.0, 64.07),
        (4.5, 72.08),
        (2.684, 43),
        (2.809, 45),
        (2.997, 48),
        (3.121, 50),
        (3.309, 53),
        (3.434, 55),
    ],
    *[(3.496, 56), (3.746, 60), (3.933, 63), (4.058, 65), (4.495, 72)],
]


@pytest.mark.parametrize(("bore", "depth", "grams", "per_gram"), GEOMETRY)
def test_published_cores_weigh_what_their_density_says(
    bore: float, depth: float, grams: float, per_gram: float
) -> None:
    density = core_density(grams, bore, depth).pounds_per_cubic_foot
    assert density == pytest.approx(3.5, abs=0.0051 * per_gram)
    assert core_density(grams + 1, bore, depth).pounds_per_cubic_foot - density == pytest.approx(
        per_gram, abs=6e-5
    )


def test_a_core_of_60_grams() -> None:
    # Constructed: 60.0 g out of a 2.5 in bore, 11.25 in deep
    density = core_density(Mass.from_grams(60), Length.from_inches(2.5), Length.from_inches(11.25))
    assert density.pounds_per_cubic_foot == pytest.approx(4.139, abs=5e-4)
    assert density.kilograms_per_cubic_metre == pytest.approx(66.3, abs=0.05)


@pytest.mark.parametrize(("pounds", "kilograms"), PAIRS)
def test_density_converts_by_the_exact_factor(pounds: float, kilograms: float) -> None:
    assert Density.from_pounds_per_cubic_foot(pounds).kilograms_per_cubic_metre == pytest.approx(
        kilograms, abs=8.1e-3
    )


def test_the_factor_is_the_published_one() -> None:
    assert Density.from_pounds_per_cubic_foot(1).kilograms_per_cubic_metre == pytest.approx(
        16.018463373960138, rel=1e-15
    )
    assert round(Density.from_pounds_per_cubic_foot(1).kilograms_per_cubic_metre, 5) == 16.01846


def test_a_pound_is_exactly_453_59237_grams_and_sixteen_ounces() -> None:
    # NIST SP 811 (2008), appendix B.8
    assert Mass.from_pounds(1).grams == Fraction("453.59237")
    assert Mass.from_ounces(16) == Mass.from_pounds(1)
    assert Mass.from_pounds(Fraction(5, 2)).ounces == 40
    assert Mass.from_ounces(40).pounds == Fraction(5, 2)


def test_the_tare_is_taken_off() -> None:
    assert core_density(72.5, 2.5, 11.25, tare=12.5) == core_density(60, 2.5, 11.25)
    assert core_density(Mass.from_grams(72.5), 2.5, 11.25, Mass.from_grams(12.5)) == core_density(
        60, 2.5, 11.25
    )


@given(st.floats(5, 500), st.floats(1, 6), st.floats(2, 24))
def test_density_times_volume_is_mass(grams: float, bore: float, depth: float) -> None:
    volume = math.pi / 4 * (bore * 0.0254) ** 2 * depth * 0.0254
    assert core_density(grams, bore, depth).kilograms_per_cubic_metre * volume == pytest.approx(
        grams / 1000, rel=1e-12
    )


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ((0, 2.5, 11.25), "more than its tare"),
        ((-1, 2.5, 11.25), "more than its tare"),
        ((60, 2.5, 11.25, 60), "more than its tare"),
        ((60, 2.5, 11.25, -1), "tare of the core must not be negative"),
        ((60, 0, 11.25), "bore of the core must be more than zero"),
        ((60, 2.5, -11.25), "depth of the core must be more than zero"),
        ((math.nan, 2.5, 11.25), "mass of the core must be a finite number"),
        ((60, math.inf, 11.25), "bore of the core must be a finite number"),
        ((60, 2.5, math.nan), "depth of the core must be a finite number"),
        ((60, 2.5, 11.25, math.nan), "tare must be a finite number"),
    ],
)
def test_an_impossible_core_is_refused(arguments: tuple[float, ...], reason: str) -> None:
    with pytest.raises(Refusal) as refusal:
        core_density(*arguments)
    assert reason in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("60", 60),
        ("60.0 g", 60),
        ("60,5g", Fraction(121, 2)),
        ("0.06 kg", 60),
        ("1 lb", Fraction("453.59237")),
    ],
)
def test_masses_are_read_exactly(text: str, grams: Fraction | int) -> None:
    assert parse_mass(text).grams == grams


def test_ounces_are_not_taken_for_grams() -> None:
    assert parse_mass("2.1 oz") == Mass.from_ounces(Fraction("2.1"))
    assert parse_mass(" 2.1\u00a0OZ ") == Mass.from_ounces(Fraction("2.1"))


@pytest.mark.parametrize(
    "text", ["", "g", "-60", "60 mg", "60 g g", "6e1", "nan", "６０", "1,234", "6 0", "1" * 400]
)
def test_what_is_no_mass_is_refused(text: str) -> None:
    with pytest.raises(Refusal):
        parse_mass(text)
