"""The control plan that comes with the program says what the trade expects of it."""

from dataclasses import replace

import pytest

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.penetration import Penetration
from qc_app.plan.subject import Bay
from tests.plan.conftest import FOOT, INCH, subject

WHOLE_LINE = ("framing", "sheathing_fence", "services", "fill", "air_seal", "final")
SIXTEENTH = INCH // 16
MILLION = 1_000_000


@pytest.mark.parametrize(
    ("kind", "route"),
    [
        ("closed_roof", WHOLE_LINE),
        ("closed_wall", WHOLE_LINE),
        ("open_floor", ("framing", "sheathing_fence", "final")),
        ("partition", ("framing", "sheathing_fence", "final")),
        ("stairs", ("framing", "final")),
        ("deck", ("framing", "final")),
        ("rafter_set", ("framing", "final")),
        ("precut_members", ("framing",)),
    ],
)
def test_each_kind_passes_its_stations_in_order(plan: ControlPlan, kind: str, route: tuple[str, ...]) -> None:
    assert plan.kind(kind).route == route
    assert plan.kind(kind).is_lot == (kind == "precut_members")


def test_the_line_has_six_stations_in_order(plan: ControlPlan) -> None:
    assert tuple(station.key for station in plan.stations) == WHOLE_LINE


def test_every_station_of_every_route_has_something_to_check(plan: ControlPlan) -> None:
    checked = {(c.kind, c.station) for c in plan.characteristics}
    assert {(kind.key, station) for kind in plan.kinds for station in kind.route} == checked


def test_stations_where_work_can_hurt_show_cautions(plan: ControlPlan) -> None:
    cautions = {station.key: " ".join(station.cautions) for station in plan.stations}
    assert "never under a raised panel" in cautions["sheathing_fence"]
    assert "locked out" in cautions["services"]
    assert "respirator" in cautions["fill"]
    assert "licensed engineer" in cautions["final"]


@pytest.mark.parametrize(
    ("kind", "key", "place", "target", "lower", "upper"),
    [
        ("precut_members", "member_length", "member 2", 288 * INCH, -SIXTEENTH, SIXTEENTH),
        ("closed_roof", "connector_position", "connector 1", 48 * INCH, -2 * SIXTEENTH, 2 * SIXTEENTH),
        ("open_floor", "connector_position", "connector 2", 240 * INCH, -2 * SIXTEENTH, 2 * SIXTEENTH),
        ("stairs", "overall_length", "", 288 * INCH, -2 * SIXTEENTH, 2 * SIXTEENTH),
        ("closed_wall", "edge_length", "AB", 288 * INCH, -SIXTEENTH, SIXTEENTH),
        ("closed_wall", "end_length", "CB", 96 * INCH, -SIXTEENTH, SIXTEENTH),
        ("partition", "edge_length", "DC", 288 * INCH, -SIXTEENTH, SIXTEENTH),
        ("closed_roof", "squareness", "", 0, -SIXTEENTH, SIXTEENTH),
    ],
)
def test_lengths_are_judged_around_their_target(
    plan: ControlPlan, kind: str, key: str, place: str, target: int, lower: int, upper: int
) -> None:
    wanted = plan.characteristic(kind, key).requirement(subject(kind), place)
    assert (wanted.target, wanted.lower, wanted.upper) == (target, target + lower, target + upper)


@pytest.mark.parametrize(
    ("kind", "key", "place"),
    [
        ("precut_members", "member_moisture", "member 1"),
        ("closed_roof", "wood_moisture", "sill"),
        ("closed_wall", "wood_moisture", "stud"),
    ],
)
def test_wood_is_at_most_18_percent_wet_before_closing(
    plan: ControlPlan, kind: str, key: str, place: str
) -> None:
    # At most 18 %: US EPA Indoor airPLUS, construction specification 1.13; ATV DIN 18334 for timber houses.
    wanted = plan.characteristic(kind, key).requirement(subject(kind), place)
    assert (wanted.target, wanted.lower, wanted.upper) == (None, None, 18 * MILLION)
    assert wanted.verdict(18 * MILLION) is Verdict.WITHIN
    assert wanted.verdict(18 * MILLION + 1) is Verdict.OUTSIDE
    assert wanted.deviation(17 * MILLION) == 17 * MILLION


@pytest.mark.parametrize(
    ("depth", "target"),
    [(3.5, 3.8), (7.25, 3.8), (7.25 + 1 / 64, 4.0), (11.25, 4.0), (16, 4.0)],
)
def test_deep_bays_want_denser_fill(plan: ControlPlan, depth: float, target: float) -> None:
    # 3.5 to 4.5 lb/ft³ is the usual dense-pack window, and deep bays settle more (common practice).
    panel = subject(depth=round(depth * INCH))
    wanted = plan.characteristic("closed_roof", "core_density").requirement(panel, "bay 12")
    assert wanted.target == round(target * MILLION)
    assert (wanted.lower, wanted.upper) == (3_500_000, 4_500_000)


@pytest.mark.parametrize("depth", [3.5, 7.25, 11.25, 16])
def test_a_bay_is_filled_to_what_its_core_is_held_to(plan: ControlPlan, depth: float) -> None:
    panel = subject(depth=round(depth * INCH))
    fill, core = (plan.characteristic("closed_wall", key) for key in ("bay_fill", "core_density"))
    assert fill.requirement(panel, "bay 3") == core.requirement(panel, "bay 3")


