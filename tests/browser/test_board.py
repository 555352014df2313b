"""The board in a real browser: it keeps itself up to date, says when it is old, and moves nothing in use."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.work.hold import place_hold
from tests.browser.conftest import COUNT_VIOLATIONS, LANDSCAPE, PATIENCE, PORTRAIT, Visit
from tests.browser.demo_server import DemoServer
from tests.conftest import PASSWORD, empty_sqlite_database, stage

pytestmark = pytest.mark.browser

PHONE = (320, 700)
EVERY_MS = 10_000
SETTLES_MS = 5_000


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """The small shop: its board is short, and all of it is known."""
    opened = empty_sqlite_database(tmp_path)
    stage(opened)
    yield opened
    opened.close()


@pytest.fixture
def server(database: Database) -> Iterator[DemoServer]:
    served = DemoServer(database)
    served.start()
    yield served
    served.stop()


@pytest.fixture
def board(browser: Browser, server: DemoServer) -> Iterator[Visit]:
    """The shop lead's tablet with the board open, at a time that only the test moves."""
    context = browser.new_context(viewport={"width": LANDSCAPE[0], "height": LANDSCAPE[1]}, has_touch=True)
    context.add_init_script(COUNT_VIOLATIONS)
    context.set_default_timeout(PATIENCE)
    visit = Visit(context.new_page(), server.address)
    visit.page.on("pageerror", lambda error: visit.complaints.append(str(error)))
    sign_in(visit)
    visit.page.clock.install()
    open_board(visit)
    yield visit
    context.close()


def sign_in(visit: Visit) -> None:
    page = visit.page
    page.goto(visit.address + "/sign-in")
    page.get_by_label("Sign-in name").fill("otto")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/board")


def open_board(visit: Visit) -> None:
    """Opens the board, which asks once as soon as it is seen."""
    with visit.page.expect_response("**/board/parts"):
        visit.page.goto(visit.address + "/board")
    visit.ready()


def hold(database: Database, mark: str, reason: str) -> None:
    with database.write() as session:
        lead = session.scalars(select(Person).where(Person.sign_in_name == "otto")).one()
        panel = session.scalars(select(Panel).where(Panel.mark == mark)).one()
        place_hold(session, lead, panel, reason, datetime.now(UTC))


def pass_time(page: Page, milliseconds: int = EVERY_MS + 500) -> None:
    page.clock.run_for(milliseconds)


def asked(page: Page) -> None:
    """Lets the time pass after which the board asks, and waits for the answer."""
    with page.expect_response("**/board/parts"):
        pass_time(page)


def test_what_changes_in_the_shop_arrives_by_itself(board: Visit, database: Database) -> None:
    page = board.page
    expect(page.locator("#part-held")).to_contain_text("No panel is held.")
    page.evaluate("document.getElementById('part-stations').dataset.seen = 'before'")
    hold(database, "R-01", "Wrong face up.")
    asked(page)
    expect(page.locator("#part-held")).to_contain_text("Wrong face up.")
    expect(page.locator("#board-counts")).to_contain_text("1 panel is held.")
    expect(page.locator("#part-stations")).to_contain_text("1 held")
    assert board.violations() == []
    assert board.complaints == []


def test_a_part_that_has_not_changed_stays_the_same_element(board: Visit, database: Database) -> None:
    page = board.page
    page.evaluate("document.getElementById('part-charts').dataset.seen = 'before'")
    hold(database, "R-01", "Wrong face up.")
    asked(page)
    expect(page.locator("#part-held")).to_contain_text("Wrong face up.")
    assert page.locator("#part-charts").get_attribute("data-seen") == "before"


def test_nothing_is_replaced_under_the_finger_until_it_is_asked_for(board: Visit, database: Database) -> None:
    page = board.page
    link = page.locator("#part-stations a", has_text="R-01")
    page.dispatch_event("#part-stations", "pointerdown")
    before = link.bounding_box()
    hold(database, "R-01", "Wrong face up.")
    asked(page)
    show = page.get_by_role("button", name="2 changes – show")
    expect(show).to_be_visible()
    assert link.bounding_box() == before
    expect(page.locator("#part-held")).to_contain_text("No panel is held.")
    show.click()
    expect(page.locator("#part-held")).to_contain_text("Wrong face up.")
    expect(show).to_be_hidden()
    expect(page.locator("#title-held")).to_be_focused()


