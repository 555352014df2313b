"""A packet says what was measured, hides nothing, and claims no more than the readings prove."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from uuid import uuid4

import pytest
from sqlalchemy import event
from sqlalchemy.orm import Session

from qc_app.packet.content import BuildingPacket, packet_content
from qc_app.packet.panel_record import CheckLine
from qc_app.packet.panel_tables import bay_fills, beside, penetrations
from qc_app.packet.reading_line import Fate, State
from qc_app.plan.control_plan import Check
from qc_app.plan.penetration import Penetration
from qc_app.records.building import Building, Panel
from qc_app.records.database import Database
from qc_app.records.photo import Photo
from qc_app.records.reading import Reading
from qc_app.work import find
from qc_app.work.record import NewReading, record
from qc_app.work.schedule import add_building, add_panel
from tests.conftest import NOW, Cast, roof_panel

LATER = NOW + timedelta(days=9)

GOOD = {
    "check": {"passed": "yes"},
    "meter": {"percent": "14.5 %"},
    "fill": {"mass": "56 lb", "setting": "gate 5", "seconds": "98"},
    "core": {"mass": "58 g", "depth": '11 1/4"'},
    "difference_of_diagonals": {"ac": "25' 3 9/16\"", "bd": "25' 3 5/8\""},
}


def take(
    session: Session,
    cast: Cast,
    panel: Panel,
    key: str,
    entries: dict[str, str],
    *,
    place: str = "",
    minutes: int = 0,
    note: str = "",
    photos: tuple[str, ...] = (),
    corrects: Reading | None = None,
    reason: str = "",
) -> Reading:
    """Records one reading at the characteristic's own station, with one instrument of each kind it needs."""
    worker = cast.person(session, "worker")
    characteristic = panel.control_plan.plan.characteristic(panel.kind, key)
    instruments = tuple(find.instruments(session, worker, (kind,))[0] for kind in characteristic.instruments)
    new = NewReading(
        uuid4(),
        panel,
        find.station(session, worker, characteristic.station),
        key,
        place,
        entries,
        NOW + timedelta(minutes=minutes),
        instruments,
        note,
        supersedes=corrects.uuid if corrects else None,
        reason=reason,
        photos=photos,
    )
    return record(session, worker, new, LATER)


def good_entries(panel: Panel, check: Check) -> dict[str, str]:
    """Entries that lie within the limits of a check on the cast's panels."""
    if check.characteristic.method.key == "tape":
        target = check.characteristic.requirement(panel.subject, check.place).target or 0
        return {"length": f"{target // 25_400_000} in"}
    return GOOD[check.characteristic.method.key]


def prove(session: Session, cast: Cast, panel: Panel, *, without: str = "") -> None:
    """Records a good reading for every due check except those of one characteristic."""
    plan = panel.control_plan.plan
    for station in plan.kind(panel.kind).route:
        for check in plan.checks(panel.subject, station):
            if check.characteristic.key != without:
                entries = good_entries(panel, check)
                take(session, cast, panel, check.characteristic.key, entries, place=check.place)


def packet_of(session: Session, cast: Cast) -> BuildingPacket:
    building = find.building(session, cast.person(session, "manager"), cast.building)
    return packet_content(session, building, LATER)


def checked(packet: BuildingPacket, mark: str, name: str, place: str = "") -> CheckLine:
    """The line of one check."""
    panel = next(panel for panel in packet.panels if panel.mark == mark)
    return next(check for check in panel.checks if (check.name, check.place) == (name, place))


@pytest.fixture
def session(database: Database, cast: Cast) -> Iterator[Session]:
    """A session that sees the cast; what it wrote is dropped at the end."""
    assert cast.building
    with Session(database.engine) as opened:
        yield opened


def roof(session: Session, cast: Cast) -> Panel:
    return find.panel(session, cast.person(session, "worker"), cast.panel)


def core_place(panel: Panel) -> str:
    """The bay of the roof panel that the plan wants cored."""
    (check,) = [
        check
        for check in panel.control_plan.plan.checks(panel.subject, "fill")
        if check.characteristic.key == "core_density"
    ]
    return check.place


def test_a_building_without_readings_has_every_check_open(session: Session, cast: Cast) -> None:
    packet = packet_of(session, cast)
    assert (packet.plant, packet.code, packet.name) == (
        "Plumb & Larch Panel Works",
        "H1",
        "Fern Hollow House",
    )
    assert packet.by_kind == {"Closed roof panel": 1, "Open floor panel": 1}
    assert (packet.proven, packet.open) == (0, 2)
    assert packet.by_state[State.NOT_RECORDED] == sum(len(panel.checks) for panel in packet.panels) > 0
    assert "Air seal of joints: not yet recorded." in packet.panels[0].open_points


