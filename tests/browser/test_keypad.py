"""The keypad types lengths, masses and counts into the page's real inputs, for gloved hands.

Sizes. Keys of 20 mm: larger ones gain nothing, 10 to 15 mm are slower with more errors (Colle and Hiszem
2004, Ergonomics 47(13), 1406-1423). 44 px on a phone: WCAG 2.2, 2.5.5. A tablet of 264 pixels to the inch at
two pixels to the CSS pixel has 25.4 / 132 = 0.192 mm to the CSS pixel.
"""

import gzip
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from qc_app.web.headers import CONTENT_SECURITY_POLICY
from tests.browser.conftest import COUNT_VIOLATIONS, LANDSCAPE, PATIENCE, PORTRAIT

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
ADDRESS = "http://keypad.test"
MM_PER_PX = 25.4 / 132
PHONE = (320, 640)
SIZES = pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
BETWEEN_TOUCHES = 70
"""Milliseconds: two touches of one key that are meant are further apart than the keypad's 60 ms."""

BENCH_STYLE = """
.bench { display: grid; gap: 24px; grid-template-columns: minmax(0, 1fr); }
@media (min-width: 1001px) { .bench { grid-template-columns: minmax(0, 1fr) 560px; } }
"""
BENCH = """
import { Keypad } from "/static/tablet/keypad.js";
const asked = new URLSearchParams(location.search);
const container = document.querySelector(".keypad");
container.dataset.mode = asked.get("mode") ?? "imperial";
container.dataset.denominator = asked.get("denominator") ?? "16";
const only = asked.get("only");
for (const input of document.querySelectorAll("input")) {
  if (only && input.id !== only) input.closest(".row").remove();
}
if (asked.has("six")) {
  const rows = [...document.querySelectorAll(".row")];
  for (const row of rows.slice(1)) row.remove();
  for (let copy = 2; copy <= 6; copy += 1) {
    const row = rows[0].cloneNode(true);
    row.querySelector("label").htmlFor = row.querySelector("input").id = `length${copy}`;
    rows[0].parentElement.append(row);
  }
}
window.heard = [];
for (const name of ["input", "change", "keypad:next", "submit"]) {
  document.addEventListener(name, (event) => {
    window.heard.push(`${name} ${event.target.id}`.trim());
    if (name === "submit" || event.target.dataset.stay === "") event.preventDefault();
  });
}
new Keypad(container, { next: asked.get("next") ?? "Next" }).serve(document.querySelector("input"));
document.querySelector("input").focus();
document.documentElement.dataset.ready = "";
"""
HEAR_CLICK = """
() => {
  const heard = new Promise((done) => addEventListener("click", () => done(), { once: true, capture: true }));
  const missed = new Promise((_, fail) => setTimeout(fail, 30_000, new Error("no click came of the touch")));
  window.clicked = Promise.race([heard, missed]);
}
"""
BOXES = """
(keys) => keys.map((key) => {
  const { x, y, width, height } = key.getBoundingClientRect();
  return { x, y, width, height };
})
"""
TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}


def answer(route: Route) -> None:
    """The bench and the real static files, under the policy that every page has."""
    path = urlsplit(route.request.url).path
    made = {"/bench.css": BENCH_STYLE, "/bench.js": BENCH}
    file = ROOT / "tests/browser/keypad.html" if path == "/" else ROOT / path.lstrip("/")
    body = made.get(path) or (file.read_text() if file.is_file() else None)
    if body is None:
        route.fulfill(status=404)
        return
    headers = {"Content-Security-Policy": CONTENT_SECURITY_POLICY}
    route.fulfill(body=body, content_type=TYPES[Path(path).suffix or ".html"], headers=headers)


