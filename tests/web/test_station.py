"""A worker logs readings at a station."""

import re
from uuid import uuid4

import pytest
from sqlalchemy import select

from qc_app.measure.length import parse_length
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument
from qc_app.work.schedule import book_in_lot
from qc_app.work.setup import adopt_plan, default_document
from tests.conftest import NOW, Cast
from tests.web.conftest import Browser, SignedIn


def tape(database: Database) -> str:
    with database.read() as session:
        return str(session.scalars(select(Instrument.id).where(Instrument.kind == "tape")).first())


def readings(database: Database) -> list[Reading]:
    with database.read() as session:
        return list(session.scalars(select(Reading).order_by(Reading.id)))


@pytest.fixture
def worker(signed_in: SignedIn) -> Browser:
    return signed_in("worker")


@pytest.fixture
def connector(shop: Cast) -> str:
    """The address for logging the position of the roof panel's first connector, 4 ft from the datum edge."""
    return f"/station/framing/panel/{shop.panel}?check=connector_position&place=connector+1"


def entry(database: Database, length: str, **more: object) -> dict[str, object]:
    return {"uuid": str(uuid4()), "length": length, "instrument_tape": tape(database), **more}


def test_a_worker_starts_at_the_choice_of_station(worker: Browser) -> None:
    assert worker.client.get("/").location == "/station"
    assert "Which station is this?" in worker.get("/station")


def test_the_tablet_remembers_its_station(worker: Browser) -> None:
    assert worker.post("/station/fill", page="/station") == "/station/fill"
    assert worker.client.get("/station").location == "/station/fill"
    assert "Which station is this?" in worker.get("/station?change")


def test_panels_wait_at_the_first_station_of_their_route(worker: Browser) -> None:
    page = worker.get("/station/framing")
    assert re.findall(r"<strong>([^<]+)</strong>", page) == ["R-01", "F-01", "LOT-1"]
    assert "Nothing waits here now." in worker.get("/station/fill")


def test_cautions_stand_on_the_pages_of_stations_where_work_can_hurt(worker: Browser, shop: Cast) -> None:
    assert "respirator, eye protection and extraction" in worker.get("/station/fill")
    assert "respirator, eye protection" in worker.get(f"/station/fill/panel/{shop.panel}")
    assert "never under a raised panel" in worker.get("/station/sheathing_fence")
    assert "This log approves no lift." in worker.get("/station/final")
    assert "Caution" not in worker.get("/station/air_seal")


def test_a_length_is_asked_for_with_its_target_and_limits(worker: Browser, connector: str) -> None:
    page = worker.get(connector)
    assert "Position of site connector" in page
    assert "4&#39; 0&#34;" in page
    assert "3&#39; 11 7/8&#34; to 4&#39; 0 1/8&#34;" in page


def test_measured_values_are_never_filled_in_beforehand(worker: Browser, connector: str) -> None:
    assert re.search(r'<input[^>]*id="length"[^>]*value=""', worker.get(connector))


def test_a_reading_on_the_limit_is_within(worker: Browser, connector: str, sqlite_database: Database) -> None:
    following = worker.post(connector, entry(sqlite_database, "4' 0 1/8\""))
    assert "Position of site connector, connector 1: within" in worker.get(following)
    assert "+1/8&#34; from target" in worker.get(following)


def test_a_reading_beyond_the_limit_is_flagged_at_once(
    worker: Browser, connector: str, sqlite_database: Database
) -> None:
    page = worker.get(worker.post(connector, entry(sqlite_database, "3' 11 3/4\"")))
    assert "Position of site connector, connector 1: outside" in page
    assert "−1/4&#34; from target" in page
    assert "Measure again" in page


def test_what_was_typed_is_kept_word_for_word(
    worker: Browser, connector: str, sqlite_database: Database
) -> None:
    worker.post(connector, entry(sqlite_database, " 4-0-1 "))
    assert readings(sqlite_database)[0].entries == {"length": " 4-0-1 "}


def test_the_same_form_sent_twice_is_stored_once(
    worker: Browser, connector: str, sqlite_database: Database
) -> None:
    typed = entry(sqlite_database, "4'")
    assert worker.post(connector, typed) == worker.post(connector, typed)
    assert len(readings(sqlite_database)) == 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "nothing was entered"),
        ("5/0", "5/0"),
        ("12' 14\"", "12&#39; 14&#34;"),
        ("nan", "nan"),
        ("inf", "inf"),
        ("-3", "-3"),
        ("1e9", "1e9"),
        ("<script>alert(1)</script>", "&lt;script&gt;"),
    ],
)
def test_what_cannot_be_read_is_named_and_kept(
    worker: Browser, connector: str, sqlite_database: Database, typed: str, said: str
) -> None:
    page = worker.post(connector, entry(sqlite_database, typed, note="east end"), status=400)
    assert "There is a problem" in page
    assert "<title>Error:" in page
    assert said in page
    assert 'value="east end"' in page
    assert readings(sqlite_database) == []


def test_a_field_of_ten_megabytes_is_refused(
    worker: Browser, connector: str, sqlite_database: Database
) -> None:
    token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', worker.get(connector))
    assert token is not None
    typed = {"csrf_token": token[1], **entry(sqlite_database, "1" * 10_000_000)}
    answer = worker.client.post(connector, data=typed)
    assert answer.status_code == 413
    assert "Nothing was saved" in answer.get_data(as_text=True)
    assert readings(sqlite_database) == []


