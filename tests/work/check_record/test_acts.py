"""Decisions, holds, releases and what follows: changed in a table by hand, the check names them."""

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import delete, insert, select, text, update
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.hold import Hold
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.release import Passage, Release, ReleaseWithdrawal
from qc_app.work.nonconformity import open_by_person
from tests.conftest import NOW, Cast
from tests.work.check_record.tampering import findings, found_in, tamper
from tests.work.check_record.whole_shop import whole_shop

LATER = NOW + timedelta(hours=2)


def test_as_written_all_fits(database: Database, decided: Cast) -> None:
    assert findings(database) == []


@pytest.mark.parametrize(
    ("table", "column", "value", "what", "word", "says"),
    [
        ("disposition", "reason", "Looks fine.", "nonconformity decided", "disposition", "“Hidden.”"),
        ("disposition", "agreed_by", "Nobody", "nonconformity decided", "disposition", "“Ada Fern”"),
        ("disposition", "kind", "repair", "nonconformity decided", "disposition", "“accept”"),
        ("hold", "lift_reason", "No reason.", "hold lifted", "lifting of a hold", "“Waited.”"),
        ("release", "sha256", "0" * 64, "panel released", "release", "“"),
        ("release_withdrawal", "reason", "Mood.", "release withdrawn", "withdrawal of a release", "“Screws"),
        ("passage", "remark", "Fell off.", "panel loaded", "loading", "“On top.”"),
    ],
)
def test_what_was_changed_is_named_with_what_the_record_says_and_what_the_table_says(
    database: Database, decided: Cast, table: str, column: str, value: str, what: str, word: str, says: str
) -> None:
    change = text(f"UPDATE {table} SET {column} = :value")  # noqa: S608
    found = tamper(database, lambda session: session.execute(change, {"value": value}))
    (told,) = [f for f in found if f", {what}): the record says that the " in f]
    assert told.startswith("building H1, panel F-01, event ")
    assert f" of this {word} is {says}" in told
    assert told.endswith(f"; the table says “{value}”.")


def test_a_hold_lifted_by_hand_has_no_event(database: Database, decided: Cast) -> None:
    in_force = update(Hold).where(Hold.lifted_at.is_(None))
    lift = in_force.values(lifted_at=LATER, lifted_by_id=decided.worker, lift_reason="Go.")
    (found,) = tamper(database, lambda session: session.execute(lift))
    assert found.startswith(
        "building H1, panel F-01: the table has this lifting of a hold (person Wren Abbey, "
    )
    assert found.endswith("reason “Go.”); no event tells of it.")


def test_a_hold_taken_out_leaves_its_event(database: Database, decided: Cast) -> None:
    gone = delete(Hold).where(Hold.lifted_at.is_(None))
    (found,) = tamper(database, lambda session: session.execute(gone))
    assert "panel put on hold): the record tells of this hold (person Otto Lind, " in found
    assert found.endswith("reason “Screws.”); the table has none like it.")


@pytest.mark.parametrize("table", [Disposition, ReleaseWithdrawal, Passage])
def test_what_was_taken_out_leaves_its_event(
    database: Database, decided: Cast, table: type[Disposition | ReleaseWithdrawal | Passage]
) -> None:
    (found,) = tamper(database, lambda session: session.execute(delete(table)))
    assert found.endswith("; the table has none like it.")


def test_a_release_put_in_by_hand_has_no_event(database: Database, decided: Cast) -> None:
    def put_in(session: Session) -> None:
        old = session.scalars(select(Release)).one()
        columns = {c.key: getattr(old, c.key) for c in Release.__table__.columns if c.key != "id"}
        session.execute(insert(Release).values({**columns, "panel_id": decided.panel}))

    (found,) = tamper(database, put_in)
    assert found.startswith("building H1, panel R-01: the table has this release (person Otto Lind, ")
    assert found.endswith("; no event tells of it.")


def test_a_text_changed_in_a_nonconformity_is_named(database: Database, decided: Cast) -> None:
    (found,) = tamper(database, lambda s: s.execute(update(Nonconformity).values(what="Nothing much.")))
    assert found.startswith("building H1, panel F-01, event ")
    assert found.endswith(
        "nonconformity opened): the record says that the text of nonconformity 1 is “Split sill.”; "
        "the table says “Nothing much.”."
    )


def test_a_nonconformity_closed_by_hand_is_named(database: Database, cast: Cast) -> None:
    with database.write() as session:
        panel = session.get_one(Panel, cast.panel)
        open_by_person(session, cast.person(session, "lead"), panel, "Split sill.", "", (), NOW)
    close = update(Nonconformity).values(closed_at=LATER, closed_how="rework", closed_by_id=cast.lead)
    found = tamper(database, lambda session: session.execute(close))
    assert [f.split("says that the ")[1] for f in found] == [
        "time it was closed of nonconformity 1 is nothing; the table says 2026-03-02 17:00:00 UTC.",
        "person who closed it of nonconformity 1 is nothing; the table says Otto Lind.",
        "way it was closed of nonconformity 1 is nothing; the table says “rework”.",
    ]


def test_where_every_row_was_changed_each_event_finds_its_own(database: Database, tmp_path: Path) -> None:
    whole_shop(database, tmp_path / "photos")
    with database.write() as session:
        session.execute(text("UPDATE hold SET reason = 'Whatever.'"))
        found = [f for f in found_in(session, tmp_path / "photos") if "of this hold is" in f]
        held = session.scalars(select(Hold)).all()
        session.rollback()
    assert len(found) == len(held) > 2
    assert all(f.endswith("the table says “Whatever.”.") for f in found)