@dataclass
class Bench:
    """A form with the keypad, touched by finger."""

    page: Page
    complaints: list[str] = field(default_factory=list)
    touches: int = 0
    touched: tuple[float, float] = (0, 0)

    @property
    def board(self) -> Locator:
        return self.page.locator(".keypad")

    @property
    def heard(self) -> list[str]:
        said: list[str] = self.page.evaluate("window.heard")
        return said

    def input(self, name: str = "length") -> Locator:
        return self.page.locator(f"#{name}")

    def key(self, name: str) -> Locator:
        return self.board.get_by_role("button", name=name, exact=True)

    def touch(self, *names: str) -> None:
        for name in names:
            self.touch_at(self.key(name))

    def touch_at(self, target: Locator) -> None:
        """Touches by finger, and waits for the click that the browser makes of a touch in the end."""
        target.scroll_into_view_if_needed()
        box = box_of(target)
        place = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        if place == self.touched:
            self.page.wait_for_timeout(BETWEEN_TOUCHES)
        self.page.evaluate(HEAR_CLICK)
        self.page.touchscreen.tap(*place)
        self.page.evaluate("window.clicked")
        self.touches += 1
        self.touched = place

    def typed(self, name: str, *keys: str) -> str:
        """What an empty field holds after these keys."""
        self.input(name).fill("")
        self.input(name).focus()
        self.touch(*keys)
        return self.input(name).input_value()

    def reason(self, name: str) -> str | None:
        """Why a key cannot be pressed; None if it can."""
        key = self.key(name)
        return key.get_attribute("title") if key.get_attribute("aria-disabled") == "true" else None


OpenBench = Callable[..., Bench]


@pytest.fixture
def bench(browser: Browser) -> Iterator[OpenBench]:
    contexts: list[BrowserContext] = []

    def open_one(query: str = "", size: tuple[int, int] = LANDSCAPE, **options: str) -> Bench:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            has_touch=True,
            **options,  # type: ignore[arg-type] # forced_colors, reduced_motion
        )
        contexts.append(context)
        context.add_init_script(COUNT_VIOLATIONS)
        context.set_default_timeout(PATIENCE)
        context.route("**/*", answer)
        opened = Bench(context.new_page())
        opened.page.on("pageerror", lambda error: opened.complaints.append(str(error)))
        opened.page.goto(f"{ADDRESS}/?{query}")
        opened.page.wait_for_selector("html[data-ready]")
        return opened

    yield open_one
    for opened in contexts:
        opened.close()


def box_of(key: Locator) -> dict[str, float]:
    box = key.bounding_box()
    assert box is not None
    return {side: box[side] for side in ("x", "y", "width", "height")}


def visible_keys(bench: Bench, kinds: str = "") -> list[dict[str, float]]:
    shown = bench.board.locator(f".key{kinds}").locator("visible=true")
    boxes: list[dict[str, float]] = shown.evaluate_all(BOXES)
    return boxes


def sides_in_mm(bench: Bench, kinds: str) -> list[float]:
    return [box[side] * MM_PER_PX for box in visible_keys(bench, kinds) for side in ("width", "height")]


FRACTIONS = ".key-fraction, .key-unit, .key-thirtySeconds, .key-sixteenths"


# Sizes and places


@SIZES
@pytest.mark.parametrize("query", ["", "denominator=32", "mode=metric"])
def test_keys_are_20_mm_and_fractions_at_least_15(
    bench: OpenBench, size: tuple[int, int], query: str
) -> None:
    opened = bench(query, size)
    for name in ("length", "mass", "moisture", "faults"):
        opened.input(name).focus()
        others = sides_in_mm(opened, f":not({FRACTIONS})")
        assert len(others) >= 2 * 13
        assert min(others) >= 20
        assert all(side >= 15 for side in sides_in_mm(opened, f":is({FRACTIONS})"))


@SIZES
def test_the_keypad_fits_beside_or_below_the_form(bench: OpenBench, size: tuple[int, int]) -> None:
    opened = bench("denominator=32", size)
    box = box_of(opened.board)
    assert box["width"] <= (560 if size == LANDSCAPE else size[0])
    assert box["height"] <= (720 if size == LANDSCAPE else 470)
    if size == LANDSCAPE:
        assert box["y"] + box["height"] <= size[1]
    assert opened.page.evaluate("document.documentElement.scrollWidth") == size[0]


def test_digits_stand_as_on_a_telephone(bench: OpenBench) -> None:
    opened = bench()
    places = {digit: box_of(opened.key(digit)) for digit in "1234567890"}
    rows = ["123", "456", "789"]
    for row in rows:
        assert len({places[digit]["y"] for digit in row}) == 1
        assert [places[digit]["x"] for digit in row] == sorted(places[digit]["x"] for digit in row)
    for column in ("147", "2580", "369"):
        assert len({places[digit]["x"] for digit in column}) == 1
        assert [places[digit]["y"] for digit in column] == sorted(places[digit]["y"] for digit in column)


def test_no_key_moves_from_one_field_to_the_next(bench: OpenBench) -> None:
    opened = bench("denominator=32")
    next_key, board = box_of(opened.key("Next")), box_of(opened.board)
    for name in ("mass", "moisture", "faults", "remark", "length"):
        opened.input(name).focus()
        assert box_of(opened.key("Next")) == next_key
        assert box_of(opened.board) == board
    opened.touch("Show 32nds")
    assert box_of(opened.key("Next")) == next_key
    assert box_of(opened.board) == board


