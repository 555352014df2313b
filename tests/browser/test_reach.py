"""Every page can be read and used: by screen reader, gloved finger, keyboard, and on a phone."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import LANDSCAPE, PORTRAIT, NewVisit, Visit

pytestmark = pytest.mark.browser

PHONE = (320, 700)

PAGES = (
    "/station?change",
    "/station/fill",
    "/station/sheathing_fence",
    "/lot",
    "/building",
    "/building/1",
    "/panel/20",
    "/chart",
    "/chart/station/fill",
    "/chart/4",
    "/file",
    "/person",
    "/instrument",
    "/instrument/1",
    "/instrument/check",
    "/material",
    "/lots",
)

KEY = 104
CONTROL = 80
DESK = 44

TOO_SMALL = """
least => [...document.querySelectorAll(
    "main a.button, main button, main input:not([type=hidden]), main select")]
  .filter((e) => e.offsetParent !== null && e.type !== "radio")
  .map((e) => ({what: e.textContent.trim() || e.id, height: e.getBoundingClientRect().height}))
  .filter((e) => e.height < least)
"""


def open_entry_page(visit: Visit) -> None:
    visit.page.goto(visit.address + "/station/fill")
    visit.page.locator(".waiting a").first.click()
    # A click does not wait for the style sheet, and sizes are measured next.
    visit.page.wait_for_url("**/panel/*")
    visit.page.wait_for_load_state("load")


def axe_findings(visit: Visit) -> list[str]:
    response = Axe().run(visit.page).response
    return [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in response["violations"]]


@pytest.mark.parametrize("size", [LANDSCAPE, PHONE], ids=["tablet", "phone"])
def test_no_page_has_a_fault_that_a_checker_can_find(visit: NewVisit, size: tuple[int, int]) -> None:
    manager = visit(size)
    manager.page.goto(manager.address + "/sign-in")
    found = {"/sign-in": axe_findings(manager)}
    manager.sign_in("mira")
    for path in PAGES:
        manager.page.goto(manager.address + path)
        found[path] = axe_findings(manager)
    open_entry_page(manager)
    found["entry"] = axe_findings(manager)
    manager.page.get_by_role("button", name="Save").click()
    found["entry with an error"] = axe_findings(manager)
    assert {path: faults for path, faults in found.items() if faults} == {}


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT, PHONE], ids=["landscape", "portrait", "phone"])
def test_no_page_scrolls_sideways(visit: NewVisit, size: tuple[int, int]) -> None:
    manager = visit(size)
    manager.sign_in("mira")
    too_wide = []
    for path in PAGES:
        manager.page.goto(manager.address + path)
        width = manager.page.evaluate("document.documentElement.scrollWidth")
        too_wide += [(path, width)] if width > size[0] else []
    assert too_wide == []


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_targets_on_entry_pages_suit_a_glove(visit: NewVisit, size: tuple[int, int]) -> None:
    worker = visit(size)
    worker.sign_in("wren")
    open_entry_page(worker)
    assert worker.page.evaluate(TOO_SMALL, CONTROL) == []
    save = worker.page.get_by_role("button", name="Save").bounding_box()
    assert save is not None
    assert save["height"] >= KEY
    assert save["y"] + save["height"] <= size[1]
    size_of_value = worker.page.locator(".fields input").first.evaluate("e => getComputedStyle(e).fontSize")
    assert float(size_of_value.removesuffix("px")) >= 48


def test_targets_on_desk_pages_are_no_smaller_than_44_px(visit: NewVisit) -> None:
    manager = visit()
    manager.sign_in("mira")
    for path in PAGES:
        manager.page.goto(manager.address + path)
        assert manager.page.evaluate(TOO_SMALL, DESK) == [], path


def test_a_reading_can_be_logged_by_keyboard_alone(visit: NewVisit) -> None:
    worker = visit()
    worker.sign_in("wren")
    open_entry_page(worker)
    page = worker.page
    page.locator("#mass").focus()
    page.keyboard.type("60.0")
    page.keyboard.press("Tab")
    page.keyboard.type("99 ft")
    page.keyboard.press("Enter")
    expect(page.locator(".errors")).to_be_focused()
    expect(page.locator("#mass")).to_have_value("60.0")
    assert page.title().startswith("Error: ")
