"""Checking an instrument and saying which lot went in, in a real browser; both work without a network."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.shop import Person
from qc_app.work.materials import receive
from tests.browser.conftest import NewVisit, Visit

pytestmark = pytest.mark.browser


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    worker = visit()
    worker.sign_in("wren")
    return worker


@pytest.fixture
def bag(database: Database) -> str:
    """The mark of a lot that came in."""
    with database.write() as session:
        wren = session.scalars(select(Person).where(Person.sign_in_name == "wren")).one()
        receive(session, wren, "BAG-77", "cellulose", "Alder Fibre", None, "", datetime.now(UTC))
    return "BAG-77"


def stations_of(database: Database, mark: str) -> list[str]:
    """Where the server knows a lot to have been used, once for each time."""
    with database.read() as session:
        used = select(LotUse).join(MaterialLot).where(MaterialLot.mark == mark)
        return [one.station.key for one in session.scalars(used)]


def open_page(worker: Visit, path: str) -> Page:
    worker.page.goto(worker.address + path + "?language=en")
    worker.ready()
    return worker.page


def fill(page: Page, values: dict[str, str]) -> None:
    """Types into the fields in sight; Enter saves after the last."""
    for label, text in values.items():
        page.get_by_label(label, exact=True).locator("visible=true").fill(text)
    page.get_by_label("Remark (optional)", exact=True).press("Enter")


def test_a_tape_is_judged_at_once_and_by_the_server_alike(worker: Visit, database: Database) -> None:
    page = open_page(worker, "/instrument/check")
    expect(page.get_by_label("Length of the bar", exact=True)).to_be_hidden()
    page.get_by_label("Instrument", exact=True).select_option(label=tape_option(page))
    fill(page, {"Length of the bar": "8'", "The tape reads": "8' 1/16"})
    expect(page.locator(".result")).to_contain_text("passed: off by 0.062 in, at most 0.062 in permitted.")
    fill(page, {"Length of the bar": "8'", "The tape reads": "8' 1/8"})
    expect(page.locator(".result.outside")).to_contain_text("failed: off by 0.125 in")
    worker.send()
    with database.read() as session:
        made = session.scalars(select(InstrumentCheck).order_by(InstrumentCheck.id)).all()
        assert [check.passed for check in made][-2:] == [True, False]
    assert worker.violations() == []
    assert worker.complaints == []


def tape_option(page: Page) -> str:
    options = page.locator("#instrument option").all_text_contents()
    return next(option for option in options if "· Tape" in option)


def test_a_scale_is_asked_empty_and_with_its_weight(worker: Visit, database: Database) -> None:
    page = open_page(worker, "/instrument/check")
    scale = next(o for o in page.locator("#instrument option").all_text_contents() if "· Scale" in o)
    page.get_by_label("Instrument", exact=True).select_option(label=scale)
    page.get_by_label("Remark (optional)", exact=True).press("Enter")
    expect(page.locator(".error.whole")).to_contain_text("Enter a value")
    fill(
        page,
        {"Reads with nothing on it": "0 g", "Check weight": "500 g", "Reads with the weight on it": "500 g"},
    )
    expect(page.locator(".result.within")).to_contain_text("passed")
    [entry] = worker.entries()
    assert [check["reference"] for check in entry["content"]["checks"]] == ["0 g", "500 g"]


def test_a_broken_one_needs_a_word_on_what_is_wrong(worker: Visit) -> None:
    page = open_page(worker, "/instrument/check")
    page.get_by_label("Instrument", exact=True).select_option(index=1)
    page.get_by_role("button", name="It is broken or bent").click()
    expect(page.locator(".error.whole")).to_contain_text("Say in the remark what is wrong")
    page.get_by_label("Remark (optional)", exact=True).fill("Hook bent.")
    page.get_by_role("button", name="It is broken or bent").click()
    expect(page.locator(".result.outside")).to_contain_text("is down as wrong")
    assert worker.entries()[0]["content"]["wrong"] is True


def test_material_is_booked_in_and_studs_with_their_moisture(worker: Visit, database: Database) -> None:
    page = open_page(worker, "/material")
    page.get_by_label("Material", exact=True).select_option("studs")
    fill(page, {"Lot mark": "ST-9"})
    expect(page.locator(".error.whole")).to_contain_text("Enter a value")
    fill(page, {"Moisture on arrival, for studs": "16"})
    expect(page.locator(".result.within")).to_contain_text("Lot ST-9 booked in")
    worker.send()
    with database.read() as session:
        lot = session.scalars(select(MaterialLot).where(MaterialLot.mark == "ST-9")).one()
        assert (lot.material, lot.moisture) == ("studs", 16_000_000)


def test_a_lot_is_typed_or_scanned_at_the_station_also_without_a_network(
    worker: Visit, database: Database, bag: str
) -> None:
    worker.open_panel("fill", "Closed roof panel")
    page = worker.page
    # Its words and scripts came with the page; a browser without the worker that keeps files fetches one.
    page.get_by_role("button", name="Lot", exact=True).click()
    dialog = page.locator("dialog.lots")
    expect(dialog).to_contain_text("No lot is down for this panel here yet.")
    page.context.set_offline(True)
    page.keyboard.type(f"https://shop.example/l/{bag}", delay=1)
    page.keyboard.press("Enter")
    expect(dialog.locator("li")).to_have_text(bag)
    page.get_by_label("Mark of the lot").fill("https://shop.example/p/H1/R-01")
    dialog.get_by_role("button", name="Save").click()
    expect(dialog.locator(".error")).to_contain_text("That is no lot’s label.")
    dialog.get_by_role("button", name="Close").click()
    page.context.set_offline(False)
    worker.send()
    assert stations_of(database, bag) == ["fill"]


def test_a_lot_that_nobody_knows_is_put_right_on_the_same_page(
    worker: Visit, database: Database, bag: str
) -> None:
    worker.open_panel("fill", "Closed roof panel")
    page, dialog = worker.page, worker.page.locator("dialog.lots")
    page.get_by_role("button", name="Lot", exact=True).click()
    page.get_by_label("Mark of the lot").fill("BAG-7")
    page.get_by_label("Mark of the lot").press("Enter")
    expect(dialog.locator("li")).to_have_text("BAG-7")
    worker.send()
    open_page(worker, "/outbox")
    page.get_by_role("link", name="Correct").click()
    expect(dialog).to_contain_text("no lot marked “BAG-7”")
    page.get_by_label("Mark of the lot").fill(bag)
    page.get_by_label("Mark of the lot").press("Enter")
    expect(dialog.locator("li")).to_have_text(bag)
    worker.send()
    assert stations_of(database, bag) == ["fill"]
