"""Pages can be seen enlarged, in forced colours and without colour, and nothing on them jumps.

WCAG 2.2: 1.4.1 use of colour, 1.4.4 resize text, 1.4.11 non-text contrast, 1.4.12 text spacing; layout
shift as the Layout Instability specification of the W3C counts it.
"""

import base64
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import LANDSCAPE, PORTRAIT, NewVisit, Visit
from tests.browser.test_entry import SQUARE, enter, field, result
from tests.browser.tour import CUT_OFF, STATION_PAGES, open_first

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("few_kept")]

LEAST_CONTRAST = 3
"""WCAG 2.2, 1.4.11."""

ENLARGED = ((640, 400), (400, 640))
"""A tablet of 1280 by 800 whose pages are enlarged to twice their size, lying and upright."""


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    worker = visit()
    worker.sign_in("wren")
    return worker


def sized(page: Page, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})


COVERED = """
() => [...document.querySelectorAll(
    "a[href]:not(.skip), button:not(.away), input:not([type=radio], [type=file]), select, .answer")]
  .filter((e) => e.checkVisibility({visibilityProperty: true}))
  .filter((e) => {
    e.scrollIntoView({ block: "center", inline: "center" });
    const { left, right, top, bottom } = e.getBoundingClientRect();
    const hit = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
    return hit === null || !(e.contains(hit) || hit.contains(e));
  })
  .map((e) => `${e.tagName} ${e.className} ${e.textContent.trim()}`)
"""


def test_enlarged_to_twice_everything_is_reached_and_nothing_is_cut_off(worker: Visit) -> None:
    page = worker.page
    found = {}
    for name in ("list", "framing", "fence", "fill", "doubt", "fault", "lot", "result", "outbox"):
        if name == "outbox":
            worker.send()  # What was entered stands there, and cannot be undone any more.
        STATION_PAGES[name](worker, "es")
        for size in ENLARGED:
            sized(page, size)
            wide = page.evaluate("document.documentElement.scrollWidth") - size[0]
            faults = [*page.evaluate(CUT_OFF), *page.evaluate(COVERED)] + (["sideways"] if wide > 0 else [])
            found.update({(name, size): faults} if faults else {})
        sized(page, LANDSCAPE)
    assert found == {}


SPACED = """
() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`
    * { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important }
    p { margin-bottom: 2em !important }`);
  document.adoptedStyleSheets = [sheet];
}
"""


def test_text_spaced_wider_is_not_cut_off(worker: Visit) -> None:
    found = {}
    for name in ("list", "framing", "fence", "fill", "sleeve", "result", "outbox"):
        if name == "outbox":
            worker.send()
        STATION_PAGES[name](worker, "en")
        worker.page.evaluate(SPACED)
        for size in (LANDSCAPE, PORTRAIT):
            sized(worker.page, size)
            wide = worker.page.evaluate("document.documentElement.scrollWidth") - size[0]
            faults = worker.page.evaluate(CUT_OFF) + (["sideways"] if wide > 0 else [])
            found.update({(name, size): faults} if faults else {})
        sized(worker.page, LANDSCAPE)
    assert found == {}


RATIO = """
([text, ground]) => {
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).map(Number).map((c) => c / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const [high, low] = [text, ground].map(light).sort((a, b) => b - a);
  return (high + 0.05) / (low + 0.05);
}
"""