def test_an_instrument_must_be_named(worker: Browser, connector: str, sqlite_database: Database) -> None:
    page = worker.post(connector, entry(sqlite_database, "4'", instrument_tape=""), status=400)
    assert "needs to say which tape was used" in page
    assert readings(sqlite_database) == []


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/station/framing/panel/{panel}?check=connector_position&place=XY", "R-01 has no XY"),
        ("/station/sheathing_fence/panel/{panel}?check=weather&place=", "no characteristic “weather”"),
        ("/station/sheathing_fence/panel/999999", "There is no such panel in this plant."),
        ("/station/roof/panel/{panel}", "There is no station “roof”"),
    ],
)
def test_an_address_that_names_nothing_says_so(worker: Browser, shop: Cast, address: str, said: str) -> None:
    answer = worker.client.get(address.format(panel=shop.panel))
    assert answer.status_code in (400, 404)
    assert said in answer.get_data(as_text=True)


def test_a_reading_belongs_to_its_station(worker: Browser, shop: Cast, sqlite_database: Database) -> None:
    address = f"/station/fill/panel/{shop.panel}?check=connector_position&place=connector+1"
    page = worker.post(address, entry(sqlite_database, "4'"), status=400)
    assert "Position of site connector is not measured at Fill." in page


def test_a_panel_moves_on_when_everything_due_is_within(
    worker: Browser, shop: Cast, sqlite_database: Database
) -> None:
    address = f"/station/framing/panel/{shop.floor_panel}"
    following = worker.post(address, {"uuid": str(uuid4()), "passed": "yes"})
    assert "F-01 is done here" in worker.get(following)
    assert "F-01" in worker.get("/station/sheathing_fence")
    assert "F-01" not in worker.get("/station/framing")


def test_faults_are_counted_and_hold_the_panel(worker: Browser, shop: Cast) -> None:
    address = f"/station/framing/panel/{shop.floor_panel}"
    page = worker.get(worker.post(address, {"uuid": str(uuid4()), "passed": "no", "faults": "2"}))
    assert "Blocking and fixings as drawn: outside" in page
    assert "2 faults" in page
    assert "F-01" in worker.get("/station/framing")


def test_a_lot_is_checked_by_sample(worker: Browser, shop: Cast, sqlite_database: Database) -> None:
    address = f"/station/framing/lot/{shop.lot}"
    page = worker.get(worker.post(address, entry(sqlite_database, "8' 0 1/32\"")))
    assert "Length of member, member 1: within" in page
    assert "Moisture of member, member 3" in page


def test_a_lot_is_booked_in_by_a_worker(worker: Browser) -> None:
    size = {"kind": "precut_members", "mark": "LOT-2", "length": "9'", "width": "1 1/2", "depth": "7 1/4"}
    assert "LOT-2" in worker.get(worker.post("/lot", size))
    again = worker.post("/lot", size, status=200)
    assert "There is a lot marked “LOT-2” already." in again
    wrong = worker.post("/lot", {**size, "mark": "LOT-3", "length": "9 feat"}, status=200)
    assert "9 feat" in wrong


@pytest.mark.parametrize(
    ("uncertainty", "advised"), [("", False), ("3 g", True)], ids=["a fine scale", "a coarse scale"]
)
def test_a_core_shows_its_uncertainty_and_what_would_make_it_smaller(
    signed_in: SignedIn, shop: Cast, uncertainty: str, advised: bool
) -> None:
    manager = signed_in("manager")
    scale = {"kind": "scale", "name": "Kitchen scale", "bore": "", "uncertainty": uncertainty}
    manager.post("/instrument", scale)
    page = manager.get(f"/station/fill/panel/{shop.panel}")
    option = re.search(r'<option value="(\d+)">Kitchen scale', page)
    cutter = re.search(r'<option selected value="(\d+)">Cutter 1', page)
    assert option is not None
    assert cutter is not None
    typed = {
        "uuid": str(uuid4()),
        "mass": "58 g",
        "depth": "11 1/4",
        "instrument_scale": option[1],
        "instrument_core_cutter": cutter[1],
    }
    answer = manager.get(manager.post(f"/station/fill/panel/{shop.panel}", typed))
    assert "4.00 lb/ft³ ± 0." in answer
    assert ("The core is too small for this scale" in answer) == advised


def test_an_unclear_reading_keeps_the_panel_and_asks_to_measure_again(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    key = 'key = "member_moisture"\n'
    document = default_document().replace(key, f'{key}decision_rule = "guarded_acceptance"\n')
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        adopt_plan(session, manager.plant, document, "Prove it.", manager, NOW)
        size = (parse_length("8'"), parse_length("1 1/2"), parse_length("11 1/4"))
        lot = book_in_lot(session, manager, "precut_members", "LOT-9", size, NOW).id
        meter = session.scalars(select(Instrument.id).where(Instrument.kind == "moisture_meter")).one()
    worker = signed_in("worker")
    address = f"/station/framing/lot/{lot}?check=member_moisture&place=member+1"
    typed = {"uuid": str(uuid4()), "percent": "17.1", "instrument_moisture_meter": str(meter)}
    page = worker.get(worker.post(address, typed))
    assert "Moisture of member, member 1: unclear" in page
    assert "17.1 % ± 2.0 %" in page
    assert "Measure again" in page
    assert "LOT-9" in worker.get("/station/framing")
