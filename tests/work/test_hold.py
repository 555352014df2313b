"""Holds by people, charts and wrong instruments."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.chart import Stream
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.hold import Hold
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.find import NotFound
from qc_app.work.hold import hold as find_hold
from qc_app.work.hold import hold_by_instrument, holds_in_force, lift_hold, place_hold
from qc_app.work.nonconformity import decide, open_by_person
from qc_app.work.roles import NotAllowed
from qc_app.work.schedule import add_panel
from qc_app.work.streams import FEWEST_BASE_POINTS, freeze_limits
from tests.conftest import NOW, Cast, panel_of, roof_panel
from tests.work.conftest import Said, adopt_changed
from tests.work.newcomers import add_newcomers

LATER = NOW + timedelta(hours=1)


def test_a_person_holds_a_panel_and_the_lead_lifts_it_both_with_a_reason(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        worker, lead, panel = (
            cast.person(session, "worker"),
            cast.person(session, "lead"),
            panel_of(session, cast),
        )
        held = place_hold(session, worker, panel, " Crane hook left a dent. ", NOW)
        assert holds_in_force(session, panel) == [held]
        assert find_hold(session, lead, held.id) is held
        lift_hold(session, lead, held, "Looked at it: paint only.", LATER)
        assert holds_in_force(session, panel) == []
    with database.read() as session:
        held = session.scalars(select(Hold)).one()
        assert (held.why, held.reason, held.placed_by_id) == (
            "person",
            "Crane hook left a dent.",
            cast.worker,
        )
        assert (held.lifted_at, held.lifted_by_id, held.lift_reason) == (
            LATER,
            cast.lead,
            "Looked at it: paint only.",
        )
        said = session.scalars(select(Event).where(Event.panel_id == cast.panel).order_by(Event.id)).all()
        assert [event.what for event in said] == ["panel scheduled", "panel put on hold", "hold lifted"]


def test_who_may_not_or_gives_no_reason_is_refused(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        panel, worker = panel_of(session, shop), shop.person(session, "worker")
        lead, stranger = shop.person(session, "lead"), shop.person(session, "stranger")
        with pytest.raises(Refusal, match="Say why") as refusal:
            place_hold(session, worker, panel, " \t ", NOW)
        assert refusal.value.about == "reason"
        with pytest.raises(Refusal, match="another plant"):
            place_hold(session, stranger, panel, "Mine.", NOW)
        held = place_hold(session, worker, panel, "Dent.", NOW)
        with pytest.raises(NotAllowed, match="Wren Abbey may not lift holds"):
            lift_hold(session, worker, held, "Fine.", NOW)
        with pytest.raises(Refusal, match="Say why"):
            lift_hold(session, lead, held, "  ", NOW)
        with pytest.raises(NotFound):
            find_hold(session, stranger, held.id)
        assert held.lifted_at is None


def test_a_hold_lifted_meanwhile_says_by_whom(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        lead, manager = shop.person(session, "lead"), shop.person(session, "manager")
        held = place_hold(session, lead, panel_of(session, shop), "Dent.", NOW)
        lift_hold(session, lead, held, "Paint only.", NOW)
        session.flush()
        with pytest.raises(Refusal, match=r"Otto Lind has lifted this hold meanwhile: “Paint only\.”"):
            lift_hold(session, manager, held, "Mine.", NOW)


def test_a_scrapped_panel_is_not_held(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager, panel = shop.person(session, "manager"), panel_of(session, shop)
        one = open_by_person(session, manager, panel, "Crushed.", "", (), NOW)
        decide(session, manager, one, "scrap", "Beyond repair.", one.version, NOW)
        with pytest.raises(Refusal, match="R-01 was scrapped"):
            place_hold(session, manager, panel, "Dent.", NOW)
        (tape,) = find.instruments(session, manager, ("tape",))
        assert hold_by_instrument(session, panel, tape, NOW) is None


def test_a_wrong_instrument_holds_a_panel_once_until_it_is_lifted(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        lead, panel = shop.person(session, "lead"), panel_of(session, shop)
        (tape,) = find.instruments(session, lead, ("tape",))
        held = hold_by_instrument(session, panel, tape, NOW)
        assert held is not None
        assert (held.why, held.facts, held.placed_by_id) == ("instrument", {"instrument": "Tape 4"}, None)
        assert hold_by_instrument(session, panel, tape, NOW) is None
        lift_hold(session, lead, held, "Measured again with Tape 5.", LATER)
        assert hold_by_instrument(session, panel, tape, LATER) is not None


def frozen_edges(session: Session, cast: Cast) -> list[int]:
    """Freezes limits of edge AB from a base of panels, and gives two more panels to be measured."""
    manager = cast.person(session, "manager")
    building = panel_of(session, cast).building
    numbers = [
        add_panel(session, manager, building, roof_panel(f"B-{n}", n + 10), NOW).id
        for n in range(FEWEST_BASE_POINTS + 2)
    ]
    for n, number in enumerate(numbers[:-2]):
        entries = {"length": f"{7315.2 + (n * 7) % 5 / 10:.1f} mm"}
        Said(entries=entries, at=NOW + timedelta(minutes=n)).record(
            session, replace(cast, panel=number), LATER
        )
    stream = session.scalars(select(Stream)).one()
    begin, end = NOW - timedelta(days=1), NOW + timedelta(minutes=FEWEST_BASE_POINTS - 1)
    freeze_limits(session, manager, stream, (begin, end), "First limits.", LATER, despite=True)
    return numbers[-2:]


def far_off(minutes: int) -> Said:
    """Far off the others' place on the chart, and still within the limits of tolerance."""
    return Said(entries={"length": "23' 11 15/16\""}, at=NOW + timedelta(minutes=minutes))