def test_with_the_focus_inside_the_board_waits_too_and_goes_on_afterwards(
    board: Visit, database: Database
) -> None:
    page = board.page
    page.locator("#part-stations a", has_text="R-01").focus()
    pass_time(page, SETTLES_MS + 1_000)
    hold(database, "R-01", "Wrong face up.")
    asked(page)
    expect(page.get_by_role("button", name="2 changes – show")).to_be_visible()
    page.evaluate("document.activeElement.blur()")
    pass_time(page, SETTLES_MS + 1_000)
    expect(page.locator("#part-held")).to_contain_text("Wrong face up.")


def test_what_is_read_further_down_stays_where_it_is(board: Visit, database: Database) -> None:
    page = board.page
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    page.evaluate("document.getElementById('part-charts').scrollIntoView()")
    page.evaluate("window.scrollBy(0, -120)")
    pass_time(page, SETTLES_MS + 1_000)
    where = page.locator("#part-nonconformities").bounding_box()
    assert page.evaluate("window.scrollY") > 0
    hold(database, "R-01", "A reason long enough that it takes several lines on the glass of a phone.")
    asked(page)
    pass_time(page, SETTLES_MS + 1_000)
    expect(page.locator("#part-held")).to_contain_text("A reason long enough")
    after = page.locator("#part-nonconformities").bounding_box()
    assert where is not None
    assert after is not None
    assert abs(after["y"] - where["y"]) <= 1


def test_when_the_server_stops_the_board_says_that_it_is_old(board: Visit, server: DemoServer) -> None:
    page = board.page
    as_of = page.locator("#board-as-of")
    expect(as_of).to_have_text(re.compile(r"As of \d\d:\d\d"))
    expect(as_of).not_to_contain_text("no contact")
    server.stop()
    with page.expect_event("requestfailed"):
        pass_time(page)
    pass_time(page, 1_500)
    expect(as_of).to_contain_text("– no contact")
    for _ in range(6):
        pass_time(page, 30_000)
    expect(as_of).to_contain_text("no contact for 3 min")


def test_once_there_is_contact_again_the_board_goes_on(board: Visit, database: Database) -> None:
    page = board.page
    as_of = page.locator("#board-as-of")
    page.route("**/board/parts", lambda route: route.abort())
    with page.expect_event("requestfailed"):
        pass_time(page)
    hold(database, "R-01", "Wrong face up.")
    pass_time(page, 1_500)
    expect(as_of).to_contain_text("– no contact")
    page.unroute("**/board/parts")
    asked(page)
    pass_time(page, 1_500)
    expect(page.locator("#part-held")).to_contain_text("Wrong face up.")
    expect(as_of).not_to_contain_text("no contact")


def test_a_page_of_the_network_in_between_is_taken_for_no_board(board: Visit) -> None:
    page = board.page
    page.route("**/board/parts", lambda route: route.fulfill(body="<h1>Accept the terms</h1>"))
    asked(page)
    pass_time(page, 1_500)
    expect(page.locator("#board-as-of")).to_contain_text("– no contact")
    expect(page.locator("#part-held")).to_contain_text("No panel is held.")


def test_without_an_answer_it_asks_less_and_less_often(board: Visit, server: DemoServer) -> None:
    page = board.page
    asks: list[str] = []
    page.on("requestfailed", lambda request: asks.append(request.url))
    server.stop()
    for _ in range(60):
        pass_time(page, 5_000)
        page.wait_for_timeout(10)
    # In five minutes: after 10, 20, 40, 80 and 160 s; every ten seconds would be thirty.
    assert 3 <= len(asks) <= 8


def test_whoever_is_signed_out_is_told_instead_of_shown_an_old_board(
    board: Visit, database: Database
) -> None:
    page = board.page
    with database.write() as session:
        session.connection().exec_driver_sql("UPDATE sign_in SET ended_at = began_at")
    asked(page)
    pass_time(page, 1_500)
    expect(page.locator("#board-as-of")).to_contain_text("signed out")


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT, PHONE])
def test_the_board_keeps_nobody_out_and_nothing_is_wider_than_the_glass(
    board: Visit, database: Database, size: tuple[int, int]
) -> None:
    page = board.page
    hold(database, "R-01", "Wrong face up.")
    page.set_viewport_size({"width": size[0], "height": size[1]})
    open_board(board)
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    found = Axe().run(page)
    assert found.response["violations"] == [], found.generate_report()
    small = page.evaluate(
        """[...document.querySelectorAll("#board a, #board button:not([hidden])")]
            .map((one) => one.getBoundingClientRect()).filter((box) => box.height < 44).length"""
    )
    assert small == 0  # WCAG 2.2, 2.5.5: 44 CSS pixels
