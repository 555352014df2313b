"""Targets are large enough for a glove, in millimetres on the glass, and the next thing to do is in sight.

Millimetres to a CSS pixel: 25.4 / 132 on an iPad (264 pixels to an inch, two to a CSS pixel) and 25.4 / 163
on an iPad mini (326), by their maker's published figures; 25.4 / 160 for Android's density-independent pixel,
by its documentation. 20 mm: Colle and Hiszem 2004, Ergonomics 47(13), 1406-1423. 15 mm for what is touched
less often is this product's own judgement, and so is 9 mm for one bay of many on the drawing of a panel.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.work.hold import place_hold
from tests.browser.conftest import NewVisit, Visit, invitation
from tests.browser.tour import STATION_PAGES, mark_a_fault, step, type_all

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("few_kept")]


@dataclass(frozen=True)
class Glass:
    """A kind of tablet: the millimetres of a CSS pixel, its keys as enrolled, its sides in CSS pixels."""

    millimetres: float
    key: int
    sides: tuple[int, int]


GLASSES = {
    "iPad": Glass(25.4 / 132, 104, (1280, 800)),
    "iPad mini": Glass(25.4 / 163, 128, (1133, 744)),
    "Android": Glass(25.4 / 160, 126, (1280, 800)),
}

PRIMARY, CONTROL, BAY = 20, 15, 9
HALF_A_PIXEL = 0.1
"""In millimetres; keys are whole pixels."""

TOO_SMALL = """
([millimetres, least]) => {
  const kinds = [
    ["bay", ".bay-key rect"],
    ["primary", ".key-digit, .key-next, .key-back, .key-clear, .key-feet, .key-inches, .primary"],
    ["primary", ".answer label, .digits button, dialog .names button"],
    ["control", "a[href]:not(.bay-key, .skip), button, select, summary, label.button, svg[tabindex]"],
    ["control", "input:not([type=radio], [type=file], [type=hidden])"],
  ];
  const seen = new Set();
  const small = [];
  for (const [kind, selector] of kinds) {
    for (const target of document.querySelectorAll(`body :is(${selector})`)) {
      if (seen.has(target) || !target.checkVisibility({visibilityProperty: true})) continue;
      seen.add(target);
      const { width, height } = target.getBoundingClientRect();
      const side = Math.min(width, height) * millimetres;
      const name = `${target.textContent.trim() || target.id} ${target.className}`;
      if (side < least[kind]) small.push(`${name}: ${side.toFixed(1)} mm`);
    }
  }
  return { small, looked: seen.size };
}
"""

IN_SIGHT = """
(target) => {
  const { left, right, top, bottom } = target.getBoundingClientRect();
  const points = [[(left + right) / 2, top + 3], [(left + right) / 2, bottom - 3]];
  return points.every(([x, y]) => {
    const hit = document.elementFromPoint(x, y);
    return hit !== null && (target === hit || target.contains(hit));
  });
}
"""
"""Whether all of it is on the glass with nothing over it."""

TWO_FRAMES = "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"


@pytest.fixture(params=GLASSES)
def glass(request: pytest.FixtureRequest) -> Glass:
    return GLASSES[request.param]


@pytest.fixture
def tablet(visit: NewVisit, database: Database, glass: Glass) -> Visit:
    """An enrolled tablet of that glass, where Wren signed in."""
    tablet = visit(glass.sides)
    tablet.use_code(invitation(database, key_size=glass.key))
    tablet.sign_in_by_pin("Wren Abbey")
    return tablet


def turned(tablet: Visit, glass: Glass) -> list[tuple[int, int]]:
    return [glass.sides, (glass.sides[1], glass.sides[0])]


def test_every_target_is_large_enough_in_millimetres(tablet: Visit, glass: Glass) -> None:
    least = {"primary": PRIMARY, "control": CONTROL, "bay": BAY}
    asked = [glass.millimetres, {kind: side - HALF_A_PIXEL for kind, side in least.items()}]
    found = {}
    for name in ("list", "framing", "fence", "services", "fill", "core", "fault", "lot", "result", "outbox"):
        if name == "outbox":
            tablet.send()  # What was entered stands there, and cannot be undone any more.
        STATION_PAGES[name](tablet, "en")
        for width, height in turned(tablet, glass):
            tablet.page.set_viewport_size({"width": width, "height": height})
            answer = tablet.page.evaluate(TOO_SMALL, asked)
            assert answer["looked"] >= 5
            found[name, width] = answer["small"]
    tablet.page.locator("[data-who]").click()
    expect(tablet.page.locator("dialog .names button").first).to_be_visible()
    found["who is here", 0] = tablet.page.evaluate(TOO_SMALL, asked)["small"]
    tablet.page.locator("dialog .names button").first.click()
    expect(tablet.page.locator("dialog .digits")).to_be_visible()
    found["PIN", 0] = tablet.page.evaluate(TOO_SMALL, asked)["small"]
    assert {place: small for place, small in found.items() if small} == {}


def test_what_is_typed_into_and_its_next_key_are_in_sight(tablet: Visit, glass: Glass) -> None:
    assert out_of_sight(tablet, glass, "framing", "fence", "fill", "core", "lot", "doubt") == []


def test_a_hold_takes_no_key_out_of_sight(tablet: Visit, glass: Glass, database: Database) -> None:
    with database.write() as session:
        lead = session.scalars(select(Person).where(Person.sign_in_name == "otto")).one()
        for panel in session.scalars(select(Panel).where(Panel.waiting_at == "fill")):
            place_hold(session, lead, panel, "Sheathing torn at the lower pick.", datetime.now(UTC))
    assert out_of_sight(tablet, glass, "fill", "core") == []
    expect(tablet.page.locator("main > .on-hold")).to_have_text(
        "On hold by Otto Lind: “Sheathing torn at the lower pick.” The shop lead lifts it."
    )


def out_of_sight(tablet: Visit, glass: Glass, *names: str) -> list[tuple[str, int, int, str]]:
    """Which fields, or their Next keys, are not in sight when a field is typed into; of some pages."""
    page = tablet.page
    hidden = []
    for name in names:
        for width, height in turned(tablet, glass):
            page.set_viewport_size({"width": width, "height": height})
            STATION_PAGES[name](tablet, "en")
            page.evaluate(TWO_FRAMES)
            fields = page.locator("form.entry .fields input[data-keypad]").locator("visible=true").all()
            for number, field in enumerate(fields):
                field.focus()
                for what in (field, page.locator(".key-next")):
                    if not what.evaluate(IN_SIGHT):
                        hidden.append((name, width, number, what.get_attribute("class") or "field"))
    return hidden


def test_the_key_that_saves_a_check_is_in_sight(tablet: Visit, glass: Glass) -> None:
    for width, height in turned(tablet, glass):
        tablet.page.set_viewport_size({"width": width, "height": height})
        for name in ("sleeve", "air seal", "fault"):
            STATION_PAGES[name](tablet, "en")
            tablet.page.evaluate(TWO_FRAMES)
            assert tablet.page.locator(".save").evaluate(IN_SIGHT), (name, width)


def test_what_is_typed_is_read_from_afar(visit: NewVisit) -> None:
    """Our own judgement: 40 px or more for the one value that is entered, tabular figures."""
    worker = visit()
    worker.sign_in("wren")
    STATION_PAGES["framing"](worker, "en")
    type_all(worker, ("9'",))
    style = step(worker).locator(".fields input").first.evaluate("e => ({...getComputedStyle(e)})")
    assert float(style["fontSize"].removesuffix("px")) >= 40
    assert style["fontVariantNumeric"] == "tabular-nums"


def test_keys_are_as_large_before_any_script_has_run(visit: NewVisit, database: Database) -> None:
    """The page itself says how large: nothing grows under a finger, and a page kept there says the same."""
    tablet = visit()
    tablet.use_code(invitation(database, key_size=128))
    sizes = []
    for script in (True, False):
        context = tablet.page.context.browser.new_context(  # type: ignore[union-attr]
            storage_state=tablet.page.context.storage_state(), java_script_enabled=script
        )
        page = context.new_page()
        page.goto(f"{tablet.address}/station/framing")
        sizes.append(page.locator(".scan-key").bounding_box()["height"])  # type: ignore[index]
        context.close()
    assert sizes == [128, 128]


def test_marking_a_fault_needs_no_drag(visit: NewVisit) -> None:
    """WCAG 2.2, 2.5.7: a tap puts the mark, and a key takes it away."""
    worker = visit()
    worker.sign_in("wren")
    mark_a_fault(worker, "en")
    expect(step(worker).locator(".fault")).to_have_count(1)
    step(worker).locator(".unmark").click()
    expect(step(worker).locator(".fault")).to_have_count(0)
