"""What is known about a panel, a lot and a building."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Lot
from qc_app.records.database import Database
from qc_app.work.history import History, history_of, panels_of
from qc_app.work.schedule import add_building, add_panel
from qc_app.work.streams import freeze_limits
from tests.conftest import NOW, Cast, panel_of, roof_panel
from tests.work.conftest import Said, check, member
from tests.work.test_streams import FLOW_RATES, LATER, at, log, log_all, only_stream


def of_panel(session: Session, cast: Cast) -> History:
    return history_of(session, panel_of(session, cast))


def test_readings_stand_in_the_order_they_were_measured(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(place="DC", at=at(5), entries={"length": "24' 1"}).record(session, cast, LATER)
        Said(at=at(9)).record(session, cast, LATER)
        Said(at=at(1), entries={"length": "23' 11"}).record(session, cast, LATER)
        Said(place="DC", at=at(7)).record(session, cast, LATER)
    with database.read() as session:
        told = of_panel(session, cast).readings
        assert [(t.reading.place, t.reading.measured_at, t.is_newest) for t in told] == [
            ("AB", at(1), False),
            ("DC", at(5), False),
            ("DC", at(7), True),
            ("AB", at(9), True),
        ]


def test_what_is_open_follows_the_route_and_leaves_out_what_is_proven(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        check("framing_check", "framing").record(session, shop)
        Said().record(session, shop)
        Said(place="DC", entries={"length": "24' 1"}).record(session, shop)
    with sqlite_database.read() as session:
        history = of_panel(session, shop)
        still_open = [(d.check.characteristic.key, d.check.place, d.reading is None) for d in history.open]
        assert still_open[:3] == [
            ("connector_position", "connector 1", True),
            ("connector_position", "connector 2", True),
            ("edge_length", "DC", False),
        ]
        assert [key for key, *_ in still_open[-2:]] == ["label_check", "pick_check"]
        panel = panel_of(session, shop)
        plan = panel.control_plan.plan
        due = [plan.checks(panel.subject, station) for station in plan.kind(panel.kind).route]
        assert len(still_open) == sum(map(len, due)) - 2
        assert history.waiting_at is not None
        assert history.waiting_at.name == "Framing"


def test_the_lean_stands_beside_a_difference_of_diagonals(sqlite_database: Database, shop: Cast) -> None:
    # Parallelogram law: 1/16 in between the diagonals of an 8 by 24 ft panel is a lean of 0.03294 in and an
    # angle of 0.01966 degrees.
    with sqlite_database.write() as session:
        Said("squareness", "", {"ac": "303 5/8", "bd": "303 9/16"}).record(session, shop)
        (told,) = of_panel(session, shop).readings
        lean, angle = told.companions
        assert lean.amount / 25_400_000 == pytest.approx(0.03294, abs=1e-5)
        assert angle.amount == pytest.approx(0.01966, abs=6e-6)


def test_events_of_a_panel_are_its_own_and_in_order(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        Said().record(session, shop, NOW + timedelta(minutes=1))
        Said(place="DC", of="floor_panel").record(session, shop, NOW + timedelta(minutes=2))
        Said(place="DC").record(session, shop, NOW + timedelta(minutes=3))
    with sqlite_database.read() as session:
        events = of_panel(session, shop).events
        assert [(e.what, e.facts.get("place")) for e in events] == [
            ("panel scheduled", None),
            ("reading recorded", "AB"),
            ("reading recorded", "DC"),
        ]


def test_a_signal_is_told_beside_the_reading_that_made_it(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        manager, stream = shop.person(session, "manager"), only_stream(session)
        freeze_limits(session, manager, stream, (at(1), at(20)), "Steady.", LATER)
        for number in (21, 22, 23):
            log(session, shop, number, 570, number)
        told = history_of(session, session.get_one(Lot, shop.lot)).readings
        assert {t.rules for t in told[:20]} == {()}
        assert [t.rules for t in told[20:]] == [
            ("beyond_limit",),
            ("beyond_limit", "two_of_three_outer"),
            ("beyond_limit", "four_of_five_outer", "two_of_three_outer"),
        ]


def test_a_lot_has_readings_and_what_is_open_but_no_chain_of_its_own(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        member(1).record(session, shop)
        history = history_of(session, session.get_one(Lot, shop.lot))
        assert [t.reading.place for t in history.readings] == ["member 1"]
        assert len(history.open) == 5
        assert history.events == ()


def test_a_panel_with_nothing_left_to_prove_waits_nowhere(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        lot = session.get_one(Lot, shop.lot)
        for number in (1, 2, 3):
            member(number).record(session, shop)
            entries, place = {"percent": "15"}, f"member {number}"
            meter = ("moisture_meter",)
            Said("member_moisture", place, entries, of="lot", station="framing", instruments=meter).record(
                session, shop
            )
        history = history_of(session, lot)
        assert (history.open, history.waiting_at) == ((), None)


def test_a_buildings_panels_stand_in_raising_sequence_with_their_readings(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        manager = cast.person(session, "manager")
        building = session.get_one(Building, cast.building)
        add_panel(session, manager, building, roof_panel("R-00", 0), NOW)
        other = add_building(session, manager, "H2", "Other", NOW)
        add_panel(session, manager, other, roof_panel("R-77"), NOW)
        Said(entries={"length": "24' 1"}).record(session, cast)
        Said(place="DC").record(session, cast)
        Said(at=at(1)).record(session, cast, LATER)
    with database.read() as session:
        lines = panels_of(session, session.get_one(Building, cast.building))
        assert [
            (line.panel.mark, line.kind, line.waiting_at, line.readings, line.outside) for line in lines
        ] == [
            ("R-00", "Closed roof panel", "Framing", 0, 0),
            ("R-01", "Closed roof panel", "Framing", 3, 1),
            ("F-01", "Open floor panel", "Framing", 0, 0),
        ]
