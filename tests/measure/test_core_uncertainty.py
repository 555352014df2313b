"""The uncertainty of a core, of several cores, and what to improve."""

import math

import pytest

from qc_app.measure.core_sample import MeasuredDensity, core_density, mean_density, measured_core
from qc_app.measure.density import Density
from qc_app.refusal import Refusal


def core(grams: float = 32.47, bore: float = 2.0, depth: float = 11.25) -> MeasuredDensity:
    return measured_core(
        grams, bore, depth, scale_uncertainty=0.3, bore_uncertainty=0.01, depth_uncertainty=0.05
    )


# Constructed sensitivities: bore, depth, grams at 3.5 lb/ft³, lb/ft³ for one gram, relative errors from
# 1/16 in of diameter and from 1/8 in of depth
@pytest.mark.parametrize(
    ("bore", "depth", "grams", "per_gram", "per_sixteenth", "per_eighth"),
    [
        (2.0, 11.25, 32.47, 0.1078, 0.0625, 0.0111),
        (2.5, 11.25, 50.74, 0.069, 0.05, 0.0111),
        (3.0, 9.25, 60.07, 0.0583, 0.0417, 0.0135),
        (4.0, 11.875, 137.1, 0.0255, 0.0312, 0.0105),
        (4.0, 15.5, 178.95, 0.0196, 0.0312, 0.0081),
    ],
)
def test_sensitivities(
    bore: float, depth: float, grams: float, per_gram: float, per_sixteenth: float, per_eighth: float
) -> None:
    found = measured_core(
        grams, bore, depth, scale_uncertainty=1, bore_uncertainty=1 / 16, depth_uncertainty=1 / 8
    )
    parts = found.budget.contributions
    assert Density(parts["scale"]).pounds_per_cubic_foot == pytest.approx(per_gram, abs=6e-5)
    assert -parts["bore"] / found.budget.value == pytest.approx(per_sixteenth, abs=6e-5)
    assert -parts["depth"] / found.budget.value == pytest.approx(per_eighth, abs=6e-5)


def test_the_combined_uncertainty_is_that_of_numerical_differentiation() -> None:
    inputs, spreads, step = [32.47, 2.0, 11.25], [0.3, 0.01, 0.05], 1e-5
    variance = 0.0
    for row, spread in enumerate(spreads):
        up, down = (
            [at + (sign * step if row == n else 0) for n, at in enumerate(inputs)] for sign in (1, -1)
        )
        slope = core_density(*up).kilograms_per_cubic_metre - core_density(*down).kilograms_per_cubic_metre
        variance += (slope / (2 * step) * spread) ** 2
    assert core().standard_uncertainty.kilograms_per_cubic_metre == pytest.approx(
        math.sqrt(variance), rel=1e-8
    )
    assert core().density == core_density(*inputs)


def test_a_dry_core_is_lighter_by_its_water() -> None:
    # ρ / (1 + u): 48 kg/m³ at 50 % relative humidity and 43 kg/m³ dry imply 11.63 % moisture (settling of
    # loose-fill, Danish Building Research Institute)
    budget = core().budget
    moist = MeasuredDensity(budget.scaled(48 / budget.value))
    assert moist.dry_basis(11.63).density.kilograms_per_cubic_metre == pytest.approx(43, abs=0.005)
    with_doubt = moist.dry_basis(11.63, 2)
    assert with_doubt.budget.contributions["moisture"] == pytest.approx(-43 * 0.02 / 1.1163, abs=1e-3)
    assert with_doubt.relative_uncertainty > moist.relative_uncertainty
    assert moist.dry_basis(0).density == moist.density
    for moisture in (-1, math.nan):
        with pytest.raises(Refusal, match="moisture content"):
            moist.dry_basis(moisture)
    with pytest.raises(Refusal, match="uncertainty of the moisture"):
        moist.dry_basis(10, -1)


def test_advice_names_the_largest_source() -> None:
    coarse = measured_core(32.5, 2, 11.25, scale_uncertainty=2, bore_uncertainty=0.01, depth_uncertainty=0.05)
    assert coarse.shares["scale"] > 0.9
    assert "too small for this scale" in str(coarse.advice())
    wide = measured_core(32.5, 2, 11.25, scale_uncertainty=0.1, bore_uncertainty=0.06, depth_uncertainty=0.05)
    assert "diameter of the cutter" in str(wide.advice())
    assert core(180, 4, 15.5).advice() is None


def test_what_cores_share_does_not_average_out() -> None:
    mean = mean_density([core()] * 4)
    one = core()
    assert mean.density.kilograms_per_cubic_metre == pytest.approx(one.density.kilograms_per_cubic_metre)
    assert mean.budget.contributions["bore"] == pytest.approx(one.budget.contributions["bore"])
    assert mean.budget.contributions["scale"] == pytest.approx(abs(one.budget.contributions["scale"]) / 2)


def test_cores_that_differ_count_by_their_spread() -> None:
    cores = [core(30), core(34), core(38)]
    values = [one.density.kilograms_per_cubic_metre for one in cores]
    mean = mean_density(cores)
    deviation = math.sqrt(sum((value - sum(values) / 3) ** 2 for value in values) / 2)
    assert mean.budget.contributions["spread"] == pytest.approx(deviation / math.sqrt(3))
    assert "take more cores" in str(mean.advice(0.01))


def test_bays_make_a_panel() -> None:
    bays = [mean_density([core(30), core(31)]), mean_density([core(33), core(34)])]
    panel = mean_density(bays)
    values = [bay.density.kilograms_per_cubic_metre for bay in bays]
    assert panel.density.kilograms_per_cubic_metre == pytest.approx(sum(values) / 2)
    assert panel.budget.contributions["spread"] == pytest.approx(abs(values[0] - values[1]) / 2)
    assert mean_density([bays[0]]).budget.contributions == pytest.approx(dict(bays[0].budget.contributions))


def test_no_cores_have_no_mean() -> None:
    with pytest.raises(Refusal, match="at least one core"):
        mean_density([])


@pytest.mark.parametrize("spread", [0, -1, math.nan, math.inf])
def test_an_uncertainty_is_positive(spread: float) -> None:
    good = {"scale_uncertainty": 0.1, "bore_uncertainty": 0.01, "depth_uncertainty": 0.05}
    for name in good:
        with pytest.raises(Refusal, match="uncertainty"):
            measured_core(32.5, 2, 11.25, **{**good, name: spread})