@SIZES
def test_clear_is_20_mm_away_from_next(bench: OpenBench, size: tuple[int, int]) -> None:
    opened = bench(size=size)
    clear, next_key = box_of(opened.key("Clear")), box_of(opened.key("Next"))
    assert (next_key["y"] - clear["y"] - clear["height"]) * MM_PER_PX >= 20


def test_a_larger_key_can_be_set_for_a_tablet(bench: OpenBench) -> None:
    opened = bench()
    opened.page.evaluate("document.documentElement.style.setProperty('--key', '128px')")
    assert min(min(k["width"], k["height"]) for k in visible_keys(opened, f":not({FRACTIONS})")) >= 128


@pytest.mark.parametrize("query", ["denominator=32", "mode=metric", "only=moisture"])
def test_on_a_phone_it_shrinks_without_scrolling_sideways(bench: OpenBench, query: str) -> None:
    opened = bench(query, PHONE)
    assert opened.page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    for box in visible_keys(opened):
        assert min(box["width"], box["height"]) >= 44
        assert box["x"] + box["width"] <= PHONE[0]


def test_words_and_fractions_fit_their_keys_also_enlarged_to_200_percent(bench: OpenBench) -> None:
    overflowing = (
        "keys => keys.filter(k => k.scrollWidth > k.clientWidth || k.scrollHeight > k.clientHeight).length"
    )
    for size in (PHONE, (640, 400), LANDSCAPE):
        opened = bench("denominator=32", size)
        opened.touch("Show 32nds")
        opened.touch("1", "Clear")
        assert opened.board.locator(".key").evaluate_all(overflowing) == 0
        assert opened.page.evaluate("document.documentElement.scrollWidth") == size[0]


def test_room_is_kept_only_for_what_the_form_needs(bench: OpenBench) -> None:
    heights = {only: box_of(bench(f"only={only}").board)["height"] for only in ("moisture", "mass", "length")}
    assert heights["moisture"] < 470
    assert heights["moisture"] + 100 < heights["mass"] < heights["moisture"] + 115
    assert heights["mass"] + 100 < heights["length"]


# Typing


def test_a_length_takes_one_key_for_each_part(bench: OpenBench) -> None:
    opened = bench()
    assert opened.typed("length", "2", "7", "Feet", "1", "1", "3/16 inch") == "27' 11 3/16"
    assert opened.typed("length", "8", "Feet", "1/2 inch") == "8' 1/2"
    assert opened.typed("length", "9", "5", "7/8 inch") == "95 7/8"
    assert opened.typed("length", "3/4 inch") == "3/4"
    assert opened.typed("length", "1", "1", "Inches") == '11"'


def test_fractions_are_the_reduced_sixteenths_in_order(bench: OpenBench) -> None:
    keys = bench().board.locator(".key-fraction")
    written = "1/16 1/8 3/16 1/4 5/16 3/8 7/16 1/2 9/16 5/8 11/16 3/4 13/16 7/8 15/16"
    expect(keys).to_have_text(written.split())


def test_thirty_seconds_are_shown_and_left_by_a_key_in_words(bench: OpenBench) -> None:
    opened = bench("denominator=32")
    opened.touch("5", "Show 32nds", "31/32 inch")
    expect(opened.input()).to_have_value("5 31/32")
    expect(opened.key("1/16 inch")).to_have_count(0)
    opened.touch("Show 16ths")
    expect(opened.key("31/32 inch")).to_have_count(0)
    expect(opened.key("15/16 inch")).to_be_visible()


def test_metric_lengths_have_a_point_and_millimetres(bench: OpenBench) -> None:
    opened = bench("mode=metric")
    assert opened.typed("length", "8", "5", "1", "4", "Decimal point", "5", "Millimetres") == "8514.5 mm"
    expect(opened.key("Feet")).to_have_count(0)
    expect(opened.key("1/16 inch")).to_have_count(0)


def test_masses_percents_and_counts_have_the_keys_they_can_use(bench: OpenBench) -> None:
    opened = bench()
    assert opened.typed("mass", "2", "Decimal point", "1", "Ounces") == "2.1 oz"
    assert opened.typed("moisture", "1", "4", "Decimal point", "5") == "14.5"
    expect(opened.key("Grams")).to_have_count(0)
    assert opened.typed("faults", "1", "0") == "10"
    expect(opened.key("Decimal point")).to_have_count(0)


