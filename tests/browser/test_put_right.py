"""What was typed comes back whole: after undoing, after a refusal, and after a reload."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, Route, expect
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.reading import Reading
from tests.browser.conftest import NewVisit, Visit
from tests.browser.shop_server import say

pytestmark = pytest.mark.browser

REASON = "Read from the wrong edge"
NOTE = "Edge planed by hand"

PICTURE = Path(__file__).parents[2] / "static" / "icon-192.png"


@pytest.fixture
def keeps_pages() -> bool:
    """Not here: nothing stands between the page and the server that refuses."""
    return False


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    """A worker at a panel that waits to be framed; the first step asks for a length."""
    worker = visit()
    worker.sign_in("wren")
    worker.open_panel("framing", "Closed roof panel")
    worker.choose_instruments()
    return worker


def field(page: Page, label: str) -> Locator:
    return page.get_by_label(label, exact=True).locator("visible=true")


def result(page: Page) -> Locator:
    return page.locator(".result")


def target(page: Page) -> str:
    return page.locator("dd:visible").first.inner_text()


def type_length(page: Page, text: str) -> None:
    field(page, "Length").fill(text)


def add_note(page: Page) -> None:
    page.get_by_role("button", name="Note", exact=True).locator("visible=true").click()
    field(page, "Note (optional)").fill(NOTE)


def save(page: Page) -> None:
    """Saves the length; its field is empty again once it is written."""
    typed = page.locator(f"#{field(page, 'Length').get_attribute('id')}")
    typed.press("Enter")
    expect(typed).to_have_value("")


def undo(page: Page) -> None:
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Undo")).to_be_hidden()


def undo_length(page: Page) -> None:
    undo(page)
    expect(field(page, "Length")).not_to_have_value("")


def open_first_step(page: Page) -> None:
    page.locator(".steps a").first.click()


def type_correction(worker: Visit) -> None:
    """Sends a length, and types it again with the reason why it is corrected."""
    page = worker.page
    wanted = target(page)
    type_length(page, wanted)
    save(page)
    worker.send()
    open_first_step(page)
    page.get_by_role("button", name="Correct what was typed").click()
    type_length(page, wanted)
    field(page, "Why is it corrected?").fill(REASON)


def content(worker: Visit) -> dict[str, Any]:
    """What the newest entry holds."""
    found: dict[str, Any] = worker.entries()[-1]["content"]
    return found


def refuse_once(page: Page) -> None:
    """The server refuses what comes next, as if it knew better than the tablet."""
    to_refuse = [True]

    def refused(route: Route) -> None:
        if route.request.method != "POST" or not to_refuse:
            route.fallback()
            return
        to_refuse.clear()
        sent = json.loads(route.request.post_data or "{}")
        reason = {"reading": None, "field": None, "sentence": "The tape is not to be used."}
        answers = [{"uuid": e["uuid"], "state": "refused", "reasons": [reason]} for e in sent["entries"]]
        say(route, {"log": "qc", "clock": sent["clock"], "answers": answers, "missing": []})

    page.context.route("**/outbox", refused)


def line(worker: Visit) -> Locator:
    return worker.page.locator(".outbox-state")


def put_right(worker: Visit) -> None:
    """Goes to the refused entry by the outbox, as the line at the top says."""
    page = worker.page
    page.goto(worker.address + "/outbox?language=en")
    page.get_by_role("link", name="Correct").click()
    worker.ready()
    expect(page.locator(".doubt")).to_contain_text("The tape is not to be used.")


def test_an_undone_entry_comes_back_with_its_note_and_photo(worker: Visit) -> None:
    page = worker.page
    type_length(page, target(page))
    add_note(page)
    page.locator("section.step:not([hidden]) input[data-photo]").set_input_files(PICTURE)
    expect(page.locator(".photos img:visible")).to_have_count(1)
    save(page)
    first = content(worker)
    undo_length(page)
    expect(field(page, "Note (optional)")).to_have_value(NOTE)
    expect(page.locator(".photos img:visible")).to_have_count(1)
    save(page)
    again = content(worker)
    assert again["note"] == first["note"] == NOTE
    assert again["readings"][0]["photos"] == first["readings"][0]["photos"] != []


def test_an_undone_correction_is_still_a_correction(worker: Visit, database: Database) -> None:
    page = worker.page
    type_correction(worker)
    save(page)
    undo_length(page)
    expect(field(page, "Why is it corrected?")).to_have_value(REASON)
    save(page)
    worker.send()
    with database.read() as session:
        corrected, first = session.scalars(select(Reading).order_by(Reading.id.desc()).limit(2)).all()
        assert (corrected.supersedes_id, corrected.reason) == (first.id, REASON)


def test_a_refused_correction_corrects_what_it_was_to_correct(worker: Visit, database: Database) -> None:
    page = worker.page
    type_correction(worker)
    add_note(page)
    save(page)
    refuse_once(page)
    worker.send()
    expect(line(worker)).to_contain_text("1 needs attention")
    put_right(worker)
    expect(field(page, "Why is it corrected?")).to_have_value(REASON)
    expect(field(page, "Note (optional)")).to_have_value(NOTE)
    save(page)
    worker.send()
    expect(line(worker)).to_contain_text("All on the server")
    with database.read() as session:
        corrected, first = session.scalars(select(Reading).order_by(Reading.id.desc()).limit(2)).all()
        assert (corrected.supersedes_id, corrected.reason) == (first.id, REASON)


def test_a_refused_entry_asks_again_when_what_put_it_right_is_undone(worker: Visit) -> None:
    page = worker.page
    type_length(page, target(page))
    save(page)
    refuse_once(page)
    worker.send()
    put_right(worker)
    save(page)
    undo_length(page)
    expect(line(worker)).to_contain_text("1 needs attention")
    save(page)
    worker.send()
    expect(line(worker)).to_contain_text("All on the server")


def test_half_an_entry_outlives_a_reload_with_its_note(worker: Visit) -> None:
    page = worker.page
    type_length(page, "20'")
    add_note(page)
    page.reload()
    worker.ready()
    expect(field(page, "Length")).to_have_value("20'")
    expect(field(page, "Note (optional)")).to_have_value(NOTE)


def test_what_is_half_put_right_outlives_a_reload(worker: Visit) -> None:
    page = worker.page
    type_length(page, target(page))
    save(page)
    refuse_once(page)
    worker.send()
    put_right(worker)
    type_length(page, "20'")
    page.reload()
    worker.ready()
    expect(page.locator(".doubt")).to_contain_text("The tape is not to be used.")
    expect(field(page, "Length")).to_have_value("20'")


def fill_lot(page: Page) -> None:
    for label, text in (("Lot mark", "LOT-77"), ("Length of a member", "9'"), ("Thickness", "1 1/2")):
        page.get_by_label(label).fill(text)
    page.get_by_label("Depth").fill("7 1/4")
    page.get_by_label("Depth").press("Enter")


def check_scale(page: Page) -> None:
    instrument = page.get_by_label("Instrument")
    scale = page.locator("#instrument option", has_text="Scale").first.get_attribute("value")
    instrument.select_option(value=scale)
    page.locator("#scale-zero").fill("0 g")
    page.locator("#scale-reference").fill("500 g")
    page.locator("#scale-read").fill("500.1 g")
    page.locator("#remark").press("Enter")


@pytest.mark.parametrize(
    ("path", "enter", "came_back"),
    [
        ("/lot", fill_lot, {"#mark": "LOT-77", "#length": "9'", "#depth": "7 1/4"}),
        ("/instrument/check", check_scale, {"#scale-zero": "0 g", "#scale-read": "500.1 g"}),
    ],
    ids=["lot", "instrument check"],
)
def test_what_is_entered_on_a_page_of_its_own_comes_back_when_it_is_undone(
    worker: Visit, path: str, enter: Callable[[Page], None], came_back: dict[str, str]
) -> None:
    page = worker.page
    page.goto(f"{worker.address}{path}?language=en")
    worker.ready()
    enter(page)
    expect(result(page)).to_be_visible()
    for place in came_back:
        expect(page.locator(place)).to_have_value("")
    undo(page)
    for place, text in came_back.items():
        expect(page.locator(place)).to_have_value(text)
