"""Moving a panel to a newer version says first what that changes, and stores nothing anew."""

from datetime import timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.chart import Point
from qc_app.records.control_plan import ControlPlan
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.release import Release
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.find import NotFound
from qc_app.work.history import outcome_of
from qc_app.work.plan_moves import move_of, move_panel, newer_versions
from qc_app.work.proof import proof_of
from qc_app.work.roles import NotAllowed
from qc_app.work.setup import adopt_plan, default_document
from qc_app.work.state import missing_for_release
from qc_app.work.waiting import due_here
from tests.conftest import NOW, Cast, panel_of
from tests.work.conftest import Said, check

HOUR = timedelta(hours=1)
STRICTER = default_document().replace('plus_minus = "1/16 in"', 'plus_minus = "1/32 in"')
ADDED = (
    STRICTER
    + '\n[[characteristic]]\nkey = "face_check"\nname = "Faces clean"\nstation = "final"\n'
    + 'kinds = ["closed_roof"]\nmethod = "check"\nlimits = { upper = "0" }\n'
)
ON_THE_OLD_LIMIT, ON_TARGET = {"length": "24' 0 1/16\""}, {"length": "24'"}


def started(session: Session, cast: Cast, document: str = ADDED) -> ControlPlan:
    """The roof panel with two readings, then a newer version."""
    Said(place="AB", entries=ON_THE_OLD_LIMIT).record(session, cast)
    Said(place="DC", entries=ON_TARGET).record(session, cast)
    manager = cast.person(session, "manager")
    return adopt_plan(session, manager.plant, document, "Stricter.", manager, NOW + HOUR)


def test_what_a_move_changes_is_said_before_anything_moves(database: Database, cast: Cast) -> None:
    with database.write() as session:
        version, panel = started(session, cast), panel_of(session, cast)
        move = move_of(session, cast.person(session, "manager"), panel, version, NOW + HOUR)
        judged = {one.reading.place: (one.reading.verdict, one.would_be) for one in move.rejudged}
        assert judged == {"AB": ("within", "outside"), "DC": ("within", "within")}
        assert [one.reading.place for one in move.due_again] == ["AB"]
        assert [c.characteristic.key for c in move.added] == ["face_check"]
        assert panel.control_plan.version == 1


def test_a_move_is_on_record_and_its_readings_stay_as_they_were(database: Database, cast: Cast) -> None:
    with database.write() as session:
        version, panel = started(session, cast), panel_of(session, cast)
        before = [(r.id, r.verdict, r.lower, r.upper) for r in session.scalars(select(Reading))]
        move_panel(session, cast.person(session, "manager"), panel, version, " New fence. ", NOW + HOUR)
        session.expire_all()
        assert panel.control_plan_id == version.id
        assert [(r.id, r.verdict, r.lower, r.upper) for r in session.scalars(select(Reading))] == before
        event = session.scalars(
            select(Event).where(Event.what == "panel moved to another control plan")
        ).one()
        assert (event.chain, event.panel_id) == ("building 1", panel.id)
        assert event.facts == {
            "mark": "R-01",
            "from": 1,
            "to": 2,
            "reason": "New fence.",
            "due_again": ["edge_length AB"],
            "judged": {"edge_length AB": "outside"},
        }
        opened = session.scalars(select(Nonconformity)).one()
        assert opened.what == (
            "Length of edge, AB: 24' 0 1/16\", not proven under version 2 of the control plan."
        )
        assert (opened.opened_by_id, opened.reading_id) == (cast.manager, 1)