def test_six_readings_are_typed_and_saved_in_at_most_45_touches(bench: OpenBench) -> None:
    opened = bench("six")
    before = opened.touches
    for _ in range(6):
        opened.touch("2", "7", "Feet", "1", "1", "3/16 inch", "Next")
    opened.touch_at(opened.page.get_by_role("button", name="Save"))
    values = opened.page.locator("[data-keypad=length]").evaluate_all("inputs => inputs.map((i) => i.value)")
    assert values == ["27' 11 3/16"] * 6
    assert opened.heard.count("submit") == 1
    assert opened.touches - before <= 45


def test_keys_type_at_the_caret_and_over_what_is_selected(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("2", "Feet", "1", "1")
    opened.page.keyboard.press("Home")
    opened.page.keyboard.press("ArrowRight")
    opened.touch("7")
    expect(opened.input()).to_have_value("27' 11")
    opened.page.keyboard.press("ArrowRight")
    opened.page.keyboard.press("Shift+End")
    opened.touch("5")
    expect(opened.input()).to_have_value("27' 5")
    opened.page.keyboard.press("Control+a")
    opened.touch("9")
    expect(opened.input()).to_have_value("9")


def test_delete_takes_back_what_one_key_typed(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("2", "7", "Feet", "1", "1", "3/16 inch")
    for left in ("27' 11", "27' 1", "27'", "27", "2", ""):
        opened.touch("Delete last")
        expect(opened.input()).to_have_value(left)


def test_delete_inside_a_fraction_takes_one_character(bench: OpenBench) -> None:
    opened = bench()
    opened.page.keyboard.type("11 13/16")
    for _ in range(3):
        opened.page.keyboard.press("ArrowLeft")
    opened.touch("Delete last")
    expect(opened.input()).to_have_value("11 1/16")


def test_what_was_cleared_can_be_put_back_with_one_key(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("2", "7", "Feet", "Clear")
    expect(opened.input()).to_have_value("")
    opened.touch("Put back")
    expect(opened.input()).to_have_value("27'")
    opened.touch("Clear", "5")
    expect(opened.key("Put back")).to_have_count(0)


def test_a_cleared_text_is_forgotten_once_the_reading_is_done(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("7", "Clear", "Next")
    opened.input().focus()
    expect(opened.key("Put back")).to_have_count(0)


# Touches


def test_the_input_keeps_the_focus(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("2", "Feet", "Delete last", "Clear")
    expect(opened.input()).to_be_focused()
    key = box_of(opened.key("3"))
    opened.page.mouse.click(key["x"] + 20, key["y"] + 20)
    expect(opened.input()).to_be_focused()
    expect(opened.input()).to_have_value("3")
    opened.touch_at(opened.board.get_by_role("status"))
    expect(opened.input()).to_be_focused()


TOUCH_AT = """
(key, milliseconds) => {
  const touch = new PointerEvent("pointerdown", { bubbles: true, cancelable: true, pointerType: "touch" });
  Object.defineProperty(touch, "timeStamp", { value: milliseconds });
  key.dispatchEvent(touch);
}
"""


def test_a_second_touch_of_one_key_within_60_ms_is_a_ghost(bench: OpenBench) -> None:
    opened = bench()
    for milliseconds, typed in ((10_000, "1"), (10_059, "1"), (10_119, "11")):
        opened.key("1").evaluate(TOUCH_AT, milliseconds)
        expect(opened.input()).to_have_value(typed)


TOUCH_ONE_AND_TWO = """
board => ["1", "2"].forEach((digit) => board.querySelector(`[data-text="${digit}"]`).dispatchEvent(
  new PointerEvent("pointerdown", { bubbles: true, cancelable: true })))
"""


def test_two_keys_in_quick_succession_both_count(bench: OpenBench) -> None:
    opened = bench()
    opened.board.evaluate(TOUCH_ONE_AND_TWO)
    expect(opened.input()).to_have_value("12")


def test_a_touch_is_heard_at_once_and_the_key_flashes(bench: OpenBench) -> None:
    opened = bench()
    heard = opened.key("4").evaluate(
        """key => {
          key.dispatchEvent(new PointerEvent("pointerdown", { bubbles: true, cancelable: true }));
          return { typed: window.heard.includes("input length"), pressed: key.matches(".pressed") };
        }"""
    )
    # Within the event itself, so before the next frame is drawn.
    assert heard == {"typed": True, "pressed": True}
    expect(opened.key("4")).not_to_have_class(re.compile("pressed"))


def test_keys_neither_scroll_nor_zoom(bench: OpenBench) -> None:
    actions = "keys => [...new Set(keys.map(key => getComputedStyle(key).touchAction))]"
    assert bench().board.locator(".key").evaluate_all(actions) == ["none"]


def test_a_screen_reader_that_clicks_without_touching_types_once(bench: OpenBench) -> None:
    opened = bench()
    opened.key("6").evaluate("key => key.click()")
    opened.touch("7")
    opened.key("7").evaluate("key => key.click()")
    expect(opened.input()).to_have_value("677")


# Next


def test_next_goes_on_and_from_the_last_field_to_save(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("8", "Feet", "Next")
    expect(opened.input("mass")).to_be_focused()
    opened.touch("6", "Next", "1", "4", "Next", "2", "Next")
    expect(opened.input("faults")).to_have_value("2")
    expect(opened.input("remark")).to_be_focused()
    opened.touch("Next")
    expect(opened.page.get_by_role("button", name="Save")).to_be_focused()
    assert [name for name in opened.heard if name.startswith("keypad:next")] == [
        f"keypad:next {name}" for name in ("length", "mass", "moisture", "faults", "remark")
    ]


def test_a_page_can_decide_where_next_goes(bench: OpenBench) -> None:
    opened = bench()
    opened.input().evaluate("input => { input.dataset.stay = ''; }")
    opened.touch("8", "Next")
    assert "keypad:next length" in opened.heard
    expect(opened.input()).to_be_focused()


def test_a_field_typed_by_keypad_reports_its_change_once_it_is_left(bench: OpenBench) -> None:
    opened = bench()
    opened.touch("8")
    assert "change length" not in opened.heard
    opened.touch("Next")
    assert opened.heard.count("change length") == 1
    opened.touch("6")
    opened.input().focus()
    assert opened.heard.count("change mass") == 1


# Hardware


def test_everything_can_be_done_on_a_hardware_keyboard(bench: OpenBench) -> None:
    opened = bench()
    opened.page.keyboard.type("27' 11 3/16")
    opened.page.keyboard.press("Enter")
    expect(opened.input("mass")).to_be_focused()
    opened.page.keyboard.type("60")
    opened.page.keyboard.press("Tab")
    expect(opened.input("moisture")).to_be_focused()
    expect(opened.input()).to_have_value("27' 11 3/16")
    assert "submit" not in opened.heard


def test_what_a_scanner_types_arrives_whole(bench: OpenBench) -> None:
    opened = bench()
    for reading in ("1111", "2222"):
        opened.page.keyboard.type(reading, delay=0)
        opened.page.keyboard.press("Enter")
    expect(opened.input("length")).to_have_value("1111")
    expect(opened.input("mass")).to_have_value("2222")
    assert "submit" not in opened.heard


def test_the_system_keyboard_stays_away_from_numbers_and_comes_for_words(bench: OpenBench) -> None:
    opened = bench()
    modes = {name: opened.input(name).evaluate("i => i.inputMode") for name in ("length", "faults", "remark")}
    assert modes == {"length": "none", "faults": "none", "remark": ""}
    opened.input("remark").focus()
    assert opened.reason("5") == "Words are typed on the tablet's own keyboard."
    assert opened.reason("Next") is None


# Keys that cannot be pressed now


IMPOSSIBLE = [
    ("27' 11 3/16", "1/2 inch", "There is a fraction already."),
    ("27' 11 3/16", "5", "Nothing can follow the fraction, the inches or the unit."),
    ("27'", "Feet", "The feet are there already."),
    ("", "Feet", "Type the number first."),
    ("27' 1", "2", "Beside feet, inches go to 11."),
    ('11"', "Inches", "The inches are there already."),
    ('11"', "3/16 inch", "Nothing can follow the fraction, the inches or the unit."),
    ("27'", "Inches", "Type the number first."),
    ("", "Delete last", "There is nothing to delete."),
    ("", "Clear", "There is nothing to delete."),
]


@pytest.mark.parametrize(("typed", "name", "reason"), IMPOSSIBLE)
def test_an_impossible_key_says_why_and_types_nothing(
    bench: OpenBench, typed: str, name: str, reason: str
) -> None:
    opened = bench()
    opened.page.keyboard.type(typed)
    assert opened.reason(name) == reason
    opened.touch(name)
    expect(opened.input()).to_have_value(typed)
    expect(opened.board.get_by_role("status")).to_have_text(reason)


@pytest.mark.parametrize(
    ("typed", "name"),
    [("27' 1", "1"), ("27' 1", "1/16 inch"), ("27", "Feet"), ("8' 11 3/16", "Inches"), ("", "0")],
)
def test_a_possible_key_is_never_disabled(bench: OpenBench, typed: str, name: str) -> None:
    opened = bench()
    opened.page.keyboard.type(typed)
    assert opened.reason(name) is None


def test_a_number_has_one_point_and_one_unit(bench: OpenBench) -> None:
    opened = bench()
    opened.input("mass").focus()
    opened.touch("2", "Decimal point")
    assert opened.reason("Decimal point") == "There is a decimal point already."
    assert opened.reason("Grams") == "Type the number first."
    opened.touch("5", "Grams")
    assert opened.reason("Kilograms") == "There is a unit already."


def test_a_reason_follows_the_caret(bench: OpenBench) -> None:
    opened = bench()
    opened.page.keyboard.type("7' 11")
    assert opened.reason("4") == "Beside feet, inches go to 11."
    opened.page.keyboard.press("Home")
    expect(opened.key("4")).not_to_have_attribute("aria-disabled", "true")
    opened.touch("4")
    expect(opened.input()).to_have_value("47' 11")


# For everyone


@pytest.mark.parametrize("size", [LANDSCAPE, PHONE], ids=["tablet", "phone"])
def test_a_checker_finds_no_fault(bench: OpenBench, size: tuple[int, int]) -> None:
    opened = bench("denominator=32", size)
    opened.touch("1", "3/16 inch")
    expect(opened.board.locator(".pressed")).to_have_count(0)
    found = Axe().run(opened.page).response["violations"]
    assert [(fault["id"], fault["nodes"][0]["html"][:120]) for fault in found] == []


LUMINANCES = """
key => {
  const luminance = (colour) => {
    const parts = colour.match(/[\\d.]+/g).slice(0, 3).map((part) => part / 255)
      .map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2];
  };
  const style = getComputedStyle(key);
  return [luminance(style.color), luminance(style.backgroundColor)];
}
"""


def test_key_words_have_a_contrast_of_7_to_1_in_every_state(bench: OpenBench) -> None:
    """Relative luminance and contrast as WCAG 2.2 defines them; 7:1 is 1.4.6."""
    opened = bench("denominator=32")
    opened.page.keyboard.type("1 1/2")
    opened.key("5").evaluate("key => key.classList.add('pressed')")
    opened.key("Inches").evaluate("key => key.classList.add('pressed')")
    for key in opened.board.locator(".key").all():
        lighter, darker = sorted(key.evaluate(LUMINANCES), reverse=True)
        assert (lighter + 0.05) / (darker + 0.05) >= 7, key.text_content()


def test_a_disabled_key_differs_by_its_border_too(bench: OpenBench) -> None:
    border = "key => getComputedStyle(key).borderTopStyle"
    opened = bench()
    assert opened.key("Feet").evaluate(border) == "dashed"
    assert opened.key("1").evaluate(border) == "solid"


def test_in_forced_colours_keys_keep_their_borders_and_a_pressed_key_shows(bench: OpenBench) -> None:
    opened = bench(forced_colors="active")
    width = "key => parseFloat(getComputedStyle(key).borderTopWidth)"
    assert opened.key("1").evaluate(width) == 2
    opened.key("1").evaluate("key => key.classList.add('pressed')")
    assert opened.key("1").evaluate(width) == 8


def test_nothing_moves_by_itself(bench: OpenBench) -> None:
    opened = bench(reduced_motion="reduce")
    opened.touch("1")
    assert opened.page.evaluate("document.getAnimations().length") == 0


def test_words_come_from_the_page(bench: OpenBench) -> None:
    opened = bench("next=Weiter")
    opened.touch("1", "Weiter")
    expect(opened.input("mass")).to_be_focused()


def test_it_works_under_the_policy_without_a_complaint(bench: OpenBench) -> None:
    opened = bench("denominator=32")
    opened.touch("1", "Feet", "Clear", "Put back", "Show 32nds", "Next")
    assert opened.page.evaluate("window.policyViolations") == []
    assert opened.complaints == []


def test_the_module_is_small() -> None:
    assert len(gzip.compress((ROOT / "static/tablet/keypad.js").read_bytes())) < 6 * 1024
