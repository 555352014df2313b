"""What can be worked out from something else: points of charts, files and links; and cursors left open."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.orm import Session

from qc_app.records.chain import links
from qc_app.records.database import Database
from qc_app.records.release import Release
from qc_app.work.check_record.contents import snapshots_that_differ
from qc_app.work.check_record.place import chains_of
from qc_app.work.check_record.readings import rows_of
from tests.conftest import Cast
from tests.work.check_record.tampering import found_in, open_to_tampering
from tests.work.check_record.whole_shop import whole_shop


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (
            "UPDATE point SET deviation = deviation + 1 WHERE id = 1",
            "from its target; the table says that its point is ",
        ),
        (
            "UPDATE upload SET content = X'30'",
            "the table has the file “schedule.csv” (schedule), whose content does not give its hash",
        ),
        (
            "UPDATE upload SET name = 'other.csv'",
            "the record tells of the file “schedule.csv”; the table has",
        ),
        ("DELETE FROM nonconformity_link", "the record links nonconformities "),
        (
            "DELETE FROM nonconformity_link",
            "are about the same check, one after the other; the table does not",
        ),
        ("UPDATE photo SET size = 7", "bytes; the table says 7."),
    ],
)
def test_what_does_not_fit_is_named(
    sqlite_database: Database, tmp_path: Path, change: str, named: str
) -> None:
    whole_shop(sqlite_database, tmp_path / "photos")
    with sqlite_database.write() as session:
        open_to_tampering(session)
        session.execute(text(change))
        found = found_in(session, tmp_path / "photos")
    assert any(named in finding for finding in found)


def snapshots(session: Session, _cast: Cast) -> Iterator[object]:
    return snapshots_that_differ(session)


def events(session: Session, cast: Cast) -> Iterator[object]:
    return links(session, f"building {cast.building}")


def readings(session: Session, cast: Cast) -> Iterator[object]:
    (chain,) = (chain for chain in chains_of(session) if chain.name == f"building {cast.building}")
    return rows_of(session, chain)


@pytest.mark.parametrize("look", [snapshots, events, readings])
def test_a_look_that_stops_early_leaves_no_cursor_open(
    database: Database,
    decided: Cast,
    monkeypatch: pytest.MonkeyPatch,
    look: Callable[[Session, Cast], Iterator[object]],
) -> None:
    with database.write() as session:
        open_to_tampering(session)
        for release in session.query(Release):
            release.sha256 = "0" * 64
    results, execute = [], Connection.execute

    def noted(self: Connection, *arguments: Any, **options: Any) -> Any:
        results.append(execute(self, *arguments, **options))
        return results[-1]

    monkeypatch.setattr(Connection, "execute", noted)
    with database.snapshot() as session:
        looking = look(session, decided)
        next(looking)
        assert not results[-1].closed
        looking.close()  # type: ignore[attr-defined]
        assert results[-1].closed
