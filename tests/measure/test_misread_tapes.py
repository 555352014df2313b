"""A misread tape is caught while the panel is in the fence; impossible readings are refused by name."""

import math

import numpy as np
import pytest

from qc_app.measure.quadrilateral import PanelShape, solve
from qc_app.refusal import Refusal

NAMES = ("AB", "DC", "DA", "CB", "AC", "BD")
TRUE = (288.0, 288.0, 96.0, 96.0, math.hypot(288, 96) + 0.03, math.hypot(288, 96) - 0.03)
UNCERTAINTY = 1 / 32


def panel(
    length: float,
    width: float,
    six: list[float],
    uncertainty: float = UNCERTAINTY,
    rate: float = 0.01,
) -> PanelShape[float, bool]:
    edges, ends, diagonals = (six[0], six[1]), (six[2], six[3]), (six[4], six[5])
    return solve(
        length,
        width,
        edges=edges,
        ends=ends,
        diagonals=diagonals,
        uncertainty=uncertainty,
        false_alarm_rate=rate,
    )


def sixteenths(values: tuple[float, ...]) -> list[float]:
    return [round(value * 16) / 16 for value in values]


@pytest.mark.parametrize("row", range(6))
@pytest.mark.parametrize(
    ("error", "slip"),
    [(1, "one inch"), (-1, "one inch"), (12, "one foot"), (-12, "one foot"), (0.5, "half an inch")],
)
def test_one_misread_is_found_with_its_size(row: int, error: float, slip: str) -> None:
    six = sixteenths(TRUE)
    six[row] += error
    found = panel(288, 96, six)
    if row in (2, 3) and error == 0.5:
        # across a panel three times as long as wide the diagonals feel a third of an end's error: at the edge
        assert found.misclosure is not None
        assert abs(found.misclosure) == pytest.approx(0.5 * 96 / 303.6, abs=0.05)
        return
    assert found.is_consistent is False
    suspects = found.suspects()
    assert suspects[0].reading == NAMES[row]
    assert suspects[0].slip == slip
    assert suspects[0].change == pytest.approx(-error, abs=0.2)
    assert {suspect.reading for suspect in suspects} == set(NAMES)
    assert sum(suspect.plausibility for suspect in suspects) == pytest.approx(1)
    assert found.squaring_move is None


def test_every_suspect_alone_closes_the_figure() -> None:
    six = sixteenths(TRUE)
    six[4] += 1
    for suspect in panel(288, 96, six).suspects():
        mended = list(six)
        mended[NAMES.index(suspect.reading)] = suspect.expected
        assert panel(288, 96, mended).misclosure == pytest.approx(0, abs=1e-9)


def test_the_same_diagonal_entered_twice_is_suspected() -> None:
    lean = 0.75
    ac, bd = math.hypot(288 + lean, 96), math.hypot(288 - lean, 96)
    side = math.hypot(96, lean)
    six = sixteenths((288, 288, side, side, ac, ac))
    found = panel(288, 96, six)
    assert found.is_consistent is False
    assert [suspect.slip for suspect in found.suspects()[:2]] == ["the same diagonal entered twice"] * 2
    assert any(suspect.expected == pytest.approx(bd, abs=0.1) for suspect in found.suspects()[:2])


def test_sixteenths_counted_from_the_wrong_mark_are_suspected() -> None:
    six = [288.0, 288.0, 96.0, 96.0, 303.5625, 303.5625]
    six[0] = 287 + 3 / 16
    six[1] = 287 + 13 / 16
    six[4] = six[5] = math.hypot(287 + 13 / 16, 96)
    found = panel(287 + 13 / 16, 96, six)
    assert found.suspects()[0].reading == "AB"
    assert found.suspects()[0].slip == "sixteenths counted from the wrong inch mark"


def test_a_metric_tape_has_metric_slips() -> None:
    six = [7315.0, 7315.0, 2438.0, 2438.0, 7710.6 + 10, 7710.6]
    found = panel(7315 / 25.4, 2438 / 25.4, [value / 25.4 for value in six], 1 / 25.4)
    assert found.suspects("metric")[0].reading == "AC"
    assert found.suspects("metric")[0].slip == "10 mm"


def test_an_error_of_scale_common_to_all_readings_is_invisible() -> None:
    found = panel(288, 96, [1.003 * value for value in TRUE])
    assert found.misclosure == pytest.approx(panel(288, 96, list(TRUE)).misclosure, abs=1e-5)


@pytest.mark.parametrize("lean", [0.4, -0.4])
def test_racking_by_the_named_move_makes_the_panel_square(lean: float) -> None:
    height = math.sqrt(96**2 - lean**2)
    ac, bd = math.hypot(288 + lean, height), math.hypot(288 - lean, height)
    found = panel(288, 96, [288, 288, 96, 96, ac, bd])
    move = found.squaring_move
    assert move is not None
    assert (move.corner, move.towards) == (("C", "D") if lean > 0 else ("D", "C"))
    assert move.distance == pytest.approx(abs(lean), abs=1e-9)
    assert move.diagonal == pytest.approx(math.hypot(288, 96), abs=1e-9)
    # Trade rule: each diagonal changes by half of their difference
    assert abs(ac - move.diagonal) == pytest.approx(abs(ac - bd) / 2, abs=2e-4 + 1e-3)


