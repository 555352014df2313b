"""What the entry page may weigh, and how many taps six readings may take.

The figures are the shop's own budget for a slow tablet on a slow network; timings are in ``tests/bench``.
"""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import NewVisit, Visit

pytestmark = pytest.mark.browser

WHOLE_PAGE = 100_000
SCRIPTS = 45_000
TAPS = 45
NO_GHOST = 70
"""Milliseconds after which a second touch of the same key is meant."""

# On the panel's own keypad, as a tape reads them: a key for each item, then Next.
READINGS = (
    ("AB", ("2", "4", "Feet", "1/16 inch")),
    ("DC", ("2", "3", "Feet", "1", "1", "15/16 inch")),
    ("DA", ("8", "Feet")),
    ("CB", ("8", "Feet")),
    ("Diagonal AC", ("2", "5", "Feet", "3", "9/16 inch")),
    ("Diagonal BD", ("2", "5", "Feet", "3", "9/16 inch")),
)

WEIGH = """
() => Object.fromEntries(["navigation", "resource"].flatMap((type) => performance.getEntriesByType(type))
  .map(({name, encodedBodySize}) => [name, encodedBodySize]))
"""
"""Bytes as they travelled, whether from the server or from the browser's own store."""

COUNT_SHIFTS = """
window.shifts = [];
new PerformanceObserver((list) => {
  for (const {value, sources} of list.getEntries()) {
    window.shifts.push([value, ...sources.map(({node}) => node?.className ?? node?.nodeName)]);
  }
}).observe({type: "layout-shift", buffered: true});
"""


@pytest.fixture
def keeps_pages() -> bool:
    """What is kept need not travel."""
    return False


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    return visit()


@pytest.mark.parametrize("station", ["framing", "sheathing_fence", "services", "fill", "air_seal"])
def test_an_entry_page_is_light(worker: Visit, station: str) -> None:
    worker.sign_in("wren")
    worker.page.goto(f"{worker.address}/station/{station}")
    worker.page.locator(".waiting a").first.click()
    worker.page.wait_for_url("**/panel/*")
    worker.ready()
    worker.page.wait_for_load_state("networkidle")
    sizes: dict[str, int] = worker.page.evaluate(WEIGH)
    scripts = sum(size for url, size in sizes.items() if url.endswith(".js"))
    assert scripts > 20_000, "nothing was weighed"
    assert scripts <= SCRIPTS
    assert sum(sizes.values()) <= WHOLE_PAGE


def test_six_readings_take_few_taps_and_nothing_shifts(worker: Visit) -> None:
    page = worker.page
    page.add_init_script(COUNT_SHIFTS)
    worker.sign_in("wren")
    worker.open_panel("sheathing_fence", "Closed roof panel")
    worker.choose_instruments()
    page.get_by_label("AB", exact=True).locator("visible=true").focus()
    taps = 0
    for label, keys in READINGS:
        expect(page.get_by_label(label, exact=True).locator("visible=true")).to_be_focused()
        for key in (*keys, "Next"):
            page.get_by_role("group", name="Keypad").get_by_role("button", name=key, exact=True).click()
            page.wait_for_timeout(NO_GHOST)
            taps += 1
    expect(page.locator(".result")).to_contain_text("readings")
    assert len(worker.entries()) == 1
    assert taps <= TAPS
    assert page.evaluate("window.shifts") == []
