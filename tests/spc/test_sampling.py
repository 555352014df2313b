"""Sampling plans, against the e-Handbook, the standards' plans, and simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, hypergeom, nct, norm

from qc_app.refusal import Refusal
from qc_app.spc.sampling import (
    AttributePlan,
    Progress,
    Skipping,
    TwoPoints,
    VariablesPlan,
    attribute_plan,
    sequential_plan,
    variables_plan,
)

# NIST/SEMATECH e-Handbook 6.2.3.2: plan (52, 3), acceptance by share nonconforming (from memory).
ACCEPTANCE = [0.998, 0.980, 0.930, 0.845, 0.739, 0.620, 0.502, 0.394, 0.300, 0.223, 0.162, 0.115]
OUTGOING = [0.0100, 0.0196, 0.0278, 0.0338, 0.0369, 0.0372, 0.0351, 0.0315, 0.0270, 0.0223, 0.0178, 0.0138]


def test_operating_characteristic_of_a_plan() -> None:
    plan = AttributePlan(52, 3)
    found = [plan.acceptance(share / 100) for share in range(1, 13)]
    assert found == pytest.approx(ACCEPTANCE, abs=1.1e-3)


def test_what_goes_out_on_average() -> None:
    plan = AttributePlan(52, 3)
    assert [plan.outgoing(share / 100) for share in range(1, 13)] == pytest.approx(OUTGOING, abs=1.1e-4)
    share, worst = plan.worst_outgoing()
    fine = np.linspace(0, 0.2, 20_001)
    assert worst == pytest.approx(np.max(fine * binom.cdf(3, 52, fine)), rel=1e-7)
    assert share == pytest.approx(fine[np.argmax(fine * binom.cdf(3, 52, fine))], abs=1e-4)


# NIST/SEMATECH e-Handbook 6.2.3.2: average total inspected of a lot of 10 000 (from memory).
TOTAL_INSPECTED = [70, 253, 753, 1584, 2655, 3836, 5007, 6083, 7012, 7779, 8388, 8854]


def test_what_is_inspected_of_a_lot_on_average() -> None:
    """Printed with the binomial, some figures cut: up to 1.5 % off those of a lot of that size."""
    endless, lot = AttributePlan(52, 3), AttributePlan(52, 3, lot=10_000)
    for percent, printed in enumerate(TOTAL_INSPECTED, start=1):
        share = percent / 100
        assert 52 + (1 - endless.acceptance(share)) * 9948 == pytest.approx(printed, abs=0.9)
        assert lot.average_inspected(share) == pytest.approx(printed, rel=0.015)


def test_what_goes_out_of_a_lot_on_average() -> None:
    """NIST/SEMATECH e-Handbook 6.2.3.2 (from memory): 0.930 · 0.03 · (10 000 − 52)/10 000 = 0.02775."""
    assert AttributePlan(52, 3, lot=10_000).outgoing(0.03) == pytest.approx(0.02775, abs=2e-5)


@pytest.mark.parametrize("lot", [60, 777, 4321])
def test_the_worst_that_goes_out_of_a_lot_is_that_of_a_whole_number_of_units(lot: int) -> None:
    plan = AttributePlan(13, 1, lot=lot)
    wrong = np.arange(lot + 1)
    out = hypergeom.cdf(1, lot, wrong, 13) * wrong / lot * (lot - 13) / lot
    assert plan.worst_outgoing() == pytest.approx((np.argmax(out) / lot, out.max()), rel=1e-9)


def test_a_known_lot_is_hypergeometric() -> None:
    plan = AttributePlan(13, 1, lot=60)
    assert plan.acceptance(0.1) == pytest.approx(hypergeom.cdf(1, 60, 6, 13))
    assert plan.average_inspected(0.1) == pytest.approx(13 + (1 - plan.acceptance(0.1)) * 47)
    assert plan.acceptance(0) == 1
    assert plan.acceptance(1) == 0


# MIL-STD-105E, table II-A: plans (sample, accept) and their limit of quality accepted with 10 % (table VI-A).
@pytest.mark.parametrize(
    ("sample", "accept", "limit"),
    [(13, 0, 0.16), (20, 1, 0.18), (50, 2, 0.10), (80, 3, 0.0823), (125, 5, 0.0724)],
)
def test_limiting_quality_of_standard_plans(sample: int, accept: int, limit: float) -> None:
    """The limits are from memory, to the digits of the table."""
    assert AttributePlan(sample, accept).acceptance(limit) == pytest.approx(0.10, abs=0.012)


# The same table, normal inspection: sample and acceptance number of each plan, by AQL in percent.
STANDARD_PLANS = {
    0.65: "20:0 80:1 125:2 200:3 315:5 500:7 800:10 1250:14",
    1.0: "13:0 50:1 80:2 125:3 200:5 315:7 500:10 800:14 1250:21",
    1.5: "8:0 32:1 50:2 80:3 125:5 200:7 315:10 500:14 800:21",
    2.5: "5:0 20:1 32:2 50:3 80:5 125:7 200:10 315:14 500:21",
    4.0: "3:0 13:1 20:2 32:3 50:5 80:7 125:10 200:14 315:21",
    6.5: "2:0 8:1 13:2 20:3 32:5 50:7 80:10 125:14 200:21",
    10: "5:1 8:2 13:3 20:5 32:7 50:10 80:14 125:21",
    15: "3:1 5:2 8:3 13:5 20:7 32:10 50:14 80:21",
}


@pytest.mark.parametrize("percent", STANDARD_PLANS)
def test_standard_plans_accept_most_lots_at_their_acceptable_level(percent: float) -> None:
    """From about 88 % for the smallest plans to 99 % for the largest (MIL-STD-105E, 4.4; from memory)."""
    for plan in STANDARD_PLANS[percent].split():
        sample, accept = (int(part) for part in plan.split(":"))
        assert 0.87 < AttributePlan(sample, accept).acceptance(percent / 100) < 0.998, plan


def test_standard_plans_of_one_acceptance_number_accept_alike() -> None:
    """Along a diagonal of the table sample · AQL is nearly constant: both go in steps of one ratio."""
    products: dict[int, list[float]] = {}
    for percent, plans in STANDARD_PLANS.items():
        for plan in plans.split():
            sample, accept = (int(part) for part in plan.split(":"))
            products.setdefault(accept, []).append(sample * percent / 100)
    assert sorted(products) == [0, 1, 2, 3, 5, 7, 10, 14, 21]
    assert all(max(of_number) / min(of_number) < 1.16 for of_number in products.values())


@settings(max_examples=40)
@given(st.floats(0.005, 0.05), st.floats(2.5, 8), st.sampled_from([0.05, 0.1]), st.sampled_from([0.05, 0.1]))
def test_a_plan_keeps_both_risks_and_no_smaller_one_does(
    good: float, ratio: float, producer: float, consumer: float
) -> None:
    points = TwoPoints(good, good * ratio, producer, consumer)
    plan = attribute_plan(points)
    assert plan.acceptance(points.good) >= 1 - producer
    assert plan.acceptance(points.poor) <= consumer
    smaller = np.arange(1, plan.sample)
    highest = binom.ppf(
        1 - producer, smaller, points.good
    )  # the least acceptance number the producer can bear
    assert np.all(binom.cdf(highest, smaller, points.poor) > consumer)


def test_a_small_lot_needs_fewer_bays() -> None:
    points = TwoPoints(0.02, 0.15)
    assert attribute_plan(points, lot=80).sample < attribute_plan(points).sample


def test_variables_plan_with_known_sigma() -> None:
    """n = ((1.645 + 1.282)/(2.326 − 1.555))²: D. C. Montgomery, variables sampling plans."""
    plan = variables_plan(TwoPoints(0.01, 0.06), sigma_known=True)
    exact = ((norm.isf(0.05) + norm.isf(0.10)) / (norm.isf(0.01) - norm.isf(0.06))) ** 2
    assert plan.sample == np.ceil(exact)
    assert plan.acceptance(0.01) >= 0.95
    assert plan.acceptance(0.06) == pytest.approx(0.10, abs=1e-9)


def test_variables_plan_with_the_sample_deviation_is_exact() -> None:
    plan = variables_plan(TwoPoints(0.01, 0.06))
    assert plan.acceptance(0.06) == pytest.approx(0.10, abs=1e-7)
    assert plan.acceptance(0.01) >= 0.95
    root = plan.sample**0.5
    reference = nct.sf(root * plan.distance, plan.sample - 1, root * norm.isf(0.03))
    assert plan.acceptance(0.03) == pytest.approx(reference, rel=1e-9)
    one_less = VariablesPlan(plan.sample - 1, plan.distance, False)
    assert one_less.acceptance(0.01) < 0.95 or one_less.acceptance(0.06) > 0.10


def test_measuring_needs_fewer_bays_than_counting() -> None:
    points = TwoPoints(0.01, 0.06)
    assert variables_plan(points).sample < attribute_plan(points).sample / 2


def test_acceptance_of_a_variables_plan_is_what_a_simulation_finds() -> None:
    plan = VariablesPlan(12, 1.7, False)
    samples = np.random.default_rng(14).normal(norm.isf(0.04), 1, (40_000, 12))
    accepted = samples.mean(axis=1) / samples.std(axis=1, ddof=1) >= 1.7
    assert plan.acceptance(0.04) == pytest.approx(accepted.mean(), abs=0.008)


def test_sequential_plan_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.2.6 (from memory): good 0.01, poor 0.10, risks 0.05 and 0.10."""
    plan = sequential_plan(TwoPoints(0.01, 0.10, 0.05, 0.10))
    assert plan.slope == pytest.approx(0.0397, abs=5e-5)
    assert plan.accept_offset == pytest.approx(0.939, abs=5e-4)
    assert plan.reject_offset == pytest.approx(1.205, abs=5e-4)
    assert plan.decision(23, 0) == "go on"
    assert plan.decision(24, 0) == "accept"
    assert plan.decision(2, 2) == "reject"
    assert plan.decision(0, 0) == "go on"


