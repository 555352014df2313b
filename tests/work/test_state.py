"""The state of panels, derived from the record."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from sqlalchemy import event, select
from sqlalchemy.orm import Session

from qc_app.plan.control_plan import Check
from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.release import Passage
from qc_app.work import find, state
from qc_app.work.hold import hold_by_instrument, place_hold
from qc_app.work.nonconformity import decide, open_by_person
from qc_app.work.record import record
from qc_app.work.release import release, withdraw
from qc_app.work.schedule import add_panel
from qc_app.work.state import Held, PanelState, as_told_to, missing_for_release, state_of, states_of
from tests.conftest import NOW, Cast, floor_panel, panel_of, roof_panel
from tests.work.conftest import Said, adopt_changed, check, guard_edges

LATER = NOW + timedelta(hours=2)
DUE_ON_ROOF = [
    *("connector 1", "connector 2", "framing check"),
    *("AB", "DC", "DA", "CB", "squareness", "nailing"),
    *("penetrations", "sill", "stud"),
    *(f"bay {number}" for number in range(1, 13)),
    *("core", "core holes", "seal", "seal of penetrations", "label", "picks"),
]


def at(minutes: int) -> datetime:
    return NOW + timedelta(minutes=minutes)


def floor_of(session: Session, cast: Cast) -> Panel:
    return session.get_one(Panel, cast.floor_panel)


def entries_within(due: Check, target: int | None) -> dict[str, str]:
    """Entries that prove a check on the floor panel."""
    match due.characteristic.method.key:
        case "tape":
            return {"length": f"{(target or 0) / 1_000_000} mm"}
        case "difference_of_diagonals":
            return {"ac": "214 5/8", "bd": "214 5/8"}
        case _:
            return {"passed": "yes"}


def prove(session: Session, cast: Cast, left_out: tuple[str, ...] = (), minutes: int = 0) -> None:
    """Records every check of the floor panel within its limits, but for some."""
    panel = floor_of(session, cast)
    plan, subject = panel.control_plan.plan, panel.subject
    for station in plan.kind(panel.kind).route:
        for due in plan.checks(subject, station):
            asked = due.characteristic
            if asked.key in left_out:
                continue
            entries = entries_within(due, asked.requirement(subject, due.place).target)
            said = Said(asked.key, due.place, entries, at(minutes), "floor_panel", station, "worker")
            replace(said, instruments=asked.instruments).record(session, cast, LATER)


def said_of(held: Held) -> str:
    return held.sentence.words.format(**held.sentence.facts)


def missing(session: Session, panel: Panel) -> list[str]:
    return [one.words.format(**one.facts) for one in missing_for_release(session, panel, LATER)]


def both_ways(session: Session, panel: Panel) -> PanelState:
    """The state of one panel, after seeing that looking at the whole building says the same."""
    session.flush()
    state = state_of(session, panel, LATER)
    (other,) = [s for s in states_of(session, panel.building, LATER) if s.panel is panel]
    assert replace(state, due=()) == other
    assert (state.waiting_at, state.standing) == (panel.waiting_at, other.standing)
    return state


def test_a_new_panel_is_in_work_at_its_first_station_with_everything_due(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        state = both_ways(session, panel_of(session, cast))
        assert (state.standing, state.waiting_at, state.is_held) == ("in_work", "framing", False)
        assert len(state.due) == len(DUE_ON_ROOF)
        assert {due.reading for due in state.due} == {None}
        first = missing(session, panel_of(session, cast))[0]
        assert first == "Position of site connector, connector 1 has no reading. Measure it at Framing."


def test_a_proven_panel_is_free(database: Database, cast: Cast) -> None:
    with database.write() as session:
        prove(session, cast)
        floor = floor_of(session, cast)
        state = both_ways(session, floor)
        assert (state.standing, state.waiting_at, state.due, state.holds) == ("free", None, (), ())
        assert missing(session, floor) == []


def test_a_reading_outside_holds_until_it_is_put_right(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(entries={"length": "24' 1"}).record(session, cast)
        panel = panel_of(session, cast)
        state = both_ways(session, panel)
        (held,) = [held for held in state.holds if held.why == "outside"]
        assert isinstance(held.what, Nonconformity)
        assert said_of(held) == (
            "Nonconformity 1: Length of edge, AB is outside its limits. Put it right and measure again, or "
            "ask the shop lead."
        )
        assert state.standing == "held"
        assert missing(session, panel).count(said_of(held)) == 1
        assert not any("Length of edge, AB is outside." in said for said in missing(session, panel))
        lead = cast.person(session, "lead")
        decide(session, lead, held.what, "rework", "Plane it.", held.what.version, LATER)
        (held,) = [held for held in both_ways(session, panel).holds if held.why == "outside"]
        expected = (
            "Nonconformity 1: Length of edge, AB. Otto Lind decided: rework. Do it, then measure again."
        )
        assert said_of(held) == expected
        Said(at=at(5)).record(session, cast, LATER)
        assert "outside" not in {held.why for held in both_ways(session, panel).holds}


def test_what_the_lead_decides_says_to_ask_the_lead(sqlite_database: Database, shop: Cast) -> None:
    damp = Said(
        "wood_moisture", "sill", {"percent": "19"}, station="services", instruments=("moisture_meter",)
    )
    with sqlite_database.write() as session:
        damp.record(session, shop)
        holds = both_ways(session, panel_of(session, shop)).holds
        assert any("Ask the shop lead, who decides" in said_of(held) for held in holds)


def test_an_unclear_reading_holds_until_it_is_measured_again(database: Database, cast: Cast) -> None:
    with database.write() as session:
        guard_edges(session, cast)
        panel = panel_of(session, cast)
        reading = Said(entries={"length": "24' 0 1/16"}).record(session, cast)
        assert reading.verdict == "unclear"
        (held,) = [held for held in both_ways(session, panel).holds if held.why == "unclear"]
        assert held.what is reading
        assert said_of(held).startswith("Length of edge, AB is unclear: nearer to its limit")
        Said(at=at(5)).record(session, cast, LATER)
        assert "unclear" not in {held.why for held in both_ways(session, panel).holds}


def test_a_check_missing_past_a_hold_point_holds(database: Database, cast: Cast) -> None:
    with database.write() as session:
        prove(session, cast, left_out=("nailing_check",))
        floor = floor_of(session, cast)
        state = both_ways(session, floor)
        (held,) = state.holds
        assert (held.why, held.since, held.what) == ("missing", NOW, None)
        assert said_of(held) == (
            "Nailing as scheduled is missing at Sheathing fence, and the panel went on. Measure it there."
        )
        assert (state.standing, state.waiting_at) == ("held", "sheathing_fence")
        assert missing(session, floor) == [
            "Nailing as scheduled has no reading. Measure it at Sheathing fence."
        ]


def test_several_missing_at_one_station_are_told_in_one_sentence(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        prove(session, shop, left_out=("nailing_check", "squareness"))
        (held,) = both_ways(session, floor_of(session, shop)).holds
        assert said_of(held).startswith("2 checks are missing at Sheathing fence")


def test_past_a_station_that_is_no_hold_point_a_panel_is_not_held_but_may_not_leave(
    sqlite_database: Database, shop: Cast
) -> None:
    written = 'name = "Sheathing fence"\n'
    with sqlite_database.write() as session:
        adopt_changed(session, shop, (written, f"{written}hold_point = false\n"))
        floor = floor_of(session, shop)
        prove(session, shop, left_out=("nailing_check", "pick_check"))
        state = both_ways(session, floor)
        assert (state.standing, state.waiting_at, state.holds) == ("in_work", "final", ())
        picks = replace(check("pick_check", "final"), of="floor_panel")
        picks.record(session, shop, LATER)
        state = both_ways(session, floor)
        assert (state.standing, state.waiting_at, state.holds) == ("in_work", "sheathing_fence", ())
        assert len(missing(session, floor)) == 1


def test_holds_by_people_and_instruments_are_told_with_what_to_do(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        prove(session, shop)
        worker, floor = shop.person(session, "worker"), floor_of(session, shop)
        place_hold(session, worker, floor, "Dent.", NOW)
        (tape,) = find.instruments(session, worker, ("tape",))
        hold_by_instrument(session, floor, tape, NOW)
        open_by_person(session, worker, floor, "Sheathing torn.", "", (), NOW)
        state = both_ways(session, floor)
        assert state.standing == "held"
        assert [(held.why, said_of(held)) for held in state.holds] == [
            ("outside", "Nonconformity 1: “Sheathing torn.” Ask the shop lead, who decides what is done."),
            ("person", "On hold by Wren Abbey: “Dent.” The shop lead lifts it."),
            (
                "instrument",
                "On hold: measured with Tape 4, which was found wrong. Measure again with another; the hold "
                "then ends by itself.",
            ),
        ]
        assert missing(session, floor) == [said_of(held) for held in state.holds]


def test_whoever_decides_is_told_what_to_do_and_not_to_ask_the_shop_lead(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        worker, lead, floor = (
            shop.person(session, "worker"),
            shop.person(session, "lead"),
            floor_of(session, shop),
        )
        place_hold(session, worker, floor, "Dent.", NOW)
        open_by_person(session, worker, floor, "Sheathing torn.", "", (), NOW)
        sentences = [held.sentence for held in both_ways(session, floor).holds]
        assert [str(as_told_to(worker, told)) for told in sentences] == [str(told) for told in sentences]
        assert [str(as_told_to(lead, told)) for told in sentences] == [
            "Nonconformity 1: “Sheathing torn.” Decide what is done.",
            "On hold by Wren Abbey: “Dent.” Once that is settled, lift it.",
        ]


def test_every_sentence_that_sends_to_the_shop_lead_has_one_for_those_who_lead() -> None:
    said = {*state.PUT_RIGHT.values(), *state.OPENED_BY_PERSON.values(), *state.ON_HOLD.values()}
    assert {words for words in said if "shop lead" in words} == set(state.TO_WHOEVER_LEADS)
    assert not any("shop lead" in words for words in state.TO_WHOEVER_LEADS.values())


def test_a_released_panel_goes_its_way(database: Database, cast: Cast) -> None:
    with database.write() as session:
        prove(session, cast)
        lead, floor = cast.person(session, "lead"), floor_of(session, cast)
        let_go = release(session, lead, floor, LATER)
        session.flush()
        assert both_ways(session, floor).standing == "released"
        assert both_ways(session, floor).released is let_go
        session.add(Passage(panel_id=floor.id, what="loaded", person_id=lead.id, at=LATER, remark=""))
        session.flush()
        assert both_ways(session, floor).standing == "loaded"
        session.add(Passage(panel_id=floor.id, what="set", person_id=lead.id, at=LATER, remark=""))
        session.flush()
        assert both_ways(session, floor).standing == "set"


def test_a_withdrawn_release_leaves_the_panel_as_its_readings_say(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        prove(session, shop)
        lead, floor = shop.person(session, "lead"), floor_of(session, shop)
        withdraw(session, lead, release(session, lead, floor, LATER), "Wrong revision.", LATER)
        session.flush()
        assert both_ways(session, floor).standing == "free"
        assert both_ways(session, floor).released is None


def test_a_late_reading_outside_flags_a_released_panel(sqlite_database: Database, shop: Cast) -> None:
    late = replace(check("nailing_check", "sheathing_fence", "no", at=at(5)), of="floor_panel")
    with sqlite_database.write() as session:
        prove(session, shop)
        floor = floor_of(session, shop)
        release(session, shop.person(session, "lead"), floor, LATER)
        assert not both_ways(session, floor).is_flagged
        late.record(session, shop, LATER)
        state = both_ways(session, floor)
        assert (state.standing, state.is_held, state.is_flagged) == ("released", True, True)


def test_a_scrapped_panel_waits_nowhere_and_may_not_leave(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        prove(session, shop)
        manager, floor = shop.person(session, "manager"), floor_of(session, shop)
        one = open_by_person(session, manager, floor, "Crushed.", "", (), NOW)
        place_hold(session, manager, floor, "Crushed.", NOW)
        decide(session, manager, one, "scrap", "Beyond repair.", one.version, NOW)
        state = both_ways(session, floor)
        assert (state.standing, state.waiting_at, state.holds, state.due) == ("scrapped", None, (), ())
        assert missing(session, floor) == ["F-01 was scrapped."]


def test_what_was_accepted_counts_as_proven(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        prove(session, shop, left_out=("nailing_check",))
        replace(check("nailing_check", "sheathing_fence", "no"), of="floor_panel").record(session, shop)
        floor, manager = floor_of(session, shop), shop.person(session, "manager")
        one = session.scalars(select(Nonconformity)).one()
        decide(session, manager, one, "accept", "Glued as well.", one.version, NOW, "Ada Fern")
        assert both_ways(session, floor).standing == "free"
        assert missing(session, floor) == []


def test_a_correction_of_what_was_accepted_is_judged_anew(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        prove(session, shop, left_out=("nailing_check",))
        said = replace(check("nailing_check", "sheathing_fence", "no"), of="floor_panel")
        wrong = said.record(session, shop)
        floor, manager = floor_of(session, shop), shop.person(session, "manager")
        one = session.scalars(select(Nonconformity)).one()
        decide(session, manager, one, "accept", "Glued as well.", one.version, NOW, "Ada Fern")
        new = replace(
            replace(check("nailing_check", "sheathing_fence", "no"), of="floor_panel").new(session, shop),
            entries={"passed": "no", "faults": "9"},
            supersedes=wrong.uuid,
            reason="Counted again.",
        )
        record(session, manager, new, LATER)
        assert both_ways(session, floor).standing == "held"


@pytest.mark.parametrize("panels", [2, 12])
def test_states_of_a_building_take_the_same_few_queries_however_many_panels(
    sqlite_database: Database, shop: Cast, panels: int
) -> None:
    with sqlite_database.write() as session:
        manager, building = shop.person(session, "manager"), panel_of(session, shop).building
        for n in range(panels):
            number = add_panel(session, manager, building, roof_panel(f"R-1{n}", n), NOW).id
            add_panel(session, manager, building, floor_panel(f"F-1{n}", n), NOW)
            Said(entries={"length": "24' 1"}).record(session, replace(shop, panel=number))
    asked: list[str] = []
    event.listen(sqlite_database.engine, "before_cursor_execute", lambda *given: asked.append(given[2]))
    with sqlite_database.read() as session:
        building = panel_of(session, shop).building
        asked.clear()
        states = states_of(session, building, NOW)
        assert len(states) == 2 + 2 * panels
        assert sum(state.is_held for state in states) == panels
        assert len(asked) <= 18


def test_a_state_is_what_the_readings_say_and_not_what_was_typed(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        floor = floor_of(session, shop)
        floor.waiting_at = None
        session.flush()
        assert state_of(session, floor, NOW).waiting_at == "framing"
        assert session.scalars(select(Reading)).all() == []
