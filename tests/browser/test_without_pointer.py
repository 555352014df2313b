"""A panel is logged by keyboard alone, and by the names that a screen reader says.

WCAG 2.2: 2.1.1 keyboard, 2.4.7 focus visible, 2.4.11 focus not obscured, 4.1.2 name, role, value.
"""

import re
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import NewVisit, Visit
from tests.browser.test_entry import SQUARE

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("few_kept")]

MOST_TABS = 90

FOCUS = """
() => {
  const at = document.activeElement;
  const shown = at.matches("input[type=radio], input[type=file]") ? at.parentElement : at;
  const { left, right, top, bottom } = shown.getBoundingClientRect();
  const hit = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
  const near = [at, at.nextElementSibling, at.parentElement, at.querySelector("rect")];
  const rings = near.filter((e) => e !== null);
  const isRinged = rings.some((e) => {
    const style = getComputedStyle(e);
    return style.outlineStyle !== "none" || (e.tagName === "rect" && parseFloat(style.strokeWidth) > 2);
  });
  return {
    name: `${at.tagName} ${at.id} ${at.textContent.trim().slice(0, 40)}`,
    isHidden: hit === null || !(shown.contains(hit) || hit.contains(shown)),
    isRinged: isRinged || at === document.body || at.tabIndex < 0,
  };
}
"""


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    worker = visit()
    worker.sign_in("wren")
    return worker


def tab_to(page: Page, target: Locator, key: str = "Tab") -> None:
    """Presses Tab until the target has the focus; wherever the focus comes on the way, it can be seen."""
    for _ in range(MOST_TABS):
        page.keyboard.press(key)
        focus = page.evaluate(FOCUS)
        assert focus["isRinged"], focus["name"]
        assert not focus["isHidden"], focus["name"]
        if target.evaluate("e => e === document.activeElement"):
            return
    pytest.fail(f"no way by {key} to {target}")


def shown(page: Page, selector: str) -> Locator:
    return page.locator(f"section.step:not([hidden]) {selector}").first


def test_a_panel_is_logged_by_keyboard_alone(worker: Visit) -> None:
    page = worker.page
    page.goto(worker.address + "/station/framing?language=en")
    worker.ready()
    tab_to(page, page.locator(".waiting a", has_text="Closed roof panel").first)
    page.keyboard.press("Enter")
    page.wait_for_url("**/panel/*")
    worker.ready()
    # However long it takes to get to a key by Tab, the entry can still be undone.
    page.clock.set_fixed_time(datetime.now(UTC))

    # The field to type into has the focus already; the tape is chosen once, with the arrow keys.
    targets = page.locator("dd").all_inner_texts()
    expect(shown(page, "input[data-keypad]")).to_be_focused()
    page.keyboard.type(targets[0])
    tab_to(page, shown(page, "select"))
    page.keyboard.press("ArrowDown")
    tab_to(page, shown(page, "input[data-keypad]"), "Shift+Tab")
    page.keyboard.press("Enter")
    expect(page.locator(".result")).to_contain_text("within")

    # Undone and saved again.
    tab_to(page, page.locator(".undo"), "Shift+Tab")
    page.keyboard.press("Enter")
    expect(shown(page, "input[data-keypad]")).to_have_value(targets[0])
    expect(shown(page, "input[data-keypad]")).to_be_visible()
    tab_to(page, shown(page, "input[data-keypad]"))
    heading = page.locator("h2:visible").inner_text()
    page.keyboard.press("Enter")
    expect(page.locator("h2:visible")).not_to_have_text(heading)
    expect(page.locator(".result")).to_contain_text("within")
    while page.locator("section.step:not([hidden]) fieldset").count() == 0:
        heading = page.locator("h2:visible").inner_text()
        target = shown(page, "dd").inner_text()
        expect(shown(page, "input[data-keypad]")).to_be_focused()
        page.keyboard.type(target)
        page.keyboard.press("Enter")
        expect(page.locator("h2:visible")).not_to_have_text(heading)

    # A check that failed, with one fault marked by keys; then repaired and passed.
    expect(shown(page, "input[type=radio]")).to_be_focused()
    page.keyboard.press("ArrowRight")
    expect(shown(page, "input[value=no]")).to_be_checked()
    expect(shown(page, "svg.markable")).to_be_visible()
    tab_to(page, shown(page, "svg.markable"))
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    expect(shown(page, ".fault")).to_have_count(1)
    tab_to(page, page.locator("[data-faults]:visible input"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Measure again")).to_be_focused()
    page.keyboard.press("Enter")
    expect(shown(page, "input[type=radio]")).to_be_focused()
    page.keyboard.press("Space")
    tab_to(page, page.locator(".save"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="is done here")).to_be_focused()
    tab_to(page, page.get_by_role("link", name="Next panel"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/station/framing?**")
    assert worker.complaints == []


def test_a_panel_is_logged_by_the_names_that_are_read_aloud(worker: Visit) -> None:
    page = worker.page
    page.goto(worker.address + "/station/sheathing_fence?language=en")
    worker.ready()
    page.get_by_role("link", name=re.compile("Closed roof panel.*24' 0\"")).first.click()
    worker.ready()
    steps = page.get_by_role("navigation", name="Checks due here")
    expect(steps.get_by_role("link", name="Six readings: not recorded")).to_have_attribute(
        "aria-current", "step"
    )
    expect(page.get_by_role("img", name=re.compile("Panel with corners A, B, C, D.*AB"))).to_be_visible()
    page.get_by_role("combobox", name="Tape").select_option(index=1)
    for name, text in SQUARE.items():
        page.get_by_role("textbox", name=name, exact=True).fill(text)
    described = page.get_by_role("textbox", name="AB", exact=True)
    expect(described).to_have_accessible_description(re.compile(r"24' 0\" ± 1/16\""))
    expect(page.get_by_role("status").filter(has_text="✓ within").first).to_be_visible()
    keypad = page.get_by_role("group", name="Keypad")
    for name in ("Feet", "Inches", "1/16 inch", "Delete last", "Clear"):
        expect(keypad.get_by_role("button", name=name, exact=True)).to_be_visible()
    keypad.get_by_role("button", name="Next", exact=True).click()
    expect(page.get_by_role("status").filter(has_text="All 5 readings within")).to_be_visible()
    expect(page.get_by_role("status").filter(has_text="Saved on this tablet")).to_be_visible()
    page.get_by_role("button", name="Go on").click()
    expect(steps.get_by_role("link", name="Six readings: within")).to_be_visible()
    check = page.get_by_role("region", name="Nailing as scheduled")
    check.get_by_role("radio", name="Yes").check()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("heading", name=re.compile("is done here"))).to_be_visible()
    page.get_by_role("link", name="Next panel").click()
    expect(page.get_by_role("heading", level=1, name="Sheathing fence")).to_be_attached()


def test_an_error_is_read_with_its_field(worker: Visit) -> None:
    worker.open_panel("framing", "Closed roof panel")
    page = worker.page
    worker.choose_instruments()
    field = page.get_by_role("textbox", name="Length", exact=True)
    field.fill("5/0")
    field.press("Enter")
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_role("alert").filter(has_text="has a fraction that no tape shows")).to_be_visible()


def test_bays_are_named_with_what_is_due_and_how_they_stand(worker: Visit) -> None:
    worker.open_panel("fill", "Closed roof panel")
    bays = worker.page.get_by_role("group", name="Bays to scale, from end AD")
    expect(bays.get_by_role("link", name="Bay 1: not recorded", exact=True)).to_be_visible()
    expect(bays.get_by_role("link", name=re.compile("core due: not recorded"))).to_have_count(1)