def test_a_panel_with_every_due_check_within_is_proven(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    prove(session, cast, panel)
    packet = packet_of(session, cast)
    assert panel.waiting_at is None
    assert packet.panels[0].is_proven
    assert packet.panels[0].open_points == ()
    assert (packet.proven, packet.open) == (1, 1)


def test_one_missing_check_leaves_the_panel_open(session: Session, cast: Cast) -> None:
    prove(session, cast, roof(session, cast), without="seal_check")
    first = packet_of(session, cast).panels[0]
    assert first.open_points == ("Air seal of joints: not yet recorded.",)
    assert first.summary == "Open: 1 not recorded"


def test_a_thin_core_is_stated_with_the_limit_it_misses(session: Session, cast: Cast) -> None:
    # 2 1/2 in bore, 11 1/4 in deep: 55.22 in³, or 0.031959 ft³. 46.53 g are 0.10258 lb; 3.21 lb/ft³.
    panel = roof(session, cast)
    place = core_place(panel)
    prove(session, cast, panel, without="core_density")
    take(session, cast, panel, "core_density", {"mass": "46.53 g", "depth": "11 1/4"}, place=place)
    (point,) = packet_of(session, cast).panels[0].open_points
    assert point == f"Core-sample density, {place}: 3.21 lb/ft³, below the lower limit 3.50 lb/ft³."


def test_faults_where_none_is_allowed_are_stated(session: Session, cast: Cast) -> None:
    take(session, cast, roof(session, cast), "seal_check", {"passed": "no", "faults": "2"})
    packet = packet_of(session, cast)
    assert "Air seal of joints: 2 faults, where none is allowed." in packet.panels[0].open_points


def test_a_reading_keeps_what_was_typed_beside_what_it_amounts_to(session: Session, cast: Cast) -> None:
    take(
        session, cast, roof(session, cast), "edge_length", {"length": "288.0625 in"}, place="AB", note="Cold."
    )
    check = checked(packet_of(session, cast), "R-01", "Length of edge", "AB")
    line = check.newest
    assert line is not None
    assert (line.entered, line.value, line.deviation) == ("288.0625 in", "24' 0 1/16\"", '+1/16"')
    assert (check.target, check.limits) == ("24' 0\"", "23' 11 15/16\" to 24' 0 1/16\"")
    assert (line.by, line.instruments, line.note) == ("Wren Abbey", ("Tape 4",), "Cold.")
    assert check.state is State.WITHIN


def test_times_are_local_to_the_plant(session: Session, cast: Cast) -> None:
    # 15:00 UTC on 2 March 2026 is 10:00 in New York (UTC−5 until 8 March; IANA time zone database).
    take(session, cast, roof(session, cast), "seal_check", {"passed": "yes"})
    line = checked(packet_of(session, cast), "R-01", "Air seal of joints").newest
    assert line is not None
    assert line.measured_at.isoformat() == "2026-03-02T10:00:00-05:00"


def test_the_lean_stands_beside_the_difference_of_diagonals(session: Session, cast: Cast) -> None:
    # For sides a, b at an angle φ, AC² − BD² = 4ab·cos φ (law of cosines): with AC − BD = −1/16 in on
    # 8 by 24 ft the lean over the width is (AC + BD)·(AC − BD) / (4·288 in) = −0.033 in.
    take(session, cast, roof(session, cast), "squareness", GOOD["difference_of_diagonals"])
    line = checked(packet_of(session, cast), "R-01", "Difference of diagonals").newest
    assert line is not None
    assert line.value == '−1/16"'
    assert "Lean over the width: −0.033 in" in line.companions


def test_earlier_readings_are_listed_with_what_became_of_them(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    for minutes, length in enumerate(("288 1/4 in", "287 3/4 in", "288 in")):
        take(session, cast, panel, "edge_length", {"length": length}, place="AB", minutes=minutes)
    packet = packet_of(session, cast)
    check = checked(packet, "R-01", "Length of edge", "AB")
    assert [line.value for line in check.earlier] == ["24' 0 1/4\"", "23' 11 3/4\""]
    assert {line.fate for line in check.earlier} == {Fate.MEASURED_AGAIN}
    assert check.open_point == ""
    assert packet.earlier == 2


def test_a_worse_newest_reading_is_not_covered_by_a_better_earlier_one(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    take(session, cast, panel, "seal_check", {"passed": "yes"})
    take(session, cast, panel, "seal_check", {"passed": "no", "faults": "1"}, minutes=1)
    check = checked(packet_of(session, cast), "R-01", "Air seal of joints")
    assert check.state is State.OUTSIDE
    assert check.open_point == "Air seal of joints: 1 fault, where none is allowed."


def test_a_corrected_reading_stays_in_sight_and_proves_nothing(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    wrong = take(session, cast, panel, "edge_length", {"length": "288 in"}, place="AB", minutes=5)
    right = take(session, cast, panel, "edge_length", {"length": "288 1/2 in"}, place="DC", minutes=5)
    supersede(session, right, wrong)
    packet = packet_of(session, cast)
    replaced = checked(packet, "R-01", "Length of edge", "AB")
    assert replaced.state is State.NOT_RECORDED
    assert [line.fate for line in replaced.earlier] == [Fate.CORRECTED]
    assert checked(packet, "R-01", "Length of edge", "DC").state is State.OUTSIDE


def supersede(session: Session, right: Reading, wrong: Reading) -> None:
    """Makes one reading the correction of another; readings are only ever added, so it is added anew."""
    again = Reading(
        **{
            column.key: getattr(right, column.key)
            for column in Reading.__mapper__.column_attrs
            if column.key not in ("id", "uuid", "supersedes_id")
        },
        uuid=uuid4(),
        supersedes_id=wrong.id,
    )
    session.add(again)
    session.flush()


def test_a_correction_says_why(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    wrong = take(session, cast, panel, "edge_length", {"length": "287 in"}, place="AB")
    why = "Read the foot mark as the inch mark"
    take(session, cast, panel, "edge_length", {"length": "288 in"}, place="AB", corrects=wrong, reason=why)
    check = checked(packet_of(session, cast), "R-01", "Length of edge", "AB")
    assert [(line.fate, line.corrected_because) for line in check.earlier] == [(Fate.CORRECTED, why)]
    assert beside(check)[0].endswith(f"corrected, because: {why}.")


def test_the_fill_of_each_bay_is_a_row_with_what_was_typed(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    entries = {"mass": "56.2 lb", "setting": "gate 5", "seconds": "102"}
    take(session, cast, panel, "bay_fill", entries, place="bay 3")
    take(session, cast, panel, "bay_fill", {"mass": "45 lb"}, place="bay 4", minutes=1)
    fills = bay_fills(packet_of(session, cast).panels[0])
    assert fills is not None
    rows = {row["bay"]: row for row in fills["rows"]}
    assert list(rows) == [str(number) for number in range(1, 13)]
    three, four, five = rows["3"], rows["4"], rows["5"]
    assert {key: three[key] for key in entries} == entries
    # 56.2 lb in 22 1/2 × 96 × 11 1/4 in, 14.0625 ft³: 3.9964 lb/ft³.
    assert (three["density"], three["deviation"], three["state"]) == ("4.00 lb/ft³", "−0.00 lb/ft³", "within")
    assert (four["setting"], four["state"]) == ("", "outside")
    assert (five["mass"], five["density"], five["state"]) == ("", "", "not recorded")
    assert fills["shared"] == "3.50 lb/ft³ to 4.50 lb/ft³, target 4.00 lb/ft³; Wren Abbey, Scale 1"


def test_a_panel_that_is_not_filled_has_no_table_of_bays(session: Session, cast: Cast) -> None:
    assert bay_fills(packet_of(session, cast).panels[1]) is None


def test_penetrations_are_told_one_by_one_with_what_is_scheduled(session: Session, cast: Cast) -> None:
    manager = cast.person(session, "manager")
    building = find.building(session, manager, cast.building)
    listed = (Penetration("P1", "outer", "4 in", "pipe sleeve"), Penetration("E1", "edge", "1 in"))
    new = replace(roof_panel("R-09", 9), penetrations=listed)
    panel = add_panel(session, manager, building, new, NOW)
    take(session, cast, panel, "penetration_place", {"passed": "yes"}, place="penetration P1")
    take(session, cast, panel, "penetration_seal", {"passed": "no", "faults": "1"}, place="penetration P1")
    told = penetrations(next(p for p in packet_of(session, cast).panels if p.mark == "R-09"))
    assert told is not None
    assert told["names"] == ["Sleeve as scheduled", "Seal of penetration"]
    pipe, cable = told["rows"]
    assert (pipe["mark"], pipe["detail"]) == ("P1", "outer face, 4 in, pipe sleeve")
    assert [(c["state"], c["faults"]) for c in pipe["checks"]] == [("within", ""), ("outside", "1 fault")]
    assert [c["state"] for c in cable["checks"]] == ["not recorded", "not recorded"]


def test_faults_are_placed_as_a_tape_finds_them(session: Session, cast: Cast) -> None:
    # A quarter of 24 ft and half of 8 ft; 81 % of 24 ft is 19 ft 5.28 in, 12 % of 8 ft is 11.52 in.
    failed = {"passed": "no", "faults": "2", "where": "250,500; 810,120"}
    take(session, cast, roof(session, cast), "nailing_check", failed)
    line = checked(packet_of(session, cast), "R-01", "Nailing as scheduled").newest
    assert line is not None
    assert line.where == (
        "about 6' 0\" from end AD and 4' 0\" from edge AB; about 19' 5\" from end AD and 1' 0\" from edge AB"
    )
    assert (line.value, line.entered) == ("2 faults", "no, 2")


def test_photos_are_counted_and_named_by_their_content(session: Session, cast: Cast) -> None:
    worker, name = cast.person(session, "worker"), "5e" * 32
    session.add(
        Photo(
            sha256=name,
            plant_id=worker.plant_id,
            media_type="image/jpeg",
            size=1,
            width=1,
            height=1,
            person_id=worker.id,
            received_at=NOW,
        )
    )
    session.flush()
    take(session, cast, roof(session, cast), "seal_check", {"passed": "yes"}, photos=(name,))
    check = checked(packet_of(session, cast), "R-01", "Air seal of joints")
    assert beside(check) == [f"1 photo, SHA-256 {name}."]


def test_a_bad_core_beyond_the_plan_keeps_the_panel_open(session: Session, cast: Cast) -> None:
    panel = roof(session, cast)
    prove(session, cast, panel)
    other = next(f"bay {bay.number}" for bay in panel.bays if f"bay {bay.number}" != core_place(panel))
    take(session, cast, panel, "core_density", {"mass": "40 g", "depth": "11 1/4"}, place=other)
    packet = packet_of(session, cast)
    beyond = checked(packet, "R-01", "Core-sample density", other)
    assert not beyond.due
    assert not packet.panels[0].is_proven
    assert packet.panels[0].open_points[0].startswith(f"Core-sample density, {other}: 2.76 lb/ft³, below")


def test_a_panel_whose_plan_asks_for_nothing_is_not_called_proven(session: Session, cast: Cast) -> None:
    blank = replace(packet_of(session, cast).panels[0], stations=())
    assert not blank.is_proven
    assert blank.open_points == ("The control plan asks for no reading of this panel, so nothing is proven.",)


def test_another_building_stays_out_of_the_packet(session: Session, cast: Cast) -> None:
    manager = cast.person(session, "manager")
    other = add_building(session, manager, "H2", "Otter Lane House", NOW)
    add_panel(session, manager, other, roof_panel("R-99"), NOW)
    session.flush()
    assert [panel.mark for panel in packet_of(session, cast).panels] == ["R-01", "F-01"]


def test_cautions_come_once_from_the_stations_passed(session: Session, cast: Cast) -> None:
    cautions = {station.station: station.cautions for station in packet_of(session, cast).cautions}
    assert list(cautions) == ["Sheathing fence", "Services", "Fill", "Final"]
    assert any("qualified rigger" in caution for caution in cautions["Sheathing fence"])


def test_queries_do_not_grow_with_panels_and_readings(session: Session, cast: Cast) -> None:
    prove(session, cast, roof(session, cast))
    few = queries(session, cast)
    manager = cast.person(session, "manager")
    building = find.building(session, manager, cast.building)
    for number in range(10, 20):
        prove(session, cast, add_panel(session, manager, building, roof_panel(f"R-{number}", number), NOW))
    assert queries(session, cast) == few


def queries(session: Session, cast: Cast) -> int:
    """How many statements a packet takes in a session that knows nothing yet."""
    session.flush()
    session.expunge_all()
    statements: list[object] = []

    def count(*arguments: object) -> None:
        statements.append(arguments[2])

    connection = session.connection()
    event.listen(connection, "before_cursor_execute", count)
    packet_content(session, session.get_one(Building, cast.building), LATER)
    event.remove(connection, "before_cursor_execute", count)
    return len(statements)