BAY_COLOURS = """
(bay) => [getComputedStyle(bay.querySelector("text")).fill, getComputedStyle(bay.querySelector("rect")).fill]
"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_forced_colours_states_keep_their_words_and_signs(worker: Visit, scheme: str) -> None:
    page = worker.page
    page.emulate_media(forced_colors="active", color_scheme=scheme)  # type: ignore[arg-type] # one of the two
    worker.open_panel("fill", "Closed roof panel")
    worker.fill_bay("4.0")
    expect(result(page)).to_contain_text("within")
    first = page.locator(".bay-key").first
    expect(first).to_have_attribute("aria-label", "Bay 1: within")
    for bay in page.locator(".bay-key").all():
        assert page.evaluate(RATIO, bay.evaluate(BAY_COLOURS)) >= 4.5
    # The bay that is shown has a frame of its own, not only a colour of its own.
    frame = "e => getComputedStyle(e).strokeWidth"
    here = page.locator(".bay-key[aria-current] rect").evaluate(frame)
    assert here != page.locator(".bay-key:not([aria-current]) rect").last.evaluate(frame)
    worker.open_step("check")
    page.get_by_label("Yes", exact=True).locator("visible=true").check()
    ticked = page.locator("input:checked + label").evaluate("e => getComputedStyle(e, '::before').content")
    assert "✓" in ticked


def grey(page: Page, shot: bytes) -> NDArray[np.float64]:
    """The luminance of each pixel of a picture, decoded by the browser."""
    width, height, values = page.evaluate(
        """async (data) => {
          const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0));
          const image = await createImageBitmap(new Blob([bytes], {type: "image/png"}));
          const canvas = new OffscreenCanvas(image.width, image.height).getContext("2d");
          canvas.drawImage(image, 0, 0);
          return [image.width, image.height, [...canvas.getImageData(0, 0, image.width, image.height).data]];
        }""",
        base64.b64encode(shot).decode(),
    )
    encoded = np.array(values, dtype=float).reshape(height, width, 4)[:, :, :3] / 255
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    luminance: NDArray[np.float64] = linear @ np.array([0.2126, 0.7152, 0.0722])
    return luminance


def contrast(luminance: NDArray[np.float64]) -> float:
    return float((luminance.max() + 0.05) / (luminance.min() + 0.05))


DRAW_MARKS = """
async (states) => {
  const sheet = document.querySelector("link[rel=stylesheet]").href;
  const { mark } = await import(sheet.replace(/log\\.css.*$/, "tablet/element.js"));
  const row = document.createElement("p");
  row.append(...states.map(mark));
  document.querySelector("main").prepend(row);
}
"""
STATES = ("within", "outside", "unclear", "none")


def test_without_colour_marks_stay_apart(worker: Visit) -> None:
    """Each stands out from the page, and any two differ in over a tenth of their area (our own choice)."""
    page = worker.page
    page.goto(worker.address + "/outbox?language=en")
    worker.ready()
    page.evaluate(DRAW_MARKS, list(STATES))
    greys = {state: grey(page, page.locator(f"main > p .mark-{state}").screenshot()) for state in STATES}
    for state, picture in greys.items():
        assert contrast(picture) >= LEAST_CONTRAST, state
    for one, other in combinations(STATES, 2):
        far = np.abs(np.cbrt(greys[one]) - np.cbrt(greys[other])) > 0.2
        assert far.mean() > 0.1, (one, other)


MOVING = """
[...document.querySelectorAll("*")]
  .filter((e) => parseFloat(getComputedStyle(e).transitionDuration) > 0)
  .map((e) => `${e.tagName} ${e.className}`)
"""


def test_nothing_moves_by_itself_where_that_is_not_wanted(worker: Visit) -> None:
    """WCAG 2.2, 2.3.3, and the same for everybody: no page animates."""
    page = worker.page
    page.emulate_media(reduced_motion="reduce")
    worker.open_panel("sheathing_fence", "Closed roof panel")
    enter(worker, SQUARE)
    expect(result(page)).to_be_visible()
    assert page.evaluate("document.getAnimations().length") == 0
    assert page.evaluate(MOVING) == []


WATCH_SHIFTS = """
() => {
  window.shifts = [];
  new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) {
      const moved = entry.sources.map(({ node }) => `${node?.nodeName} ${node?.className}`);
      window.shifts.push([entry.value, moved]);
    }
  }).observe({ type: "layout-shift" });
}
"""


def type_slowly(target: Locator, text: str) -> None:
    target.press_sequentially(text, delay=20)


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_nothing_shifts_while_readings_are_entered(visit: NewVisit, size: tuple[int, int]) -> None:
    """From the first key on: echo, verdict, saving, and Undo coming and going."""
    worker = visit(size)
    page = worker.page
    worker.sign_in("wren")
    page.clock.install()
    open_first(worker, "framing", "en")
    page.evaluate(WATCH_SHIFTS)
    worker.choose_instruments()
    target = page.locator("dd:visible").first.inner_text()
    type_slowly(field(page, "Length"), target)
    field(page, "Length").press("Enter")
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    page.clock.fast_forward(10_000)
    expect(page.get_by_role("button", name="Undo")).to_be_hidden()
    page.wait_for_timeout(300)
    assert page.evaluate("window.shifts") == []
    open_first(worker, "sheathing_fence", "en")
    page.evaluate(WATCH_SHIFTS)
    worker.choose_instruments()
    for label, text in SQUARE.items():
        type_slowly(field(page, label), text)
    page.wait_for_timeout(300)
    assert page.evaluate("window.shifts") == []
