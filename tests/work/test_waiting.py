"""What waits at a station, and what is due on it."""

from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from qc_app.measure.length import Length
from qc_app.records.building import Building, Lot
from qc_app.records.database import Database
from qc_app.work import find
from qc_app.work.schedule import add_building, add_panel, book_in_lot
from qc_app.work.waiting import Due, due_here, lots_waiting, next_due, panels_waiting
from tests.conftest import NOW, Cast, feet, floor_panel, panel_of, roof_panel
from tests.work.conftest import Said, check, member

BEFORE_CLOSING = [("penetrations_check", ""), ("wood_moisture", "sill"), ("wood_moisture", "stud")]
LATER = NOW + timedelta(hours=1)


def waiting(session: Session, cast: Cast, station: str, who: str = "worker") -> list[str]:
    person = cast.person(session, who)
    return [p.mark for p in panels_waiting(session, person, find.station(session, person, station))]


def moisture(place: str, percent: str, at: datetime = NOW) -> Said:
    entries, meter = {"percent": percent}, ("moisture_meter",)
    return Said("wood_moisture", place, entries, at, station="services", instruments=meter)


def due_at_services(session: Session, cast: Cast) -> list[Due]:
    station = find.station(session, cast.person(session, "worker"), "services")
    return due_here(session, panel_of(session, cast), station)


def said_of(due: list[Due]) -> list[tuple[str, str, bool]]:
    return [(d.check.characteristic.key, d.check.place, d.is_proven) for d in due]


def test_panels_wait_in_raising_sequence_building_by_building(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        other = add_building(session, manager, "A1", "Another", NOW)
        first = session.get_one(Building, shop.building)
        add_panel(session, manager, other, roof_panel("Z-01", 1), NOW)
        add_panel(session, manager, first, roof_panel("R-09", 9), NOW)
        add_panel(session, manager, first, floor_panel("F-03", 3), NOW)
        assert waiting(session, shop, "framing") == ["R-01", "F-01", "F-03", "R-09", "Z-01"]
        assert waiting(session, shop, "fill") == []


def test_a_panel_that_moves_on_waits_at_the_next_station(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        replace(check("framing_check", "framing"), of="floor_panel").record(session, shop)
    with sqlite_database.read() as session:
        assert waiting(session, shop, "framing") == ["R-01"]
        assert waiting(session, shop, "sheathing_fence") == ["F-01"]


def test_another_plants_panels_do_not_wait_here(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.read() as session:
        stranger = shop.person(session, "stranger")
        assert waiting(session, shop, "framing", "stranger") == []
        assert lots_waiting(session, stranger, find.station(session, stranger, "framing")) == []


def test_lots_wait_oldest_first(sqlite_database: Database, shop: Cast) -> None:
    inch = Length.from_nanometres(feet(1))
    with sqlite_database.write() as session:
        worker = shop.person(session, "worker")
        book_in_lot(session, worker, "precut_members", "A-LOT", (inch, inch, inch), NOW)
        framing = find.station(session, worker, "framing")
        assert [lot.mark for lot in lots_waiting(session, worker, framing)] == ["LOT-1", "A-LOT"]
        assert lots_waiting(session, worker, find.station(session, worker, "final")) == []


def test_what_is_due_comes_in_the_order_of_the_plan(database: Database, cast: Cast) -> None:
    with database.write() as session:
        assert said_of(due_at_services(session, cast)) == [(*key, False) for key in BEFORE_CLOSING]
        moisture("sill", "17 %").record(session, cast)
        assert [d.is_proven for d in due_at_services(session, cast)] == [False, True, False]


def test_a_reading_outside_is_not_proof(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        moisture("sill", "18.1 %").record(session, shop)
        assert not any(d.is_proven for d in due_at_services(session, shop))


def test_the_next_check_is_the_first_unread_and_then_the_first_not_within(
    sqlite_database: Database, shop: Cast
) -> None:
    steps = [
        (check("penetrations_check", "services", "no"), ("wood_moisture", "sill")),
        (moisture("stud", "15"), ("wood_moisture", "sill")),
        (moisture("sill", "19"), ("penetrations_check", "")),
        (check("penetrations_check", "services", at=LATER), ("wood_moisture", "sill")),
        (moisture("sill", "18", LATER), None),
    ]
    with sqlite_database.write() as session:
        for said, expected in steps:
            said.record(session, shop, LATER)
            following = next_due(due_at_services(session, shop))
            found = following and (following.check.characteristic.key, following.check.place)
            assert found == expected
    assert next_due([]) is None


def test_the_reading_beside_a_check_is_the_newest_by_time_of_measuring(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        newest = moisture("sill", "15", LATER).record(session, shop, LATER)
        moisture("sill", "19").record(session, shop, LATER)
        assert due_at_services(session, shop)[1].reading is newest


def test_a_lots_checks_are_due_where_it_waits(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        member(2).record(session, shop)
        lot = session.get_one(Lot, shop.lot)
        due = due_here(session, lot, find.station(session, shop.person(session, "worker"), "framing"))
        assert [(d.check.characteristic.key, d.check.place, d.is_proven) for d in due] == [
            ("member_length", "member 1", False),
            ("member_length", "member 2", True),
            ("member_length", "member 3", False),
            ("member_moisture", "member 1", False),
            ("member_moisture", "member 2", False),
            ("member_moisture", "member 3", False),
        ]


def test_bays_are_filled_in_order_and_then_one_is_cored(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        panel, asked = panel_of(session, shop), []
        station = find.station(session, shop.person(session, "worker"), "fill")
        for minute in range(13):
            due = next_due(due_here(session, panel, station))
            assert due is not None
            key, place = due.check.characteristic.key, due.check.place
            asked.append((key, place))
            said = {"mass": "56 lb"} if key == "bay_fill" else {"mass": "58 g", "depth": "11 1/4"}
            moment, tools = NOW - timedelta(minutes=60 - minute), ("core_cutter", "scale")
            Said(key, place, said, moment, station="fill", instruments=tools).record(session, shop)
        cored = panel.control_plan.plan.characteristic("closed_roof", "core_density").due_places(
            panel.subject
        )
        assert asked == [("bay_fill", f"bay {n}") for n in range(1, 13)] + [("core_density", cored[0])]