def test_every_bay_is_weighed_and_one_is_cored_after_them(plan: ControlPlan) -> None:
    due = [(c.characteristic.key, c.place) for c in plan.checks(subject(), "fill")]
    assert due[:12] == [("bay_fill", f"bay {number}") for number in range(1, 13)]
    assert [key for key, _ in due[12:]] == ["core_density", "core_hole_check"]


def test_each_scheduled_penetration_is_compared_and_its_seal_checked(plan: ControlPlan) -> None:
    panel = replace(
        subject(), penetrations=(Penetration("P1", "outer", "4 in"), Penetration("E2", "edge", "1 in"))
    )
    for station, key in (("services", "penetration_place"), ("air_seal", "penetration_seal")):
        places = [c.place for c in plan.checks(panel, station) if c.characteristic.key == key]
        assert places == ["penetration P1", "penetration E2"]


def test_a_panel_without_penetrations_still_has_its_general_checks(plan: ControlPlan) -> None:
    keys = {c.characteristic.key for s in ("services", "air_seal") for c in plan.checks(subject(), s)}
    assert {"penetrations_check", "penetration_seal_check"} <= keys
    assert not {"penetration_place", "penetration_seal"} & keys


def test_each_bay_is_judged_by_its_own_depth(plan: ControlPlan) -> None:
    panel = replace(subject(), bays=(Bay(1, 22 * INCH, 5 * INCH), Bay(2, 22 * INCH, 11 * INCH)))
    density = plan.characteristic("closed_roof", "core_density")
    assert density.requirement(panel, "bay 1").target == 3_800_000
    assert density.requirement(panel, "bay 2").target == 4_000_000


@pytest.mark.parametrize("limit", [-SIXTEENTH, SIXTEENTH])
def test_exactly_on_a_limit_is_within_and_a_nanometre_beyond_is_not(plan: ControlPlan, limit: int) -> None:
    wanted = plan.characteristic("closed_roof", "squareness").requirement(subject(), "")
    assert wanted.verdict(limit) is Verdict.WITHIN
    assert wanted.verdict(limit + (1 if limit > 0 else -1)) is Verdict.OUTSIDE


def test_a_check_is_within_without_faults_only(plan: ControlPlan) -> None:
    wanted = plan.characteristic("closed_roof", "framing_check").requirement(subject(), "")
    assert wanted.verdict(0) is Verdict.WITHIN
    assert wanted.verdict(1) is Verdict.OUTSIDE


@pytest.mark.parametrize(
    ("kind", "keys"),
    [
        (
            "closed_roof",
            "connector_position framing_check edge_length end_length squareness nailing_check "
            "penetrations_check penetration_place wood_moisture bay_fill core_density core_hole_check "
            "seal_check penetration_seal_check penetration_seal label_check pick_check",
        ),
        (
            "open_floor",
            "connector_position framing_check edge_length end_length squareness nailing_check "
            "label_check pick_check",
        ),
        ("partition", "framing_check edge_length end_length squareness nailing_check label_check"),
        ("stairs", "framing_check overall_length label_check"),
        ("deck", "framing_check overall_length label_check pick_check"),
        ("precut_members", "member_length member_moisture"),
    ],
)
def test_each_kind_is_checked_for_what_matters_on_it(plan: ControlPlan, kind: str, keys: str) -> None:
    assert [c.key for c in plan.characteristics if c.kind == kind] == keys.split()


@pytest.mark.parametrize(
    ("key", "instruments"),
    [
        ("edge_length", {"tape"}),
        ("squareness", {"tape"}),
        ("wood_moisture", {"moisture_meter"}),
        ("bay_fill", {"scale"}),
        ("core_density", {"core_cutter", "scale"}),
        ("seal_check", set()),
    ],
)
def test_a_measurement_names_its_instruments(plan: ControlPlan, key: str, instruments: set[str]) -> None:
    assert set(plan.characteristic("closed_roof", key).instruments) == instruments


def test_checks_make_no_chart_and_measurements_do(plan: ControlPlan) -> None:
    charted = {c.key for c in plan.characteristics if c.charted}
    assert charted == {
        "member_length",
        "member_moisture",
        "connector_position",
        "overall_length",
        "edge_length",
        "end_length",
        "squareness",
        "wood_moisture",
        "bay_fill",
        "core_density",
    }


def test_both_edges_are_charted_apart_and_all_bays_together(plan: ControlPlan) -> None:
    edge, core = (plan.characteristic("closed_roof", key) for key in ("edge_length", "core_density"))
    assert (edge.stream_place("AB"), edge.stream_place("DC")) == ("AB", "DC")
    assert core.stream_place("bay 3") == core.stream_place("bay 7") == ""


def test_a_panel_of_8_by_24_ft_is_what_these_tests_think_it_is() -> None:
    assert (subject().length, subject().width) == (24 * FOOT, 8 * FOOT) == (7_315_200_000, 2_438_400_000)


def test_all_that_the_plan_says_has_its_spanish(plan: ControlPlan) -> None:
    said = {kind.name for kind in plan.kinds}
    for station in plan.stations:
        said |= {station.name, *station.cautions}
    for characteristic in plan.characteristics:
        places = {place for place in characteristic.places if not place.isupper()}
        said |= {characteristic.name, characteristic.how, *places} | ({characteristic.together} - {""})
    sleeves = {"pipe sleeve", "duct sleeve", "conduit sleeve"}
    assert set(plan.translations["es"]) == said | sleeves
