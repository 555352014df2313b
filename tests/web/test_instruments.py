"""The pages of instruments: what is known of each, its checks, and the panels that it puts in doubt."""

import re

import pytest
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.hold import Hold
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.shop import Instrument
from qc_app.work.instrument_checks import found_wrong
from tests.conftest import NOW, Cast
from tests.web.conftest import SignedIn
from tests.work.conftest import Said

TAPE = "/instrument/1"
NEW = {
    "kind": "tape",
    "name": "Tape 9",
    "accuracy_class": "II",
    "graduation": "1 mm",
    "largest": "8000 mm",
    "uncertainty": "",
    "study": "",
    "certificate": "K-2231",
    "due_on": "2027-03-01",
    "bore": "",
}


def doubt(database: Database, shop: Cast) -> int:
    """A panel measured with the tape, which then falls: the number of the hold."""
    with database.write() as session:
        Said().record(session, shop)
        worker = shop.person(session, "worker")
        found_wrong(session, worker, session.get_one(Instrument, 1), "Fell off the bench.", NOW)
        return session.scalars(select(Hold.id)).one()


def test_an_instrument_of_a_class_is_added_with_its_uncertainty(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    manager = signed_in("manager")
    assert manager.post("/instrument", NEW) == "/instrument"
    with sqlite_database.read() as session:
        made = session.scalars(select(Instrument).where(Instrument.name == "Tape 9")).one()
        # √((1.9² + 0.5²) / 3) mm: class II to 8 m, read to 1 mm (MI-008; JCGM 100:2008, 4.3.7).
        assert made.standard_uncertainty == 1_134_313
    page = manager.get(f"/instrument/{made.id}")
    for told in ("Accuracy class", "K-2231", "2027-03-01", "0.045 in"):
        assert told in page
    assert "Tape 9" in manager.get("/instrument")


@pytest.mark.parametrize(
    ("otherwise", "sentence"),
    [
        ({"graduation": "fine"}, "fine"),
        ({"kind": "scale", "graduation": "", "largest": ""}, "counts in its graduations"),
        ({"kind": "moisture_meter", "graduation": "0.1 %", "largest": ""}, "no accuracy class “II”"),
        ({"study": "1; A"}, "part; person; reading"),
        ({"due_on": "next spring"}, "Not a valid date"),
        ({"name": ""}, "Enter its name."),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    shop: Cast, signed_in: SignedIn, otherwise: dict[str, str], sentence: str
) -> None:
    page = signed_in("manager").post("/instrument", {**NEW, **otherwise}, status=200)
    assert "There is a problem" in page
    assert sentence in page
    assert "K-2231" in page


def test_after_a_calibration_it_is_changed(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    manager = signed_in("manager")
    known = {"uncertainty": "1/64 in", "certificate": "K-9", "due_on": "2027-01-31", "accuracy_class": "I"}
    assert manager.post(f"{TAPE}/change", known, page=TAPE) == TAPE
    with sqlite_database.read() as session:
        tape = session.get_one(Instrument, 1)
        assert (tape.standard_uncertainty, tape.certificate, str(tape.due_on)) == (
            396_875,
            "K-9",
            "2027-01-31",
        )
    check = {"calibrate-reference": "1000 mm", "calibrate-read": "1000.1 mm", "calibrate-remark": "at 20 °C"}
    assert manager.post(f"{TAPE}/calibrate", check, page=TAPE) == TAPE
    with sqlite_database.read() as session:
        made = session.scalars(select(InstrumentCheck)).one()
        assert (made.occasion, made.passed, made.permitted) == ("calibration", True, 200_000)
    page = manager.get(TAPE)
    assert "at 20 °C" in page
    assert "passed" in page


def test_a_wrong_instrument_lists_what_it_measured_and_its_panels_can_go_on_with_a_reason(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    hold = doubt(sqlite_database, shop)
    lead = signed_in("lead")
    page = lead.get(TAPE)
    for told in (
        "H1 · R-01",
        "Length of edge, AB",
        "on hold",
        "No good check came before",
        "failed its check",
    ):
        assert told in page
    refused = lead.post(f"{TAPE}/lift/{hold}", {"reason": "  "}, page=TAPE, status=400)
    assert "Say why in a few words" in refused
    assert lead.post(f"{TAPE}/lift/{hold}", {"reason": "Fell after that."}, page=TAPE) == TAPE
    assert "not held" in lead.get(TAPE)
    with sqlite_database.read() as session:
        assert session.get_one(Hold, hold).lift_reason == "Fell after that."


def test_the_lead_is_told_in_a_notice(sqlite_database: Database, shop: Cast, signed_in: SignedIn) -> None:
    doubt(sqlite_database, shop)
    page = signed_in("lead").get("/notices")
    assert "Tape 4 was found wrong: Fell off the bench." in page
    assert "Panels measured with it since its last good check: 1." in page


def test_a_lead_may_find_one_wrong_but_not_take_it_out_of_use(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    lead = signed_in("lead")
    assert "Take it out of use" not in lead.get(TAPE)
    assert lead.post(f"{TAPE}/wrong", {"wrong-reason": "Hook bent."}, page=TAPE) == TAPE
    with sqlite_database.read() as session:
        assert session.scalars(select(InstrumentCheck)).one().remark == "Hook bent."
    assert lead.client.post(f"{TAPE}/retire", data={}).status_code in (400, 403)


def test_one_out_of_use_is_offered_no_more(shop: Cast, signed_in: SignedIn) -> None:
    manager = signed_in("manager")
    assert manager.post(f"{TAPE}/retire", {"retire-reason": "Blade kinked."}, page=TAPE) == TAPE
    assert "out of use" in manager.get(TAPE)
    assert "Tape 4" not in manager.get("/instrument")


def test_each_id_on_the_page_is_there_once(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    doubt(sqlite_database, shop)
    ids = re.findall(r' id="([^"]+)"', signed_in("manager").get(TAPE))
    assert len(ids) == len(set(ids))


def test_the_station_page_says_what_is_wrong_with_an_instrument(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    worker = signed_in("worker")
    station = f"/station/sheathing_fence/panel/{shop.panel}"
    assert ">Tape 4</option>" in worker.get(station)
    with sqlite_database.write() as session:
        session.get_one(Instrument, 1).due_on = NOW.date()
    assert "Tape 4 – calibration overdue</option>" in worker.get(station)
    doubt(sqlite_database, shop)
    assert "Tape 4 – failed its check</option>" in worker.get(station)
    assert "Tape 4 · Tape – failed its check</option>" in worker.get("/instrument/check")


def test_another_plants_instrument_is_not_there(shop: Cast, signed_in: SignedIn) -> None:
    signed_in("stranger").get(TAPE, status=404)