def test_sequential_plan_keeps_its_points() -> None:
    """Wald's lines hold the sum of both risks; stepping over a line makes each a little smaller."""
    plan = sequential_plan(TwoPoints(0.01, 0.10, 0.05, 0.10))
    assert 0.95 <= plan.acceptance(0.01) < 0.98
    assert 0.07 < plan.acceptance(0.10) <= 0.10
    assert (plan.acceptance(0), plan.acceptance(1)) == (1, 0)
    assert (plan.average_sample(0), plan.average_sample(1)) == (24, 2)


@pytest.mark.parametrize("quality", [0.01, 0.04, 0.10])
def test_sequential_plan_agrees_with_a_simulation(quality: float) -> None:
    plan = sequential_plan(TwoPoints(0.02, 0.10, 0.05, 0.10))
    draw, lengths, accepted = np.random.default_rng(30), [], 0
    for _ in range(1500):
        n = d = 0
        while (decision := plan.decision(n, d)) == "go on":
            n, d = n + 1, d + int(draw.random() < quality)
        lengths.append(n)
        accepted += decision == "accept"
    assert accepted / 1500 == pytest.approx(plan.acceptance(quality), abs=0.04)
    assert np.mean(lengths) == pytest.approx(
        plan.average_sample(quality), abs=float(4 * np.std(lengths) / 38)
    )


