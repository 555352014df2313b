"""What is due on a panel, and where it waits."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import CheckKey, ControlPlan, unproven
from qc_app.plan.document import read_plan
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal
from qc_app.work.setup import default_document
from tests.plan.conftest import INCH, subject

DEFAULT = read_plan(default_document())
CORED = DEFAULT.characteristic("closed_roof", "core_density").due_places(subject())[0]
WEIGHED = [("bay_fill", f"bay {number}") for number in range(1, 13)]


def all_keys(panel: Subject) -> list[CheckKey]:
    route = DEFAULT.kind(panel.kind).route
    return [(c.characteristic.key, c.place) for station in route for c in DEFAULT.checks(panel, station)]


def due(station: str, panel: Subject | None = None) -> list[CheckKey]:
    return [(c.characteristic.key, c.place) for c in DEFAULT.checks(panel or subject(), station)]


@pytest.mark.parametrize(
    ("station", "checks"),
    [
        (
            "framing",
            [
                ("connector_position", "connector 1"),
                ("connector_position", "connector 2"),
                ("framing_check", ""),
            ],
        ),
        (
            "sheathing_fence",
            [
                ("edge_length", "AB"),
                ("edge_length", "DC"),
                ("end_length", "DA"),
                ("end_length", "CB"),
                ("squareness", ""),
                ("nailing_check", ""),
            ],
        ),
        ("services", [("penetrations_check", ""), ("wood_moisture", "sill"), ("wood_moisture", "stud")]),
        ("fill", [*WEIGHED, ("core_density", CORED), ("core_hole_check", "")]),
        ("air_seal", [("seal_check", ""), ("penetration_seal_check", "")]),
        ("final", [("label_check", ""), ("pick_check", "")]),
    ],
)  # fmt: skip
def test_checks_are_due_in_the_order_of_the_plan(station: str, checks: list[CheckKey]) -> None:
    assert due(station) == checks


def test_a_station_off_the_route_has_nothing_due() -> None:
    assert due("fill", subject("open_floor")) == []


def test_a_panel_waits_at_the_first_station_of_its_route() -> None:
    assert DEFAULT.waiting_at(subject(), {}) == "framing"


def test_a_panel_moves_on_when_everything_due_is_within() -> None:
    proven = dict.fromkeys(due("framing"), Verdict.WITHIN)
    assert DEFAULT.waiting_at(subject(), proven) == "sheathing_fence"


@pytest.mark.parametrize("verdict", [Verdict.OUTSIDE, Verdict.UNCLEAR])
def test_a_reading_that_is_not_within_holds_the_panel(verdict: Verdict) -> None:
    known = {**dict.fromkeys(due("framing"), Verdict.WITHIN), ("framing_check", ""): verdict}
    assert DEFAULT.waiting_at(subject(), known) == "framing"


def test_readings_of_a_later_station_do_not_let_a_panel_skip_one() -> None:
    known = dict.fromkeys([*due("framing"), *due("services")], Verdict.WITHIN)
    assert DEFAULT.waiting_at(subject(), known) == "sheathing_fence"
    assert (
        DEFAULT.waiting_at(subject(), known | dict.fromkeys(due("sheathing_fence"), Verdict.WITHIN)) == "fill"
    )


def test_a_panel_is_gone_from_a_station_that_is_no_hold_point_once_a_later_one_has_a_reading() -> None:
    document = default_document().replace('name = "Services"', 'name = "Services"\nhold_point = false')
    plan, before = read_plan(document), [*due("framing"), *due("sheathing_fence")]
    proven = dict.fromkeys(before, Verdict.WITHIN)
    assert plan.waiting_at(subject(), proven) == "services"
    assert plan.waiting_at(subject(), {**proven, ("label_check", ""): Verdict.OUTSIDE}) == "fill"
    rest = [key for key in all_keys(subject()) if key not in due("services")]
    assert plan.waiting_at(subject(), dict.fromkeys(rest, Verdict.WITHIN)) == "services"
    assert plan.waiting_at(subject(), dict.fromkeys(all_keys(subject()), Verdict.WITHIN)) is None
    assert plan.behind("closed_roof", proven) == ("framing",)
    assert plan.behind("closed_roof", {}) == ()


def test_a_core_of_another_bay_does_not_stand_for_the_one_that_is_due() -> None:
    other = "bay 1" if CORED != "bay 1" else "bay 2"
    proven = dict.fromkeys(all_keys(subject()), Verdict.WITHIN)
    del proven["core_density", CORED]
    assert DEFAULT.waiting_at(subject(), proven | {("core_density", other): Verdict.WITHIN}) == "fill"


def test_a_station_with_nothing_due_is_passed_by() -> None:
    never = tuple(replace(c, every=2) if c.station == "services" else c for c in DEFAULT.characteristics)
    plan = ControlPlan(DEFAULT.name, DEFAULT.stations, DEFAULT.kinds, never)
    known = dict.fromkeys([*due("framing"), *due("sheathing_fence")], Verdict.WITHIN)
    assert plan.waiting_at(subject(serial=2), known) == "fill"
    assert plan.waiting_at(subject(serial=3), known) == "services"


@given(st.sets(st.sampled_from(all_keys(subject()))))
def test_a_panel_waits_until_all_is_proven_and_then_no_more(proven: set[CheckKey]) -> None:
    waiting = DEFAULT.waiting_at(subject(), dict.fromkeys(proven, Verdict.WITHIN))
    assert (waiting is None) == (proven == set(all_keys(subject())))
    if waiting is not None:
        route = DEFAULT.kind("closed_roof").route
        assert all(set(due(station)) <= proven for station in route[: route.index(waiting)])
        assert not set(due(waiting)) <= proven


def test_unproven_checks_are_named() -> None:
    known = {("edge_length", "AB"): Verdict.WITHIN, ("edge_length", "DC"): Verdict.OUTSIDE}
    left = unproven(DEFAULT.checks(subject(), "sheathing_fence"), known)
    assert [(c.characteristic.key, c.place) for c in left] == [
        ("edge_length", "DC"),
        ("end_length", "DA"),
        ("end_length", "CB"),
        ("squareness", ""),
        ("nailing_check", ""),
    ]


@pytest.mark.parametrize(
    ("key", "place", "said"),
    [
        ("edge_length", "XY", "R-01 has no XY for Length of edge."),
        ("edge_length", "", "R-01 has no ? for Length of edge."),
        ("squareness", "AB", "R-01 has no AB for Difference of diagonals."),
        ("core_density", "bay 13", "R-01 has no bay 13 for Core-sample density."),
        ("core_density", "bay", "R-01 has no bay for"),
        ("connector_position", "connector 0", "R-01 has no connector 0 for"),
        ("connector_position", "connector 3", "R-01 has no connector 3 for"),
        ("penetration_seal", "penetration P9", "R-01 has no penetration P9 for Seal of penetration."),
    ],
)
def test_a_place_that_the_panel_does_not_have_is_refused(key: str, place: str, said: str) -> None:
    with pytest.raises(Refusal) as refused:
        DEFAULT.characteristic("closed_roof", key).requirement(subject(), place)
    assert said in str(refused.value)


def test_a_bay_deeper_than_all_bands_has_no_limits() -> None:
    deep = subject(depth=17 * INCH)
    with pytest.raises(Refusal, match=r"no limits for Core-sample density at a depth of 17\.0 in"):
        DEFAULT.characteristic("closed_roof", "core_density").requirement(deep, "bay 1")


def test_names_that_the_plan_does_not_know_are_refused() -> None:
    with pytest.raises(Refusal, match="no station called “roof”"):
        DEFAULT.station("roof")
    with pytest.raises(Refusal, match="no kind of panel called “shed”"):
        DEFAULT.kind("shed")
    with pytest.raises(Refusal, match="no characteristic “core_density” for Open floor panel"):
        DEFAULT.characteristic("open_floor", "core_density")


def test_a_bay_is_found_by_its_number() -> None:
    bay = subject().bay(12)
    assert bay is not None
    assert bay.width == 45 * INCH // 2
    assert subject().bay(13) is None