@pytest.mark.parametrize("holds", [True, False])
def test_a_chart_signal_holds_the_panel_where_the_plan_says_so(
    sqlite_database: Database, shop: Cast, holds: bool
) -> None:
    with sqlite_database.write() as session:
        if holds:
            written = 'key = "edge_length"\n'
            adopt_changed(session, shop, (written, f"{written}signal_holds = true\n"))
        first, _ = frozen_edges(session, shop)
        reading = far_off(30).record(session, replace(shop, panel=first), LATER)
        assert reading.is_within
        placed = session.scalars(select(Hold)).all()
        assert [hold.panel_id for hold in placed] == ([first] if holds else [])
        if holds:
            facts = {"chart": "Length of edge, AB", "rule": "beyond_limit", "reading": str(reading.uuid)}
            assert (placed[0].why, placed[0].facts, placed[0].placed_by_id) == ("signal", facts, None)


def test_a_signal_whose_hold_was_lifted_holds_no_second_time(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        written = 'key = "edge_length"\n'
        adopt_changed(session, shop, (written, f"{written}signal_holds = true\n"))
        first, second = frozen_edges(session, shop)
        far_off(30).record(session, replace(shop, panel=first), LATER)
        panel = session.get_one(Panel, first)
        (held,) = holds_in_force(session, panel)
        lift_hold(session, shop.person(session, "lead"), held, "Blade changed.", LATER)
        Said(at=NOW + timedelta(minutes=29)).record(session, replace(shop, panel=second), LATER)
        assert holds_in_force(session, panel) == []


def test_whoever_belongs_to_another_building_finds_no_hold_of_this_one(
    sqlite_database: Database, shop: Cast
) -> None:
    new = add_newcomers(sqlite_database, shop)
    with sqlite_database.write() as session:
        held = place_hold(session, shop.person(session, "worker"), panel_of(session, shop), "Dent.", NOW)
        session.flush()
        assert find_hold(session, session.get_one(Person, new.site_lead), held.id) is held
        for other in (new.other_site_lead, new.other_customer, shop.stranger):
            with pytest.raises(NotFound):
                find_hold(session, session.get_one(Person, other), held.id)