def test_the_longest_sequential_samples_come_between_good_and_poor() -> None:
    plan = sequential_plan(TwoPoints(0.01, 0.10))
    assert plan.average_sample(plan.slope) > plan.average_sample(0.01)
    assert plan.average_sample(plan.slope) > plan.average_sample(0.10)


def test_skipping_starts_after_a_clear_row_and_ends_at_a_failure() -> None:
    rule, now = Skipping(clearance=3, every=4), Progress()
    for _ in range(3):
        assert rule.due(now)
        now = rule.after(now, accepted=True)
    passed = 0
    while not rule.due(now):
        now, passed = rule.pass_over(now), passed + 1
    assert passed == 3
    now = rule.after(now, accepted=False)
    assert now == Progress()
    with pytest.raises(Refusal, match="due to be checked"):
        rule.pass_over(now)


def test_skipping_in_the_long_run_agrees_with_a_simulation() -> None:
    rule, now, draw = Skipping(clearance=5, every=3), Progress(), np.random.default_rng(2)
    out = checked = 0
    for accepted in draw.random(60_000) < 0.9:
        if not rule.due(now):
            now, out = rule.pass_over(now), out + 1
            continue
        checked += 1
        out += int(accepted)
        now = rule.after(now, bool(accepted))
    assert out / 60_000 == pytest.approx(rule.acceptance(0.9), abs=0.01)
    assert checked / 60_000 == pytest.approx(rule.share_checked(0.9), abs=0.015)
    assert rule.average_sample(0.9, 20) == pytest.approx(20 * rule.share_checked(0.9))


def test_plans_without_meaning_are_refused() -> None:
    with pytest.raises(Refusal, match="good share lies below"):
        TwoPoints(0.1, 0.05)
    with pytest.raises(Refusal, match="add up to less than 1"):
        TwoPoints(0.01, 0.05, 0.6, 0.5)
    with pytest.raises(Refusal, match="rejects nothing"):
        AttributePlan(3, 3)
    with pytest.raises(Refusal, match="does not come from a lot of 10"):
        AttributePlan(20, 1, lot=10)
    with pytest.raises(Refusal, match="No plan with a sample of at most 20"):
        attribute_plan(TwoPoints(0.01, 0.02), lot=20)
    with pytest.raises(Refusal, match="from 0 to 1"):
        AttributePlan(20, 1).acceptance(1.2)
    with pytest.raises(Refusal, match="size of the lot"):
        AttributePlan(20, 1).average_inspected(0.1)
    with pytest.raises(Refusal, match="2 nonconforming of 1"):
        sequential_plan(TwoPoints(0.01, 0.1)).decision(1, 2)
    with pytest.raises(Refusal, match="least 2"):
        Skipping(3, 1)
