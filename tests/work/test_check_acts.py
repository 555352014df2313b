"""Decisions, holds, releases and what follows: changed in a table by hand, the check names them."""

from datetime import timedelta

import pytest
from sqlalchemy import delete, insert, select, text, update

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.hold import Hold
from qc_app.records.nonconformity import Disposition
from qc_app.records.release import Passage, Release, ReleaseWithdrawal
from qc_app.work.hold import lift_hold, place_hold
from qc_app.work.nonconformity import decide, open_by_person
from qc_app.work.release import passage, release, withdraw
from tests.conftest import NOW, Cast
from tests.work.proven import prove
from tests.work.test_check_record import findings, open_to_tampering

LATER = NOW + timedelta(hours=2)


@pytest.fixture
def decided(database: Database, cast: Cast) -> Cast:
    """The shop after a concession, a hold lifted, a release, a loading, a withdrawal, and a hold in force."""
    with database.write() as session:
        panel = session.get_one(Panel, cast.floor_panel)
        lead, manager = cast.person(session, "lead"), cast.person(session, "manager")
        prove(session, cast, panel)
        one = open_by_person(session, lead, panel, "Split sill.", "", (), NOW)
        decide(session, manager, one, "accept", "Hidden.", one.version, NOW, "Ada Fern")
        lift_hold(session, lead, place_hold(session, lead, panel, "Wait.", NOW), "Waited.", LATER)
        made = release(session, lead, panel, LATER)
        passage(session, lead, panel, "loaded", LATER, "On top.")
        withdraw(session, lead, made, "Screws missing.", LATER)
        place_hold(session, lead, panel, "Screws.", LATER)
    return cast


def test_as_written_all_fits(database: Database, decided: Cast) -> None:
    assert findings(database) == []


@pytest.mark.parametrize(
    ("table", "column", "value", "what", "word"),
    [
        ("disposition", "reason", "Looks fine.", "nonconformity decided", "disposition"),
        ("disposition", "agreed_by", "Nobody", "nonconformity decided", "disposition"),
        ("disposition", "kind", "repair", "nonconformity decided", "disposition"),
        ("hold", "lift_reason", "No reason.", "hold lifted", "lifting of a hold"),
        ("release", "sha256", "0" * 64, "panel released", "release"),
        ("release_withdrawal", "reason", "Mood.", "release withdrawn", "withdrawal of a release"),
        ("passage", "remark", "Fell off.", "panel loaded", "loading"),
    ],
)
def test_what_was_changed_is_named_by_its_event_and_by_its_row(
    database: Database, decided: Cast, table: str, column: str, value: str, what: str, word: str
) -> None:
    with database.write() as session:
        open_to_tampering(session, table)
        session.execute(text(f"UPDATE {table} SET {column} = :value"), {"value": value})  # noqa: S608
    found = findings(database)
    told = f", {what}): the table has no such {word}, or it says something else."
    assert any(f.startswith("building H1, event ") and f.endswith(told) for f in found)
    assert any(f.startswith(f"building H1: no event tells of this {word} of F-01 by ") for f in found)


def test_a_hold_lifted_by_hand_has_no_event(database: Database, decided: Cast) -> None:
    with database.write() as session:
        in_force = update(Hold).where(Hold.lifted_at.is_(None))
        session.execute(in_force.values(lifted_at=LATER, lifted_by_id=decided.worker, lift_reason="Go."))
    (found,) = findings(database)
    assert found.startswith("building H1: no event tells of this lifting of a hold of F-01 by Wren Abbey, ")


def test_a_hold_taken_out_leaves_its_event(database: Database, decided: Cast) -> None:
    with database.write() as session:
        session.execute(delete(Hold).where(Hold.lifted_at.is_(None)))
    (found,) = findings(database)
    assert found.endswith("panel put on hold): the table has no such hold, or it says something else.")


@pytest.mark.parametrize("table", [Disposition, ReleaseWithdrawal, Passage])
def test_what_was_taken_out_leaves_its_event(
    database: Database, decided: Cast, table: type[Disposition | ReleaseWithdrawal | Passage]
) -> None:
    with database.write() as session:
        open_to_tampering(session, table.__tablename__)
        session.execute(delete(table))
    (found,) = findings(database)
    assert "the table has no such" in found


def test_a_release_put_in_by_hand_has_no_event(database: Database, decided: Cast) -> None:
    with database.write() as session:
        old = session.scalars(select(Release)).one()
        columns = {c.key: getattr(old, c.key) for c in Release.__table__.columns if c.key != "id"}
        session.execute(insert(Release).values({**columns, "panel_id": decided.panel}))
    assert findings(database) == [
        "building H1: no event tells of this release of R-01 by Otto Lind, 02 Mar 2026 17:00:00 UTC."
    ]
