"""Several kinds on one chart."""

from collections.abc import Callable

import numpy as np
import pytest

from qc_app.refusal import Refusal
from qc_app.spc.short_run import by_tolerance, deviations, sigmas_by_kind, standardised

LONG = [[50, 51, 52], [49, 50, 51], [48, 49, 52], [49, 53, 51]]
SHORT = [[24, 27, 26], [25, 27, 24], [27, 26, 23], [25, 24, 23], [24, 25, 25], [26, 24, 25]]


def test_deviations_of_two_parts_from_their_nominal() -> None:
    """Montgomery, *Introduction to Statistical Quality Control*, short production runs (from memory).

    Printed: mean 0.17, mean range 2.7, limits 2.93 and −2.60 (made with A2 = 1.023), ranges up to 6.95.
    """
    chart = deviations(LONG + SHORT, [50] * 4 + [25] * 6)
    assert chart.points.round(2).tolist() == [1.00, 0.00, -0.33, 1.00, 0.67, 0.33, 0.33, -1.00, -0.33, 0.00]
    assert chart.spread.points.tolist() == [2, 2, 4, 4, 3, 3, 4, 2, 1, 2]
    assert round(float(chart.centre), 2) == 0.17
    assert (round(float(chart.upper[0]), 2), round(float(chart.lower[0]), 2)) == (2.93, -2.60)
    assert float(chart.spread.upper[0]) == pytest.approx(6.95, abs=0.005)


def test_kinds_of_different_spread_share_a_chart_once_standardised() -> None:
    draw = np.random.default_rng(11)
    kinds = ["wall", "roof"] * 40
    targets = np.where(np.array(kinds) == "wall", 96.0, 288.0)
    sigma = np.where(np.array(kinds) == "wall", 0.05, 0.5)
    values = targets + draw.normal(0, sigma)
    found = sigmas_by_kind(values, kinds)
    assert found == pytest.approx(sigma, rel=0.35)
    chart = standardised(values, targets, found)
    assert chart.upper.tolist() == [3.0] * 80
    assert float(np.std(chart.points)) == pytest.approx(1, rel=0.25)


def test_a_share_of_the_tolerance_is_one_at_the_limit() -> None:
    chart = by_tolerance([96.125, 119.75, 96.0], [96, 120, 96], [0.125, 0.25, 0.125])
    assert chart.points.tolist() == [1.0, -1.0, 0.0]


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: deviations([1.0, 2.0], [1.0, 2.0, 3.0]), "2 values came with 3 targets"),
        (lambda: deviations([], 1), "At least 2"),
        (lambda: by_tolerance([1.0, 2.0], 1, 0), "above zero. Given: 0"),
        (lambda: standardised([1.0, float("nan")], 1, 1), "nan as value 2"),
        (lambda: sigmas_by_kind([1.0, 2.0, 3.0], ["a", "a", "b"]), "kind “b” needs two values"),
        (lambda: sigmas_by_kind([1.0], ["a", "b"]), "1 values came with 2 kinds"),
        (lambda: deviations([[1.0], [2.0, 3.0]], 1), "Subgroup 1 needs at least 2"),
    ],
)
def test_input_without_meaning_is_refused(act: Callable[[], object], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        act()