def test_a_moved_panel_waits_until_what_the_new_version_doubts_is_measured_again(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        version, panel = started(session, cast), panel_of(session, cast)
        manager = cast.person(session, "manager")
        before = proof_of(session, manager, panel.building, NOW + HOUR)[0].proven
        move_panel(session, manager, panel, version, "New fence.", NOW + HOUR)
        assert proof_of(session, manager, panel.building, NOW + HOUR)[0].proven == before - 1
        assert due_verdict(session, cast) == ("outside", "within")
        said = [str(sentence.words) for sentence in missing_for_release(session, panel, NOW + HOUR)]
        assert sum("{name} is outside its limits" in words for words in said) == 1
        # What was measured before the move does not settle it; a conforming reading after it does.
        late = Said(place="AB", entries=ON_TARGET, at=NOW - HOUR)
        late.record(session, cast, NOW + HOUR)
        assert due_verdict(session, cast) == ("outside", "within")
        Said(place="AB", entries=ON_TARGET, at=NOW + HOUR).record(session, cast, NOW + HOUR)
        assert due_verdict(session, cast) == ("within", "within")
        closed = session.scalars(select(Nonconformity)).one()
        assert closed.closed_how == "rework"


def due_verdict(session: Session, cast: Cast) -> tuple[str | None, str | None]:
    """What the readings of the two edges count as at their station."""
    panel = panel_of(session, cast)
    fence = find.station(session, cast.person(session, "worker"), "sheathing_fence")
    due = {d.check.place: d.verdict for d in due_here(session, panel, fence)}
    return due["AB"], due["DC"]


def test_a_reading_after_a_move_is_judged_by_the_new_version_and_stands_for_the_same_check(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        version, panel = started(session, cast), panel_of(session, cast)
        move_panel(session, cast.person(session, "manager"), panel, version, "New fence.", NOW + HOUR)
        again = Said(place="AB", entries=ON_THE_OLD_LIMIT, at=NOW + HOUR).record(session, cast, NOW + HOUR)
        assert (again.verdict, again.characteristic.control_plan_id) == ("outside", version.id)
        # The chart shows the panel as first measured there, under whichever version.
        shown = session.scalars(select(Point).join(Reading).where(Reading.place == "AB")).all()
        assert [point.reading_id for point in shown] == [1]


def test_readings_of_what_the_new_version_does_not_check_stay_readable(
    database: Database, cast: Cast
) -> None:
    without = default_document().replace('key = "framing_check"', 'key = "fixings"')
    with database.write() as session:
        check("framing_check", "framing").record(session, cast)
        version, panel = started(session, cast, without), panel_of(session, cast)
        move = move_panel(session, cast.person(session, "manager"), panel, version, "Fixings.", NOW + HOUR)
        assert {one.reading.characteristic.key: one.would_be for one in move.rejudged} == {
            "framing_check": "no verdict",
            "edge_length": "within",
        }
        assert move.due_again == ()
        assert session.scalars(select(Nonconformity)).all() == []
        assert panel.waiting_at == "framing"
        assert {outcome_of(r, panel).amount for r in session.scalars(select(Reading))} >= {0}


def test_a_move_needs_a_reason_and_a_newer_version_in_force(database: Database, cast: Cast) -> None:
    with database.write() as session:
        version, panel = started(session, cast), panel_of(session, cast)
        manager = cast.person(session, "manager")
        assert [v.version for v in newer_versions(session, panel, NOW + HOUR)] == [2]
        assert newer_versions(session, panel, NOW) == []
        with pytest.raises(Refusal, match="Say why"):
            move_panel(session, manager, panel, version, "  ", NOW + HOUR)
        with pytest.raises(Refusal, match="Version 2 is not in force yet"):
            move_panel(session, manager, panel, version, "Early.", NOW)
        with pytest.raises(Refusal, match="is under version 1; it moves to a newer one only"):
            move_panel(session, manager, panel, panel.control_plan, "Same.", NOW + HOUR)
        assert session.scalars(select(Event).where(Event.what.startswith("panel moved"))).all() == []


def test_a_panel_without_readings_or_released_does_not_move(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        version, panel = started(session, shop), panel_of(session, shop)
        manager = shop.person(session, "manager")
        floor = session.get_one(type(panel), shop.floor_panel)
        with pytest.raises(Refusal, match="F-01 has no reading yet; it follows"):
            move_of(session, manager, floor, version, NOW + HOUR)
        session.add(Release(panel_id=panel.id, person_id=manager.id, released_at=NOW))
        session.flush()
        with pytest.raises(Refusal, match="Withdraw the release first"):
            move_of(session, manager, panel, version, NOW + HOUR)


def test_only_the_plants_quality_manager_moves_its_panels(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        version, panel = started(session, shop), panel_of(session, shop)
        for who, refusal in (("lead", NotAllowed), ("worker", NotAllowed), ("stranger", NotFound)):
            with pytest.raises(refusal):
                move_panel(session, shop.person(session, who), panel, version, "Because.", NOW + HOUR)
        theirs = session.scalars(select(ControlPlan).where(ControlPlan.plant_id == 2)).one()
        with pytest.raises(NotFound):
            move_of(session, shop.person(session, "manager"), panel, theirs, NOW + HOUR)
