"""What comes later than its page: nothing is offered that would not work yet, and nothing is lost."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from qc_app.records.database import Database
from tests.browser.conftest import PATIENCE, NewVisit, Visit
from tests.browser.shop_server import sign_in
from tests.conftest import Cast, empty_sqlite_database, stage

pytestmark = pytest.mark.browser

PICTURE = Path(__file__).parents[2] / "static" / "icon-192.png"


@pytest.fixture
def keeps_pages() -> bool:
    """Scripts that are kept come at once."""
    return False


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """The small shop."""
    opened = empty_sqlite_database(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def cast(database: Database) -> Cast:
    """Whose numbers pages are found by."""
    return stage(database)


@pytest.fixture
def worker(visit: NewVisit, cast: Cast) -> Visit:
    """A worker at the check of the first panel that waits at framing."""
    worker = visit()
    sign_in(worker, "wren")
    worker.open_panel("framing", "R-01")
    worker.open_step("check")
    return worker


def hold_up(page: Page, address: str) -> list[Route]:
    """Keeps requests under way until they are let go."""
    underway: list[Route] = []
    page.route(address, lambda route: underway.append(route))
    return underway


def let_go(page: Page, underway: list[Route]) -> None:
    """Lets go the one that is held up, as soon as it is."""
    for _ in range(PATIENCE // 10):
        if underway:
            break
        page.wait_for_timeout(10)
    underway.pop().continue_()


def test_the_drawing_for_faults_comes_once_it_takes_a_tap(worker: Visit) -> None:
    page = worker.page
    underway = hold_up(page, "**/fault_marks.js")
    page.get_by_label("No", exact=True).locator("visible=true").check()
    expect(page.get_by_label("If no, how many faults?").locator("visible=true")).to_be_visible()
    drawing = page.locator("svg.markable:visible")
    expect(drawing).to_have_count(0)
    let_go(page, underway)
    drawing.click(position={"x": 120, "y": 90})
    expect(drawing.locator(".fault")).to_have_count(1)
    assert worker.complaints == []


def test_a_photo_taken_just_before_saving_goes_with_the_entry(worker: Visit) -> None:
    page = worker.page
    underway = hold_up(page, "**/photo.js")
    page.locator("section.step:not([hidden]) input[data-photo]").set_input_files(PICTURE)
    page.get_by_label("Yes", exact=True).locator("visible=true").check()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator(".save")).to_have_attribute("aria-disabled", "true")
    let_go(page, underway)
    expect(page.locator(".result")).to_contain_text("within")
    [entry] = worker.entries()
    assert len(entry["content"]["readings"][0]["photos"]) == 1
    assert worker.complaints == []


def test_a_report_goes_once_and_after_its_photo(visit: NewVisit, cast: Cast) -> None:
    lead = visit()
    sign_in(lead, "otto")
    page = lead.page
    page.goto(f"{lead.address}/panel/{cast.panel}/nonconformity")
    lead.ready()
    underway, reports = hold_up(page, "**/photo/*"), list[str]()
    page.on("request", lambda request: reports.append(request.url) if request.method == "POST" else None)
    page.get_by_label("What is wrong").fill("Sheathing torn.")
    page.get_by_label("Photos").set_input_files(PICTURE)
    page.get_by_role("button", name="Report it").dblclick()
    assert reports == []
    let_go(page, underway)
    expect(page.get_by_role("heading", name="Nonconformity 1, R-01")).to_be_visible()
    expect(page.locator("main .photos img")).to_have_count(1)
    assert len(reports) == 1
    assert lead.complaints == []
