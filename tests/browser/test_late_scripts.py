"""What a page fetches later than itself: on a slow network nothing is offered that would not work yet."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Route, expect

from qc_app.records.database import Database
from tests.browser.conftest import NewVisit, Visit
from tests.browser.shop_server import sign_in
from tests.conftest import empty_sqlite_database, stage

pytestmark = pytest.mark.browser


@pytest.fixture
def keeps_pages() -> bool:
    """Scripts that are kept come at once."""
    return False


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """The small shop."""
    opened = empty_sqlite_database(tmp_path)
    stage(opened)
    yield opened
    opened.close()


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    """A worker at the first panel of the framing station."""
    worker = visit()
    sign_in(worker, "wren")
    worker.open_panel("framing", "R-01")
    return worker


def test_the_drawing_for_faults_comes_once_it_takes_a_tap(worker: Visit) -> None:
    page, underway = worker.page, list[Route]()
    page.route("**/fault_marks.js", lambda route: underway.append(route))
    worker.open_step("check")
    with page.expect_request("**/fault_marks.js"):
        page.get_by_label("No", exact=True).locator("visible=true").check()
    expect(page.get_by_label("If no, how many faults?").locator("visible=true")).to_be_visible()
    drawing = page.locator("svg.markable:visible")
    expect(drawing).to_have_count(0)
    underway[0].continue_()
    drawing.click(position={"x": 120, "y": 90})
    expect(drawing.locator(".fault")).to_have_count(1)
    assert worker.complaints == []
