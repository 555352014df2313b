"""Penetrations as a schedule lists them, and the places they make."""

from dataclasses import replace

import pytest

from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.penetration import FACES, Penetration, check_penetrations
from qc_app.refusal import Refusal
from tests.plan.conftest import FOOT, subject

PIPE = Penetration("P1", "outer", "4 in", "pipe sleeve", 6 * FOOT, 3 * FOOT)
CABLE = Penetration("E1", "edge", "1 in")


def refusal_of(*penetrations: Penetration) -> str:
    with pytest.raises(Refusal) as refused:
        check_penetrations(penetrations, 24 * FOOT, 8 * FOOT)
    return str(refused.value)


def test_a_good_list_is_taken() -> None:
    corner = replace(PIPE, mark="P2", along=24 * FOOT, across=8 * FOOT)
    check_penetrations((PIPE, CABLE, corner), 24 * FOOT, 8 * FOOT)
    check_penetrations((), 24 * FOOT, 8 * FOOT)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"mark": ""}, "mark of a penetration has 1 to 20 characters"),
        ({"mark": "x" * 21}, "mark of a penetration has 1 to 20 characters"),
        ({"mark": "P\n1"}, "on one line"),
        ({"mark": "P1 "}, "mark of a penetration"),
        ({"face": "top"}, "face of penetration P1 is one of: outer, inner, both, edge. Given: “top”"),
        ({"size": ""}, "size of a penetration has 1 to 40"),
        ({"size": "x" * 41}, "size of a penetration has 1 to 40"),
        ({"sleeve": "x" * 61}, "sleeve of a penetration has 0 to 60"),
        ({"sleeve": "a\x00b"}, "on one line"),
        ({"along": 24 * FOOT + 1}, "centre of penetration P1 is not on the panel"),
        ({"across": -1}, "centre of penetration P1 is not on the panel"),
    ],
)
def test_a_bad_one_is_refused_with_what_is_wrong(change: dict[str, object], said: str) -> None:
    assert said in refusal_of(replace(PIPE, **change))  # type: ignore[arg-type]


def test_a_mark_is_taken_once_in_capitals_or_not() -> None:
    assert "two penetrations marked “p1”" in refusal_of(PIPE, replace(PIPE, mark="p1"))


def test_a_panel_has_at_most_99() -> None:
    many = [replace(CABLE, mark=f"E{n}") for n in range(100)]
    check_penetrations(many[:99], 24 * FOOT, 8 * FOOT)
    assert "at most 99" in refusal_of(*many)


def test_the_schedule_is_said_in_words(plan: ControlPlan) -> None:
    panel = replace(subject(), penetrations=(PIPE, CABLE))
    seal, core = (plan.characteristic("closed_roof", key) for key in ("penetration_seal", "core_density"))
    assert seal.detail(panel, "penetration P1") == "outer face, 4 in, pipe sleeve"
    assert seal.detail(panel, "penetration E1") == "edge, 1 in"
    assert seal.detail(panel, "penetration P9") == ""
    assert core.detail(panel, "bay 1") == ""


def test_a_penetration_is_a_place_of_its_own_and_makes_no_chart(plan: ControlPlan) -> None:
    panel = replace(subject(), penetrations=(PIPE, CABLE))
    place = plan.characteristic("closed_wall", "penetration_place")
    assert place.possible_places(panel) == place.due_places(panel) == ["penetration P1", "penetration E1"]
    assert place.requirement(panel, "penetration E1").upper == 0
    assert not place.charted


def test_every_face_has_its_words() -> None:
    assert all((words and words != face) or face == "edge" for face, words in FACES.items())
