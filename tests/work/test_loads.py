"""Loads: what goes on which truck, in which order, and when it may leave."""

from datetime import date, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.release import Load
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work import loads
from qc_app.work.find import NotFound
from qc_app.work.hold import place_hold
from qc_app.work.loads import NotAllReleased
from qc_app.work.release import passage, release
from qc_app.work.roles import NotAllowed
from qc_app.work.schedule import add_building, add_panel
from tests.conftest import NOW, Cast, floor_panel
from tests.work.newcomers import add_newcomers
from tests.work.proven import prove

LATER = NOW + timedelta(hours=2)


def house(session: Session, cast: Cast) -> Building:
    return session.get_one(Building, cast.building)


def both(session: Session, cast: Cast) -> list[Panel]:
    return [session.get_one(Panel, cast.panel), session.get_one(Panel, cast.floor_panel)]


def planned(session: Session, cast: Cast) -> Load:
    lead = cast.person(session, "lead")
    return loads.plan_load(session, lead, house(session, cast), both(session, cast), date(2026, 3, 9), NOW)


def test_a_load_is_numbered_within_its_building_and_says_when_it_leaves(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        first = planned(session, cast)
        lead, building = cast.person(session, "lead"), house(session, cast)
        second = loads.plan_load(session, lead, building, [], None, NOW)
        assert (first.number, first.leaves_on, second.number) == (1, date(2026, 3, 9), 2)
        assert loads.loads_of(session, building) == [first, second]
        assert loads.on_no_load(session, building) == []
        told = session.scalars(select(Event).where(Event.what == "panel put on load").order_by(Event.number))
        assert [event.facts for event in told] == [{"load": 1, "mark": "R-01"}, {"load": 1, "mark": "F-01"}]


def test_what_is_raised_last_is_loaded_first(database: Database, cast: Cast) -> None:
    with database.write() as session:
        lines = loads.lines_of(session, planned(session, cast), NOW)
        assert [line.panel.mark for line in lines] == ["F-01", "R-01"]
        assert [line.panel.raising_sequence for line in lines] == [2, 1]


def test_a_load_leaves_only_when_all_its_panels_are_released(database: Database, cast: Cast) -> None:
    with database.write() as session:
        load, lead = planned(session, cast), cast.person(session, "lead")
        roof, floor = both(session, cast)
        prove(session, cast, floor)
        with pytest.raises(NotAllReleased, match=r"Load 1 cannot leave: .* F-01, R-01") as refusal:
            loads.release_load(session, lead, load, LATER)
        why = {line.panel.mark: line.missing[0].words for line in refusal.value.lines}
        assert why["F-01"] == "All is proven. Release it."
        assert "has no reading" in why["R-01"]
        release(session, lead, floor, LATER)
        with pytest.raises(NotAllReleased, match="are R-01"):
            loads.release_load(session, lead, load, LATER)
        prove(session, cast, roof, of="panel")
        assert [state.panel.mark for state in loads.free_to_go(session, house(session, cast), LATER)] == [
            "R-01"
        ]
        release(session, lead, roof, LATER)
        loads.release_load(session, lead, load, LATER)
        assert (load.released_at, load.released_by) == (LATER, lead)
        told = session.scalars(select(Event).where(Event.what == "load released")).one()
        assert told.facts == {"load": 1, "panels": "F-01 R-01"}
        with pytest.raises(Refusal, match="released already"):
            loads.release_load(session, lead, load, LATER)


def test_a_hold_after_its_release_keeps_the_load(database: Database, cast: Cast) -> None:
    with database.write() as session:
        lead, floor = cast.person(session, "lead"), both(session, cast)[1]
        load = loads.plan_load(session, lead, house(session, cast), [floor], None, NOW)
        prove(session, cast, floor)
        release(session, lead, floor, LATER)
        place_hold(session, lead, floor, "Edge crushed by the fork.", LATER)
        with pytest.raises(NotAllReleased) as refusal:
            loads.release_load(session, lead, load, LATER)
        (line,) = refusal.value.lines
        assert line.missing[0].facts["reason"] == "Edge crushed by the fork."


def test_an_empty_load_does_not_leave(database: Database, cast: Cast) -> None:
    with database.write() as session:
        lead = cast.person(session, "lead")
        load = loads.plan_load(session, lead, house(session, cast), [], None, NOW)
        with pytest.raises(Refusal, match="Nothing is on load 1"):
            loads.release_load(session, lead, load, LATER)


def test_a_panel_is_on_one_load_and_can_be_taken_off(database: Database, cast: Cast) -> None:
    with database.write() as session:
        load, lead = planned(session, cast), cast.person(session, "lead")
        floor = both(session, cast)[1]
        with pytest.raises(Refusal, match="F-01 is on load 1 already"):
            loads.put_on_load(session, lead, load, floor, NOW)
        loads.take_off(session, lead, floor, NOW)
        assert [line.panel.mark for line in loads.lines_of(session, load, NOW)] == ["R-01"]
        with pytest.raises(Refusal, match="F-01 is on no load"):
            loads.take_off(session, lead, floor, NOW)
        told = session.scalars(select(Event).where(Event.what == "panel taken off load")).one()
        assert (told.facts, told.panel_id) == ({"load": 1, "mark": "F-01"}, floor.id)


def test_a_load_that_left_is_not_changed_anymore(database: Database, cast: Cast) -> None:
    with database.write() as session:
        lead, (roof, floor) = cast.person(session, "lead"), both(session, cast)
        load = loads.plan_load(session, lead, house(session, cast), [floor], None, NOW)
        prove(session, cast, floor)
        release(session, lead, floor, LATER)
        loads.release_load(session, lead, load, LATER)
        with pytest.raises(Refusal, match="Load 1 is released already"):
            loads.put_on_load(session, lead, load, roof, LATER)
        with pytest.raises(Refusal, match="Load 1 is released already"):
            loads.take_off(session, lead, floor, LATER)


def test_a_panel_of_another_building_or_one_already_set_does_not_go_on_it(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        manager, floor = cast.person(session, "manager"), both(session, cast)[1]
        load = loads.plan_load(session, manager, house(session, cast), [], None, NOW)
        other = add_building(session, manager, "H2", "Moss House", NOW)
        far = add_panel(session, manager, other, floor_panel("F-01"), NOW)
        with pytest.raises(Refusal, match="F-01 belongs to another building"):
            loads.put_on_load(session, manager, load, far, NOW)
        prove(session, cast, floor)
        release(session, manager, floor, LATER)
        passage(session, manager, floor, "set", LATER)
        with pytest.raises(Refusal, match="F-01 is set already"):
            loads.put_on_load(session, manager, load, floor, LATER)


def test_only_those_who_lead_plan_and_release_loads_and_only_in_their_plant(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        load = planned(session, cast)
        worker, stranger = cast.person(session, "worker"), cast.person(session, "stranger")
        with pytest.raises(NotAllowed, match="may not plan loads"):
            loads.plan_load(session, worker, house(session, cast), [], None, NOW)
        with pytest.raises(NotAllowed, match="may not release panels"):
            loads.release_load(session, worker, load, NOW)
        with pytest.raises(Refusal, match="another plant"):
            loads.plan_load(session, stranger, house(session, cast), [], None, NOW)
        with pytest.raises(Refusal, match="another plant"):
            loads.take_off(session, stranger, both(session, cast)[0], NOW)
        with pytest.raises(Refusal, match="in this plant"):
            loads.load(session, stranger, load.id)


def test_whoever_belongs_to_another_building_finds_no_load_of_this_one(
    sqlite_database: Database, shop: Cast
) -> None:
    new = add_newcomers(sqlite_database, shop)
    with sqlite_database.write() as session:
        number = planned(session, shop).id
        for sees in (shop.lead, new.site_lead, new.customer):
            assert loads.load(session, session.get_one(Person, sees), number).id == number
        for other in (new.other_site_lead, new.other_customer, shop.stranger):
            with pytest.raises(NotFound):
                loads.load(session, session.get_one(Person, other), number)
        with pytest.raises(NotFound):
            loads.load(session, shop.person(session, "lead"), 2**70)