GOOD = [288.0, 288.0, 96.0, 96.0, 303.5625, 303.5625]


@pytest.mark.parametrize("row", range(6))
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_size_is_refused_by_name(row: int, value: float) -> None:
    six = list(GOOD)
    six[row] = value
    with pytest.raises(Refusal) as refusal:
        panel(288, 96, six)
    assert f"Reading {NAMES[row]} must be a finite number of inches, more than zero, not {value}" in str(
        refusal.value
    )


@pytest.mark.parametrize("row", range(6))
@pytest.mark.parametrize("factor", [1 / 12, 25.4, 1 / 39.37])
def test_a_reading_in_another_unit_is_refused_by_name(row: int, factor: float) -> None:
    six = list(GOOD)
    six[row] *= factor
    with pytest.raises(Refusal) as refusal:
        panel(288, 96, six)
    assert f"Reading {NAMES[row]} of" in str(refusal.value)
    assert "Check its unit" in str(refusal.value)


@pytest.mark.parametrize(
    ("row", "value", "reason"),
    [
        (4, 385.0, "Diagonal AC of 385.0 in cannot be: sides AB and CB leave 192.0 to 384.0 in"),
        (4, 191.0, "Diagonal AC of 191.0 in cannot be"),
        (5, 384.0, "Diagonal BD of 384.0 in cannot be"),
        (5, 192.0, "Diagonal BD of 192.0 in cannot be"),
    ],
)
def test_a_diagonal_no_triangle_allows_is_refused(row: int, value: float, reason: str) -> None:
    six = list(GOOD)
    six[row] = value
    with pytest.raises(Refusal) as refusal:
        panel(288, 96, six)
    assert reason in str(refusal.value)


def test_a_bad_panel_among_many_is_named() -> None:
    diagonal = np.full(10_000, 303.5625)
    diagonal[8_000] = 385
    with pytest.raises(Refusal, match="AC of panel 8001"):
        solve(
            288, 96, edges=(288, 288), ends=(96, 96), diagonals=(diagonal, 303.5625), uncertainty=UNCERTAINTY
        )


def test_readings_of_no_convex_panel_are_refused() -> None:
    with pytest.raises(Refusal, match="contradict"):
        panel(96, 96, [96, 96, 96, 96, 190, 190])
    diagonals = np.array([135.75, 135.75, 190, 135.75])
    with pytest.raises(Refusal, match="panel 3 contradict"):
        solve(
            96, 96, edges=(96, 96), ends=(96, 96), diagonals=(diagonals, diagonals), uncertainty=UNCERTAINTY
        )


@pytest.mark.parametrize("uncertainty", [0, -0.1, math.nan, math.inf, (0.1, 0.1, 0.1, 0.1, 0.1, 0)])
def test_an_uncertainty_is_positive(uncertainty: float) -> None:
    with pytest.raises(Refusal, match="uncertainty"):
        panel(288, 96, GOOD, uncertainty)


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(Refusal, match="both diagonals, or all four sides"):
        solve(288, 96, edges=(288, 288), ends=(96, 96), diagonals=(None, None), uncertainty=UNCERTAINTY)
    with pytest.raises(Refusal, match="both diagonals, or all four sides"):
        solve(288, 96, edges=(288, 288), ends=(96, None), diagonals=(303.5, None), uncertainty=UNCERTAINTY)


@pytest.mark.parametrize("rate", [0, 1, -1, math.nan])
def test_a_false_alarm_rate_is_a_probability(rate: float) -> None:
    with pytest.raises(Refusal, match="false-alarm"):
        panel(288, 96, GOOD, UNCERTAINTY, rate)


def test_suspects_and_moves_are_asked_of_one_panel() -> None:
    many = solve(
        288, 96, edges=(288, 288), ends=(96, 96), diagonals=(np.array([303.5, 304]), 303.5), uncertainty=0.03
    )
    with pytest.raises(Refusal, match="one panel at a time"):
        many.suspects()
    with pytest.raises(Refusal, match="one panel at a time"):
        _ = many.squaring_move


def test_a_reading_too_far_off_for_a_slip_is_no_suspect() -> None:
    # AB a foot too long and BD three feet too short; only BD can be changed little enough to close the figure
    found = panel(109, 63, [121, 109, 63, 63, 126, 90])
    assert found.is_consistent is False
    assert [suspect.reading for suspect in found.suspects()] == ["BD"]


def test_sides_that_cross_are_no_panel() -> None:
    # corners C and D of a 4 by 4 square exchanged: DA and CB are its diagonals; plane geometry
    crossed = math.hypot(4, 4)
    with pytest.raises(Refusal, match="contradict each other"):
        panel(4, 4, [4, 4, crossed, crossed, 4, 4])
