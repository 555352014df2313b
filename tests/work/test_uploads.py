"""Files are taken some rows at a time, and stations can save in between."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.upload import Upload
from qc_app.work import uploads
from qc_app.work.find import NotFound
from qc_app.work.roles import NotAllowed
from tests.conftest import NOW, Cast

HEADER = "building,mark,kind,length,width,depth,run,position,raising_sequence\n"
SCHEDULE = HEADER + "".join(f"H1,X-{n:03},open_floor,16',8',11 7/8,Deck,{n},{n}\n" for n in range(1, 26))
BAD = "H1,X-900,open_floor,5/0,8',11 7/8,Deck,1,1\n"


@pytest.fixture
def upload(database: Database, cast: Cast) -> int:
    content = (SCHEDULE + BAD).encode()
    return uploads.keep_upload(database, cast.manager, "schedule", "schedule.csv", content, NOW)


def marks(database: Database) -> list[str]:
    with database.read() as session:
        found = session.scalars(select(Panel.mark).where(Panel.mark.startswith("X-")).order_by(Panel.mark))
        return list(found)


def test_all_good_rows_arrive_whatever_the_slice(
    database: Database, cast: Cast, upload: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "TAKEN_AT_ONCE", 10)
    assert uploads.take(database, cast.manager, upload, NOW) == 25
    assert marks(database) == [f"X-{n:03}" for n in range(1, 26)]
    with database.read() as session:
        assert session.get_one(Upload, upload).taken_at == NOW
        event = session.scalars(select(Event).where(Event.what == "schedule imported")).one()
        assert (event.facts["added"], event.facts["refused"]) == (25, 1)


def test_what_was_cut_off_half_way_is_finished_by_taking_it_again(
    database: Database, cast: Cast, upload: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "TAKEN_AT_ONCE", 10)
    begun, writes = [], database.write

    @contextmanager
    def cut_off_at_the_second() -> Iterator[Session]:
        begun.append(1)
        if len(begun) == 2:
            raise ConnectionError("cut off")
        with writes() as session:
            yield session

    with monkeypatch.context() as broken:
        broken.setattr(database, "write", cut_off_at_the_second)
        with pytest.raises(ConnectionError):
            uploads.take(database, cast.manager, upload, NOW)
    assert len(marks(database)) == 10
    assert uploads.take(database, cast.manager, upload, NOW) == 15
    assert len(marks(database)) == 25


def test_only_who_may_import_takes_and_only_from_the_own_plant(
    database: Database, cast: Cast, upload: int
) -> None:
    with pytest.raises(NotAllowed):
        uploads.take(database, cast.worker, upload, NOW)
    with pytest.raises(NotFound):
        uploads.take(database, cast.stranger, upload, NOW)
    assert marks(database) == []
