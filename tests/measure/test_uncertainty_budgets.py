"""Budgets give the figures of the published examples."""

import math

import pytest

from qc_app.measure.budget import (
    Budget,
    combined_standard_uncertainty,
    coverage_factor,
    product_of_powers,
    rectangular,
    triangular,
    type_a,
)
from qc_app.refusal import Refusal


def test_a_calibration_standard() -> None:
    # EURACHEM/CITAC Guide CG4 (QUAM:2012), example A1; the guide itself rounds the result to 0.9 mg/l
    volume = Budget(100, {"flask": triangular(0.1), "repeat": 0.02, "temperature": rectangular(0.084)})
    value = 1000 * 100.28 * 0.9999 / 100
    budget = product_of_powers(
        value,
        {
            "mass": (100.28, 0.05, 1),
            "purity": (0.9999, rectangular(0.0001), 1),
            "volume": (100, volume.standard_uncertainty, -1),
        },
    )
    assert budget.value == pytest.approx(1002.7, abs=0.05)
    assert budget.standard_uncertainty == pytest.approx(0.835199, abs=5e-7)
    assert abs(budget.contributions["mass"]) == pytest.approx(0.49995, abs=5e-6)
    assert abs(budget.contributions["purity"]) == pytest.approx(0.0578967, abs=5e-8)
    assert abs(budget.contributions["volume"]) == pytest.approx(0.666525, abs=5e-7)
    assert sum(budget.shares.values()) == pytest.approx(1)


def test_a_standardised_solution() -> None:
    # EURACHEM/CITAC Guide CG4 (QUAM:2012), example A2; atomic weights rectangular as the guide takes them
    atoms = {
        "C": (8, 12.0107, 0.0008),
        "H": (5, 1.00794, 0.00007),
        "O": (4, 15.9994, 0.0003),
        "K": (1, 39.0983, 0.0001),
    }
    molar = sum(count * weight for count, weight, _ in atoms.values())
    molar_spread = math.hypot(*(count * rectangular(half) for count, _, half in atoms.values()))
    value = 1000 * 0.3888 / (molar * 18.64)
    titre = math.hypot(triangular(0.03), 0.006)
    sources = {
        "R": (1.0, 0.0005, 1.0),
        "m": (0.3888, math.sqrt(2) * rectangular(0.15e-3), 1.0),
        "P": (1.0, rectangular(0.0005), 1.0),
        "M": (molar, molar_spread, -1.0),
        "V": (18.64, titre, -1.0),
    }
    budget = product_of_powers(value, sources)
    assert budget.value == pytest.approx(0.102136159706, abs=1e-12)
    printed = {"V": 7.47292e-05, "R": 5.10681e-05, "m": 3.21735e-05, "P": 2.94842e-05, "M": 1.88312e-06}
    for name, contribution in printed.items():
        assert abs(budget.contributions[name]) == pytest.approx(contribution, rel=1e-5), name
    assert budget.standard_uncertainty == pytest.approx(0.000100500722, rel=1e-6)


def test_repeated_temperatures() -> None:
    # JCGM 100:2008, 4.4.3 and table 1; observations from memory, the guide prints 100.14, 1.49 and 0.33
    observations = [
        *[96.9, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68],
        *[100.95, 101.11, 101.2, 101.57, 101.84, 102.36, 102.72],
    ]
    found = type_a(observations)
    assert (found.count, round(found.mean, 3)) == (20, 100.145)
    assert round(found.deviation, 3) == 1.489
    assert round(found.standard_uncertainty, 3) == 0.333


def test_surface_temperatures() -> None:
    # NIST Technical Note 1900 (2015), example E2; figures from memory, recomputed
    maxima = [
        *[18.75, 28.25, 25.75, 28.0, 28.5, 20.75, 21.0, 22.75, 18.5, 27.25, 20.75, 26.5, 28.0, 23.25, 28.0],
        *[21.75, 26.0, 26.5, 28.0, 33.25, 32.0, 29.5],
    ]
    found = type_a(maxima)
    assert (round(found.mean, 1), round(found.deviation, 1)) == (25.6, 4.1)
    assert round(found.standard_uncertainty, 3) == 0.872
    reach = coverage_factor(0.95, found.count - 1) * found.standard_uncertainty
    assert (round(found.mean - reach, 1), round(found.mean + reach, 1)) == (23.8, 27.4)


def test_correlated_readings_of_an_impedance() -> None:
    # JCGM 100:2008, H.2: R = V cos φ / I from five simultaneous observations; means and uncertainties
    # recomputed, the expected values from memory
    volt, ampere, phase = 4.999, 0.019661, 1.04446
    spread = (0.0032093613071761794, 9.471008394040897e-06, 0.0007520638270785368)
    r_vi, r_vp, r_ip = -0.3553112198174771, 0.857624210839962, -0.6451112176892463
    correlation = ((1, r_vi, r_vp), (r_vi, 1, r_ip), (r_vp, r_ip, 1))
    covariance = [[correlation[i][j] * spread[i] * spread[j] for j in range(3)] for i in range(3)]
    resistance = volt / ampere * math.cos(phase)
    slopes = [resistance / volt, -resistance / ampere, -volt / ampere * math.sin(phase)]
    assert resistance == pytest.approx(127.732, abs=5e-4)
    assert combined_standard_uncertainty(slopes, covariance) == pytest.approx(0.071, abs=5e-4)
    impedance = volt / ampere
    slopes = [1 / ampere, -impedance / ampere, 0]
    assert combined_standard_uncertainty(slopes, covariance) == pytest.approx(0.236, abs=5e-4)


@pytest.mark.parametrize(
    ("freedom", "at_95", "at_99"),
    [
        *[(1, "12.71", "63.66"), (2, "4.30", "9.92"), (5, "2.57", "4.03"), (10, "2.23", "3.17")],
        *[(16, "2.12", "2.92"), (20, "2.09", "2.85"), (50, "2.01", "2.68"), (100, "1.984", "2.626")],
    ],
)
def test_coverage_factors(freedom: int, at_95: str, at_99: str) -> None:
    # JCGM 100:2008, table G.2; printed figures from memory, recomputed
    for probability, printed in ((0.95, at_95), (0.99, at_99)):
        places = len(printed.split(".")[1])
        assert f"{coverage_factor(probability, freedom):.{places}f}" == printed


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(Refusal, match="half-width"):
        rectangular(-1)
    with pytest.raises(Refusal, match="half-width"):
        triangular(math.nan)
    with pytest.raises(Refusal, match="Two observations"):
        type_a([1.0])
    with pytest.raises(Refusal, match="finite"):
        type_a([1.0, math.inf])
    with pytest.raises(Refusal, match="bore"):
        product_of_powers(1, {"bore": (0, 0.1, 2)})
    with pytest.raises(Refusal, match="bore"):
        product_of_powers(1, {"bore": (1, -0.1, 2)})
    with pytest.raises(Refusal, match="probability"):
        coverage_factor(1, 10)
    with pytest.raises(Refusal, match="freedom"):
        coverage_factor(0.95, 0)


def test_a_budget_without_uncertainty_has_no_shares() -> None:
    assert Budget(1, {"one": 0.0}).shares == {"one": 0.0}
