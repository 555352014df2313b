"""The board of the shop: every line follows from the record."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.chart import Stream
from qc_app.records.database import Database
from qc_app.records.hold import Hold
from qc_app.records.release import Load, Passage, Release
from qc_app.work import find
from qc_app.work.board import DRAWN, SHOWN, SILENT_AFTER, Board, SmallChart, Truck, board
from qc_app.work.hold import lift_hold, place_hold
from qc_app.work.nonconformity import open_by_person
from qc_app.work.notices import CLOCK, raise_notice
from qc_app.work.roles import NotAllowed
from qc_app.work.schedule import add_panel
from qc_app.work.streams import freeze_limits
from qc_app.work.tablets import enrol, invite, revoke, see
from tests.conftest import NOW, Cast, floor_panel
from tests.work.conftest import Said, member
from tests.work.newcomers import add_newcomers


def seen(database: Database, cast: Cast, now: datetime = NOW, who: str = "lead") -> Board:
    with database.read() as session:
        shown = board(session, cast.person(session, who), now)
        session.expunge_all()
        return shown


def at_stations(shown: Board) -> dict[str, list[str]]:
    """The marks at each station that has any, then behind the line and released."""
    names = [
        c.station.key if c.station else "released" if c.is_released else "through" for c in shown.columns
    ]
    return {
        name: [state.panel.mark for state in column.panels]
        for name, column in zip(names, shown.columns, strict=True)
        if column.panels
    }


def roof(session: Session, cast: Cast) -> Panel:
    return session.get_one(Panel, cast.panel)


def test_panels_stand_at_the_station_where_they_wait_in_raising_order(database: Database, cast: Cast) -> None:
    assert at_stations(seen(database, cast)) == {"framing": ["R-01", "F-01"]}
    with database.write() as session:
        roof(session, cast).waiting_at = "fill"
        session.get_one(Panel, cast.floor_panel).waiting_at = None
    shown = seen(database, cast)
    assert at_stations(shown) == {"fill": ["R-01"], "through": ["F-01"]}
    stations = [column.station.key for column in shown.columns if column.station]
    assert stations == ["framing", "sheathing_fence", "services", "fill", "air_seal", "final"]


def test_a_released_panel_stands_apart_and_a_loaded_set_or_scrapped_one_not_at_all(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        for panel_id in (cast.panel, cast.floor_panel):
            session.add(Release(panel_id=panel_id, person_id=cast.lead, released_at=NOW))
    assert at_stations(seen(database, cast)) == {"released": ["R-01", "F-01"]}
    with database.write() as session:
        session.add(Passage(panel_id=cast.panel, what="loaded", person_id=cast.lead, at=NOW))
    assert at_stations(seen(database, cast)) == {"released": ["F-01"]}
    with database.write() as session:
        session.get_one(Panel, cast.floor_panel).scrapped_at = NOW
    assert at_stations(seen(database, cast)) == {}


def test_what_is_held_is_listed_longest_first_with_the_number_of_other_reasons(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        lead = cast.person(session, "lead")
        floor = session.get_one(Panel, cast.floor_panel)
        place_hold(session, lead, roof(session, cast), "Wrong face up.", NOW)
        place_hold(session, lead, floor, "Wet under the tarp.", NOW - timedelta(hours=3))
        place_hold(session, lead, floor, "Torn membrane.", NOW - timedelta(hours=1))
    held = seen(database, cast).held
    assert [(h.state.panel.mark, h.held.since, h.besides) for h in held] == [
        ("F-01", NOW - timedelta(hours=3), 1),
        ("R-01", NOW, 0),
    ]
    assert "Wet under the tarp." in str(held[0].held.sentence.facts)
    assert seen(database, cast).columns[0].held == 2
    with database.write() as session:
        hold = session.scalars(select(Hold).where(Hold.panel_id == cast.panel)).one()
        lift_hold(session, cast.person(session, "lead"), hold, "Turned.", NOW)
    assert [h.state.panel.mark for h in seen(database, cast).held] == ["F-01"]


def test_open_nonconformities_are_counted_and_the_oldest_shown(database: Database, cast: Cast) -> None:
    with database.write() as session:
        worker = cast.person(session, "worker")
        for number in range(SHOWN + 2):
            at = NOW - timedelta(days=number)
            open_by_person(session, worker, roof(session, cast), f"Dent {number}", "", [], at)
    shown = seen(database, cast)
    assert shown.open_nonconformities == SHOWN + 2
    assert [one.what for one in shown.nonconformities] == [f"Dent {n}" for n in range(SHOWN + 1, 1, -1)]


def truck(database: Database, cast: Cast) -> Truck:
    found = seen(database, cast).truck
    assert found is not None
    return found


def add_load(session: Session, cast: Cast, number: int, leaves_on: date | None, *panels: int) -> Load:
    load = Load(building_id=cast.building, number=number, leaves_on=leaves_on)
    session.add(load)
    session.flush()
    for panel_id in panels:
        session.get_one(Panel, panel_id).load_id = load.id
    return load


def test_the_next_truck_is_the_first_to_leave_that_is_not_all_loaded(database: Database, cast: Cast) -> None:
    assert seen(database, cast).truck is None
    with database.write() as session:
        add_load(session, cast, 1, None, cast.floor_panel)
        add_load(session, cast, 2, date(2026, 3, 4), cast.panel)
        add_load(session, cast, 3, date(2026, 3, 3))
    assert truck(database, cast).load.number == 2  # 1 has no day yet, and 3 has no panel
    with database.write() as session:
        session.add(Release(panel_id=cast.panel, person_id=cast.lead, released_at=NOW))
        session.add(Passage(panel_id=cast.panel, what="loaded", person_id=cast.lead, at=NOW))
    assert truck(database, cast).load.number == 1


def test_a_panel_not_released_or_held_since_is_missing_on_the_truck(database: Database, cast: Cast) -> None:
    with database.write() as session:
        add_load(session, cast, 1, None, cast.panel, cast.floor_panel)
        session.add(Release(panel_id=cast.panel, person_id=cast.lead, released_at=NOW))
    assert [state.panel.mark for state in truck(database, cast).missing] == ["F-01"]
    with database.write() as session:
        place_hold(session, cast.person(session, "lead"), roof(session, cast), "Crane pick torn.", NOW)
    assert [state.panel.mark for state in truck(database, cast).missing] == ["R-01", "F-01"]
    assert seen(database, cast).held[0].state.released is not None


def charts(database: Database, cast: Cast, now: datetime) -> dict[str, SmallChart]:
    return {chart.stream.name: chart for chart in seen(database, cast, now).charts}


def test_a_chart_is_there_on_the_day_of_its_points_on_the_plants_clock(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        member(1, 2).record(session, cast)
    # NOW is 10:00 in New York; its midnight is at 05:00 UTC.
    (chart,) = charts(database, cast, NOW.replace(hour=23)).values()
    assert (chart.today, chart.signals_today, chart.phase) == (1, 0, None)
    assert charts(database, cast, (NOW + timedelta(days=1)).replace(hour=4, minute=59)) != {}
    assert charts(database, cast, (NOW + timedelta(days=1)).replace(hour=5, minute=1)) == {}


def test_a_small_chart_draws_the_newest_points_oldest_first(database: Database, cast: Cast) -> None:
    with database.write() as session:
        for number in range(1, DRAWN + 6):
            member(number, number % 3, NOW + timedelta(minutes=number)).record(
                session, cast, NOW + timedelta(hours=2)
            )
    (chart,) = charts(database, cast, NOW + timedelta(hours=2)).values()
    assert [p.reading_id for p in chart.points] == sorted(p.reading_id for p in chart.points)
    assert (len(chart.points), chart.points[-1].measured_at) == (DRAWN, NOW + timedelta(minutes=DRAWN + 5))
    assert chart.today == DRAWN


def test_a_signal_today_comes_first_and_is_marked(database: Database, cast: Cast) -> None:
    later = NOW + timedelta(hours=3)
    with database.write() as session:
        for number in range(1, 25):
            member(number, (-1, 0, 1, 0)[number % 4], NOW + timedelta(minutes=number)).record(
                session, cast, later
            )
        stream = session.scalars(select(Stream)).one()
        base = (NOW, NOW + timedelta(minutes=30))
        freeze_limits(session, cast.person(session, "manager"), stream, base, "Steady.", later, despite=True)
        Said(at=NOW + timedelta(minutes=50)).record(session, cast, later)
        member(30, 40, NOW + timedelta(minutes=60)).record(session, cast, later)
    first, second = seen(database, cast, later).charts
    assert (first.stream.characteristic, second.stream.characteristic) == ("member_length", "edge_length")
    assert first.signals_today >= 1
    assert first.points[-1].id in first.signalling
    assert first.points[-1].id in first.outside  # 40/64 in is beyond 1/16 in as well
    assert second.signals_today == 0


def test_notices_and_tablets_not_heard_from_are_told(database: Database, cast: Cast) -> None:
    with database.write() as session:
        manager = cast.person(session, "manager")
        place = find.station(session, manager, "fill")
        raise_notice(session, manager.plant_id, CLOCK, {"minutes": 7}, NOW)
        codes = [invite(session, manager, f"Fill {n}", place, 104, NOW) for n in (1, 2, 3, 4)]
        quiet, heard, gone = (enrol(session, code, NOW)[0] for _tablet, code in codes[:3])
        see(session, heard.id, NOW + SILENT_AFTER)
        revoke(session, manager, gone, NOW)
        quiet_id = quiet.id
    shown = seen(database, cast, NOW + SILENT_AFTER + timedelta(seconds=1))
    assert shown.notices == 1
    assert [tablet.id for tablet in shown.silent_tablets] == [quiet_id]


def test_another_plants_board_shows_nothing_of_this_one(database: Database, cast: Cast) -> None:
    with database.write() as session:
        place_hold(session, cast.person(session, "lead"), roof(session, cast), "Wrong face up.", NOW)
        add_load(session, cast, 1, None, cast.panel)
        member(1, 2).record(session, cast)
    other = seen(database, cast, who="stranger")
    assert (at_stations(other), other.held, other.charts, other.truck) == ({}, (), (), None)


@pytest.mark.parametrize("who", ["worker", "administrator", "site_lead", "customer"])
def test_the_board_is_for_the_shop_lead_and_the_quality_manager(
    database: Database, cast: Cast, who: str
) -> None:
    new = add_newcomers(database, cast)
    somebody = replace(cast, worker=getattr(new, who)) if who != "worker" else cast
    with pytest.raises(NotAllowed, match="may not follow the board"):
        seen(database, somebody, who="worker")


def test_more_panels_and_buildings_take_no_more_queries(sqlite_database: Database, shop: Cast) -> None:
    def queries() -> int:
        asked: list[str] = []
        listen = lambda *arguments: asked.append(arguments[2])  # noqa: E731
        event.listen(sqlite_database.engine, "before_cursor_execute", listen)
        seen(sqlite_database, shop)
        event.remove(sqlite_database.engine, "before_cursor_execute", listen)
        return len(asked)

    few = queries()
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        building = find.building(session, manager, shop.building)
        for number in range(3, 43):
            add_panel(session, manager, building, floor_panel(f"F-{number:02}", number), NOW)
    add_newcomers(sqlite_database, shop)  # and another building
    assert queries() == few
