"""A tour of the workers' pages in each of their states, and what may be wrong with a page as it stands."""

from collections.abc import Callable

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, expect

from tests.browser.conftest import LANDSCAPE, PORTRAIT, Visit

PHONE = (320, 700)
SIZES = (LANDSCAPE, PORTRAIT, PHONE)

SQUARE = ("24'", "24'", "8'", "8'", "25' 3 9/16", "25' 3 9/16")
LEANING = (*SQUARE[:4], "25' 3 5/8", "25' 3 1/2")
MISREAD = (*SQUARE[:4], "25' 4 9/16", "25' 3 9/16")

IS_AXE_THERE = "'axe' in window"
AXE = Axe().axe_script

CUT_OFF = """
() => [...document.querySelectorAll("body *")]
  .filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()))
  .filter((e) => e.checkVisibility({visibilityProperty: true}))
  .filter((e) => !e.closest(".visually-hidden, .unseen, .skip, svg, select, input, textarea, video"))
  .filter((e) => {
    const words = document.createRange();
    words.selectNodeContents(e);
    const text = words.getBoundingClientRect();
    const frame = e.closest("a.button, button, .button, .steps a, .row, td, th") ?? e;
    const { left, right } = frame.getBoundingClientRect();
    const isHidden = getComputedStyle(e).overflowX === "hidden" && e.scrollWidth > e.clientWidth + 1;
    return isHidden || text.right > right + 1 || text.left < left - 1;
  })
  .map((e) => `${e.tagName} ${e.className} “${e.textContent.trim()}”`)
"""
"""Words that stick out of what holds them, or are hidden at its edge."""

LOOK = f"""
async () => {{
  const found = await axe.run(document, {{resultTypes: ["violations"], preload: {{assets: ["media"]}}}});
  const wide = document.documentElement.scrollWidth;
  return [
    ...found.violations.map(({{id, nodes}}) => `${{id}}: ${{nodes[0].html.slice(0, 160)}}`),
    ...({CUT_OFF})().map((words) => `cut off: ${{words}}`),
    ...(wide > innerWidth ? [`scrolls sideways: ${{wide}}`] : []),
  ];
}}
"""
"""All at one size. Axe need not fetch the style sheets again: only a rule that it leaves out unless asked
reads them."""


def step(visit: Visit) -> Locator:
    """The step that is shown."""
    return visit.page.locator("section.step:not([hidden])")


def open_first(visit: Visit, station: str, language: str) -> None:
    """Opens the page of the first panel that waits at a station, with nothing typed in it."""
    visit.page.goto(f"{visit.address}/station/{station}?language={language}")
    visit.page.evaluate("localStorage.clear()")
    address = visit.page.locator(".waiting a").first.get_attribute("href")
    visit.page.goto(f"{visit.address}{address}")
    visit.ready()
    settle(visit)


def settle(visit: Visit) -> None:
    """Waits until charts are drawn, and a page of a tablet says who is here and how the outbox stands."""
    expect(visit.page.locator("[data-figure]:not([data-drawn])")).to_have_count(0)
    if visit.page.locator("[data-who]").count():
        visit.page.locator("[data-who]:not(:empty)").wait_for()
        visit.page.locator(".outbox-state strong:not(:empty)").wait_for()


def type_all(visit: Visit, texts: tuple[str, ...]) -> None:
    """Types into the fields of the step in their order, and saves with the last Enter."""
    visit.choose_instruments()
    fields = step(visit).locator(".fields input[data-keypad]")
    for number, text in enumerate(texts):
        fields.nth(number).fill(text)
    fields.nth(len(texts) - 1).press("Enter")


def _page(path: str) -> Callable[[Visit, str], None]:
    def open_page(visit: Visit, language: str) -> None:
        visit.page.goto(f"{visit.address}{path}{'&' if '?' in path else '?'}language={language}")
        visit.page.wait_for_load_state("load")
        settle(visit)

    return open_page


def _entry(station: str, method: str = "") -> Callable[[Visit, str], None]:
    def open_entry(visit: Visit, language: str) -> None:
        open_first(visit, station, language)
        if method:
            visit.open_step(method)
            visit.page.wait_for_function("!document.querySelector(location.hash).hidden")

    return open_entry


def _six(texts: tuple[str, ...], shown: str) -> Callable[[Visit, str], None]:
    def open_six(visit: Visit, language: str) -> None:
        open_first(visit, "sheathing_fence", language)
        type_all(visit, texts)
        visit.page.locator(shown).wait_for()

    return open_six


def mistype(visit: Visit, language: str) -> None:
    """A value that cannot be read, named at its field."""
    open_first(visit, "framing", language)
    type_all(visit, ("5/0",))
    visit.page.locator(".error:not([hidden])").wait_for()


def mark_a_fault(visit: Visit, language: str) -> None:
    """A check that failed, with one fault marked on the drawing."""
    _entry("framing", "check")(visit, language)
    step(visit).locator("input[value=no]").check()
    step(visit).locator("svg.markable").click(position={"x": 100, "y": 70})
    step(visit).locator(".fault").wait_for(state="attached")


def ask_the_camera(visit: Visit, language: str) -> None:
    """The dialog of the camera; it says that there is none."""
    _page("/station/framing")(visit, language)
    visit.ready()
    visit.page.locator("[data-scan-key]").click()
    visit.page.locator("dialog[open]").wait_for()


STATION_PAGES: dict[str, Callable[[Visit, str], None]] = {
    "choice of station": _page("/station?change"),
    "list": _page("/station/framing"),
    "camera": ask_the_camera,
    "framing": _entry("framing"),
    "fence": _entry("sheathing_fence"),
    "services": _entry("services"),
    "sleeve": _entry("services", "check"),
    "fill": _entry("fill"),
    "core": _entry("fill", "core"),
    "air seal": _entry("air_seal"),
    "final": _entry("final"),
    "error": mistype,
    "fault": mark_a_fault,
    "lot": _page("/lot"),
    "outbox": _page("/outbox"),
    "offline": _page("/offline"),
    "my PIN": _page("/pin"),
    "doubt": _six(MISREAD, ".doubt"),
    "result": _six(LEANING, ".result.stays"),
}
"""Each page and state a worker meets, and how to get there.

The result is the last: the pages after it would have to wait until its entry cannot be undone any more.
"""


def look_over(visit: Visit, sizes: tuple[tuple[int, int], ...] = SIZES) -> list[str]:
    """What is wrong with the page as it stands, at each size: for axe, scrolling sideways, or cut off."""
    page = visit.page
    if not page.evaluate(IS_AXE_THERE):
        page.evaluate(AXE)
    found = []
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        found += [f"{width}: {fault}" for fault in page.evaluate(LOOK)]
    page.set_viewport_size({"width": LANDSCAPE[0], "height": LANDSCAPE[1]})
    return found
