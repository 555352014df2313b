"""Every page can be read and used: by screen reader, gloved finger, keyboard, and on a phone.

axe-core holds its rules for WCAG 2.2; 320 px wide is WCAG's measure of reflow (1.4.10).
"""

import re

import pytest
from playwright.sync_api import expect

import seed_demo
from qc_app.records.database import Database
from tests.browser.conftest import LANDSCAPE, NewVisit, invitation
from tests.browser.tour import PHONE, STATION_PAGES, look_over

pytestmark = pytest.mark.browser

LANGUAGES = ("en", "es")

DESK_PAGES = (
    "/building",
    "/building/1",
    "/building/1/labels",
    "/panel/20",
    "/chart",
    "/chart/station/fill",
    "/chart/4",
    "/file",
    "/person",
    "/instrument",
    "/tablets",
    "/notices",
    "/instrument/1",
    "/instrument/check",
    "/material",
    "/lots",
    "/board",
    "/nonconformity",
    "/plan",
    "/building/1/loads",
)

TOO_LOW = """
least => [...document.querySelectorAll(
    "main a.button, main button, main input:not([type=hidden]), main select")]
  .filter((e) => e.offsetParent !== null && e.type !== "radio")
  .map((e) => ({what: e.textContent.trim() || e.id, height: e.getBoundingClientRect().height}))
  .filter((e) => e.height < least)
"""
DESK = 44


def faulty(found: dict[str, list[str]]) -> dict[str, list[str]]:
    return {name: faults for name, faults in found.items() if faults}


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_page_of_a_worker_has_a_fault_that_a_checker_can_find(visit: NewVisit, language: str) -> None:
    worker = visit()
    worker.page.goto(f"{worker.address}/sign-in?language={language}")
    found = {"sign-in": look_over(worker)}
    worker.sign_in("wren")
    for name, go_there in STATION_PAGES.items():
        go_there(worker, language)
        found[name] = look_over(worker)
    assert faulty(found) == {}


WRITE = """
async ({ title }) => {
  const sheet = document.querySelector("link[rel=stylesheet]").href;
  const path = (name) => sheet.replace(/log\\.css.*$/, `tablet/${name}`);
  const { writeEntry, sendNow } = await import(path("outbox.js"));
  const { who } = await import(path("people.js"));
  const content = {
    station: "framing", item: "panel", id: 1, plan: 999999, readings: [],
    instruments: [], note: "", reason: "", doubted: false,
  };
  const { id: person } = await who();
  const entry = { form: "readings", title, address: location.pathname, person, content };
  await writeEntry(entry);
  await sendNow();
  await writeEntry(entry);
}
"""
"""One entry that the server refuses, as it knows no such plan, and one that waits."""


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_page_of_a_tablet_has_a_fault_that_a_checker_can_find(
    visit: NewVisit, database: Database, language: str
) -> None:
    tablet = visit()
    page = tablet.page
    page.goto(f"{tablet.address}/tablet/enrol?code={invitation(database)}&language={language}")
    found = {"enrol": look_over(tablet)}
    page.locator("form button.primary").click()
    tablet.page.wait_for_url("**/station/**")
    tablet.ready()
    page.goto(f"{tablet.address}/outbox?language={language}")
    tablet.ready()
    found["outbox without anything"] = look_over(tablet)
    page.locator("[data-who]").click()
    page.locator("dialog .names button").first.wait_for()
    found["who is here"] = look_over(tablet)
    page.locator("dialog .names button", has_text="Wren").click()
    found["PIN"] = look_over(tablet)
    page.locator("#people-pin").fill("0000")
    page.locator("dialog button[type=submit]").click()
    expect(page.locator(".said")).to_have_text(re.compile("PIN.*(not right|no es correcto)"))
    found["wrong PIN"] = look_over(tablet, (LANDSCAPE,))
    page.locator("#people-pin").fill(seed_demo.PIN)
    page.locator("dialog button[type=submit]").click()
    page.locator("dialog").wait_for(state="detached")
    page.evaluate(WRITE, {"title": "R-12 · Largo de una pieza"})
    page.locator("[data-section=refused] li").wait_for()
    page.locator("[data-section=waiting] li").wait_for()
    page.locator("[data-section=refused] button").first.click()
    found["outbox with refused and waiting"] = look_over(tablet)
    assert faulty(found) == {}


@pytest.mark.parametrize("size", [LANDSCAPE, PHONE], ids=["tablet", "phone"])
def test_no_page_of_the_desk_has_a_fault_that_a_checker_can_find(
    visit: NewVisit, size: tuple[int, int]
) -> None:
    manager = visit(size)
    manager.sign_in("mira")
    found = {}
    for path in DESK_PAGES:
        manager.page.set_viewport_size({"width": size[0], "height": size[1]})
        manager.page.goto(manager.address + path)
        found[path] = look_over(manager, (size,))
        low = manager.page.evaluate(TOO_LOW, DESK)
        found[path] += [f"lower than {DESK} px: {each['what']}" for each in low]
    assert faulty(found) == {}
