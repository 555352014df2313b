"""The fence: six readings typed together, tested against each other before the panel leaves."""

from uuid import uuid4

import pytest
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument
from tests.conftest import Cast
from tests.web.conftest import Browser, SignedIn

# A true rectangle of 24 by 8 ft has diagonals of 303.5787 in: 25' 3 9/16" on a tape.
SQUARE = {
    "AB_length": "24'",
    "DC_length": "24'",
    "DA_length": "8'",
    "CB_length": "8'",
    "squareness_ac": "25' 3 9/16",
    "squareness_bd": "25' 3 9/16",
}


@pytest.fixture
def worker(signed_in: SignedIn) -> Browser:
    return signed_in("worker")


@pytest.fixture
def fence(shop: Cast) -> str:
    return f"/station/sheathing_fence/panel/{shop.panel}"


def typed(database: Database, **change: str) -> dict[str, str]:
    with database.read() as session:
        tape = session.scalars(select(Instrument.id).where(Instrument.kind == "tape")).first()
    return {"uuid": str(uuid4()), "instrument_tape": str(tape), **SQUARE, **change}


def readings(database: Database) -> dict[str, str]:
    """Verdict of the newest reading by place, the diagonals under an empty one."""
    with database.read() as session:
        return {r.place: r.verdict for r in session.scalars(select(Reading).order_by(Reading.id))}


def test_six_readings_that_fit_are_saved_together(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    page = worker.get(worker.post(fence, typed(sqlite_database)))
    assert "All 5 readings within" in page
    assert "Measured shape" in page
    assert "Square as closely as a tape can tell." in page
    assert readings(sqlite_database) == dict.fromkeys(("AB", "DC", "DA", "CB", ""), "within")


def test_a_tape_misread_by_an_inch_is_caught_before_anything_is_saved(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    page = worker.post(fence, typed(sqlite_database, squareness_ac="25' 4 9/16"), status=200)
    assert "Measure again before it leaves" in page
    assert "AC alone could explain it, if it was read about 0.968 in too long (one inch)." in page
    assert "one inch" in page
    assert "25&#39; 4 9/16" in page
    assert readings(sqlite_database) == {}


def test_the_same_readings_a_second_time_are_believed(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    first = typed(sqlite_database, AB_length="24' 1")
    page = worker.post(fence, first, status=200)
    doubted = page.split('name="doubted" type="hidden" value="')[1].split('"')[0]
    second = {**first, "doubted": doubted.replace("&#39;", "'")}
    assert "1 of 5 readings not within" in worker.get(worker.post(fence, second))
    assert readings(sqlite_database)["AB"] == "outside"


def test_readings_corrected_after_a_doubt_are_tested_anew(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    doubted = {"doubted": "24' 1 / 24' / 8' / 8' / 25' 3 9/16 / 25' 3 9/16"}
    page = worker.post(fence, typed(sqlite_database, CB_length="8' 2", **doubted), status=200)
    assert "Measure again before it leaves" in page
    assert readings(sqlite_database) == {}


def test_what_was_corrected_after_a_doubt_is_saved(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    doubted = {"doubted": "24' 1 / 24' / 8' / 8' / 25' 3 9/16 / 25' 3 9/16"}
    assert "All 5 readings within" in worker.get(worker.post(fence, typed(sqlite_database, **doubted)))


def test_a_leaning_panel_is_told_how_to_be_racked(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    # 1/8 in between the diagonals is a lean of 0.066 in over 8 ft (parallelogram law).
    lean = {"squareness_ac": "25' 3 5/8", "squareness_bd": "25' 3 1/2"}
    page = worker.get(worker.post(fence, typed(sqlite_database, **lean)))
    assert "1 of 5 readings not within" in page
    assert "Lean over the width: +0.066 in" in page
    assert "To square it, push corner" in page


def test_measuring_again_after_racking_keeps_the_first_readings(
    worker: Browser, fence: str, sqlite_database: Database, shop: Cast
) -> None:
    lean = {"squareness_ac": "25' 3 5/8", "squareness_bd": "25' 3 1/2"}
    worker.post(fence, typed(sqlite_database, **lean))
    again = f"{fence}?check=squareness&place="
    assert "All 5 readings within" in worker.get(worker.post(again, typed(sqlite_database)))
    page = worker.get(f"/panel/{shop.panel}")
    assert page.count("measured again later") == 5
    assert "25&#39; 3 5/8" in page


def test_one_reading_that_cannot_be_read_saves_none(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    page = worker.post(fence, typed(sqlite_database, DA_length="8 feat"), status=400)
    assert "DA: " in page
    assert "8 feat" in page
    assert 'value="25&#39; 3 9/16"' in page
    assert readings(sqlite_database) == {}


def test_the_form_sent_twice_is_stored_once(worker: Browser, fence: str, sqlite_database: Database) -> None:
    once = typed(sqlite_database)
    worker.post(fence, once)
    worker.post(f"{fence}?check=squareness&place=", once)
    with sqlite_database.read() as session:
        assert len(session.scalars(select(Reading)).all()) == 5


def test_impossible_sides_are_doubted_in_words(
    worker: Browser, fence: str, sqlite_database: Database
) -> None:
    page = worker.post(
        fence, typed(sqlite_database, squareness_ac="25 ft 3 9/16 in", DA_length="80'"), status=200
    )
    assert "Measure again before it leaves" in page
    assert readings(sqlite_database) == {}
