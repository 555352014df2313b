"""Files in and out through the pages."""

import io

import pytest
from sqlalchemy import func, select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from tests.conftest import Cast
from tests.web.conftest import Browser, SignedIn

SCHEDULE = (
    "building,mark,kind,length,width,depth,run,position,raising_sequence\n"
    "H1,F-11,open_floor,16',8',11 7/8,Deck,1,11\n"
    "H1,F-12,open_floor,5/0,8',11 7/8,Deck,2,12\n"
)


@pytest.fixture
def manager(signed_in: SignedIn) -> Browser:
    return signed_in("manager")


def upload(browser: Browser, content: bytes, name: str = "schedule.csv", status: int = 302) -> str:
    data = {"schedule-file": (io.BytesIO(content), name)}
    return browser.post("/file/schedule", data, page="/file", status=status)


def panels(database: Database) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(Panel)) or 0


def test_nothing_is_imported_before_the_file_has_been_seen(
    manager: Browser, sqlite_database: Database
) -> None:
    page = manager.get(upload(manager, SCHEDULE.encode()))
    assert "1 new row can be taken" in page
    assert "1 row cannot be read" in page
    assert "5/0" in page
    assert panels(sqlite_database) == 2


def test_good_rows_are_taken_once_and_bad_ones_come_back_as_a_file(
    manager: Browser, sqlite_database: Database
) -> None:
    address = upload(manager, SCHEDULE.encode())
    manager.post(f"{address}/take", page=address)
    assert panels(sqlite_database) == 3
    again = upload(manager, SCHEDULE.encode())
    assert "1 row is already here" in manager.get(again)
    assert "Take the" not in manager.get(again)
    bad = manager.get(f"{address}/bad-rows.csv")
    assert "F-12" in bad
    assert "F-11" not in bad


@pytest.mark.parametrize(
    ("content", "name"),
    [
        (b"", "empty.csv"),
        (b"PK\x03\x04 not a zip", "broken.xlsx"),
        (b"\x89PNG\r\n\x1a\n", "picture.csv"),
        (b"a,b\n1,2\n", "other.csv"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(manager: Browser, content: bytes, name: str) -> None:
    page = upload(manager, content, name, status=400)
    assert "There is a problem" in page
    assert "<title>Error:" in page


def test_no_file_and_too_large_a_file_are_refused(manager: Browser) -> None:
    assert "Choose a file." in manager.post("/file/schedule", {}, page="/file", status=400)
    whole = {"data": b"x" * 12_000_000, "content_type": "multipart/form-data; boundary=xx"}
    answer = manager.client.post("/file/schedule", **whole)
    assert answer.status_code == 413
    assert "file of 10 MB" in answer.get_data(as_text=True)


def test_the_export_and_the_packet_are_downloads(manager: Browser, shop: Cast) -> None:
    for path, kind in (
        ("/file/readings.csv", "text/csv"),
        ("/file/readings.xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
        (f"/building/{shop.building}/packet.pdf", "application/pdf"),
    ):
        answer = manager.client.get(path)
        assert answer.status_code == 200
        assert answer.mimetype == kind
        assert answer.headers["Content-Disposition"].startswith("attachment; filename=")
