"""A draft is tried on the readings of a span before it is adopted."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from qc_app.plan.document import read_plan
from qc_app.records.database import Database
from qc_app.refusal import Refusal
from qc_app.work import plan_preview
from qc_app.work.plan_preview import Preview, Tally, preview
from qc_app.work.rejudge import NO_VERDICT
from qc_app.work.roles import NotAllowed
from qc_app.work.setup import default_document
from tests.conftest import NOW, Cast
from tests.work.conftest import Said, check, member

DAY = timedelta(days=1)
OLD_LIMIT, BEYOND = {"length": "24' 0 1/16\""}, {"length": "24' 0 1/8\""}


def under(session: Session, cast: Cast, *changes: tuple[str, str]) -> Preview:
    """What the default plan with these texts replaced would have made of all readings."""
    document = default_document()
    for written, instead in changes:
        assert written in document
        document = document.replace(written, instead)
    return preview(session, cast.person(session, "manager"), read_plan(document), NOW - DAY, NOW + DAY)


def tally(found: Preview, key: str) -> Tally:
    return next(tally for tally in found.tallies if tally.key == key)


def test_under_the_same_plan_nothing_changes(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(entries=OLD_LIMIT).record(session, cast)
        Said(place="DC", entries=BEYOND).record(session, cast)
        member(1).record(session, cast)
        found = under(session, cast)
        assert (found.readings, found.changed) == (3, 0)
        assert tally(found, "edge_length").was == tally(found, "edge_length").would_be
        assert (found.held_instead, found.free_instead) == ((), ())


def test_stricter_limits_put_readings_outside_and_hold_the_panel(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(entries=OLD_LIMIT).record(session, cast)
        Said(place="DC").record(session, cast)
        found = under(session, cast, ('"1/16 in"', '"1/32 in"'))
        edges = tally(found, "edge_length")
        assert (edges.readings, edges.changed) == (2, 1)
        assert edges.was == {"within": 2}
        assert edges.would_be == {"within": 1, "outside": 1}
        assert [panel.mark for panel in found.held_instead] == ["R-01"]
        assert found.free_instead == ()


def test_wider_limits_free_the_panel(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(entries=BEYOND).record(session, cast)
        found = under(session, cast, ('"1/16 in"', '"1/8 in"'))
        assert [panel.mark for panel in found.free_instead] == ["R-01"]
        assert tally(found, "edge_length").would_be == {"within": 1}


def test_a_guarded_rule_makes_readings_near_a_limit_unclear(database: Database, cast: Cast) -> None:
    # A tape of 1/64 in has a guard band of 1/32 in (JCGM 106:2012, 8.3; from memory).
    guarded = ('key = "edge_length"', 'key = "edge_length"\ndecision_rule = "guarded_acceptance"')
    with database.write() as session:
        Said(entries=OLD_LIMIT).record(session, cast)
        found = under(session, cast, guarded)
        assert tally(found, "edge_length").would_be == {"unclear": 1}
        assert [panel.mark for panel in found.held_instead] == ["R-01"]


def test_what_the_draft_does_not_check_gets_no_verdict_and_holds_nothing(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        check("framing_check", "framing", "no").record(session, cast)
        found = under(session, cast, ('key = "framing_check"', 'key = "fixings_check"'))
        assert tally(found, "framing_check").would_be == {NO_VERDICT: 1}
        assert [panel.mark for panel in found.free_instead] == ["R-01"]


def test_a_corrected_reading_and_one_outside_the_span_are_left_out(database: Database, cast: Cast) -> None:
    from dataclasses import replace

    from qc_app.work.record import record

    with database.write() as session:
        first = Said(entries=BEYOND).record(session, cast)
        corrected = replace(
            Said().new(session, cast), supersedes=first.uuid, reason="Read from the wrong end."
        )
        record(session, cast.person(session, "worker"), corrected, NOW)
        manager = cast.person(session, "manager")
        assert under(session, cast).tallies[0].was == {"within": 1}
        later = preview(session, manager, read_plan(default_document()), NOW + DAY, NOW + 2 * DAY)
        assert later.tallies == ()
        assert (
            preview(
                session,
                cast.person(session, "stranger"),
                read_plan(default_document()),
                NOW - DAY,
                NOW + DAY,
            ).readings
            == 0
        )


def test_too_many_readings_are_refused_with_how_many_there_are(
    sqlite_database: Database, shop: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan_preview, "MOST_READINGS", 1)
    with sqlite_database.write() as session:
        Said().record(session, shop)
        under(session, shop)
        Said(place="DC").record(session, shop)
        with pytest.raises(Refusal, match="There are 2 readings in this span; at most 1"):
            under(session, shop)


def test_a_preview_needs_a_span_and_a_quality_manager(sqlite_database: Database, shop: Cast) -> None:
    plan = read_plan(default_document())
    with sqlite_database.read() as session:
        with pytest.raises(Refusal, match="ends before it begins"):
            preview(session, shop.person(session, "manager"), plan, NOW, NOW)
        with pytest.raises(NotAllowed):
            preview(session, shop.person(session, "lead"), plan, NOW - DAY, NOW)
