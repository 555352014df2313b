"""Every page can be read and used: by screen reader, gloved finger, keyboard, and on a phone.

axe-core holds its rules for WCAG 2.2; 320 px wide is WCAG's measure of reflow (1.4.10).
"""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import select

import seed_demo
from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.serve.listen import Listener, listening
from qc_app.web import create_app
from qc_app.work.plan_drafts import begin
from qc_app.work.uploads import keep_upload
from tests.browser.conftest import LANDSCAPE, NewVisit, Visit, invitation
from tests.browser.tour import PHONE, STATION_PAGES, look_over, settle

pytestmark = pytest.mark.browser

LANGUAGES = ("en", "es")

DESK_PAGES: dict[str, tuple[str, tuple[str, ...]]] = {
    "panels": (
        "mira",
        (
            "/building",
            "/building/1",
            "/building/1/history",
            "/building/1/labels",
            "/building/1/loads",
            "/panel/20",
            "/panel/106",
            "/panel/20/plan",
            "/panel/29/release",
            "/panel/106/nonconformity",
            "/nonconformity",
            "/nonconformity/1",
            "/board",
            "/notices",
        ),
    ),
    "shop": (
        "mira",
        (
            "/person",
            "/person/3",
            "/person/3/pin",
            "/instrument",
            "/instrument/1",
            "/instrument/check",
            "/material",
            "/lots",
            "/lots/labels",
            "/l/L-032",
            "/lot/1",
            "/tablets",
            "/tablets/1",
            "/chart",
            "/chart/station/fill",
            "/chart/4",
        ),
    ),
    "plan and files": (
        "mira",
        (
            "/plan",
            "/plan/version/1",
            "/plan/draft",
            "/plan/draft/characteristic/1",
            "/plan/draft/station/fill",
            "/plan/draft/text",
            "/plan/draft/preview",
            "/plan/draft/adopt",
            "/file",
            "/file/upload/1",
            "/outbox/file",
        ),
    ),
    "shop lead": ("otto", ("/board", "/building/1", "/panel/29/release", "/nonconformity/1", "/material")),
    "site crew lead": ("sol", ("/site", "/site/1", "/site/panel/20", "/site/panel/29")),
    "customer": ("cleo", ("/proof", "/proof/1", f"/verify/{'0' * 64}")),
    "administrator": ("ada", ("/person", "/instrument", "/tablets")),
}
"""Pages at a desk or on a phone, and who looks at them."""

AT_STATIONS = (
    "/sign-in",
    "/station",
    "/station/framing",
    "/station/framing/panel/1",
    "/station/framing/lot/1",
    "/lot",
    "/pin",
    "/outbox",
    "/offline",
    "/tablet/enrol",
)
"""Pages that the tests of workers' and tablets' pages go through."""

NOT_LOOKED_AT = {
    "sign_in.home": "leads on to where each person begins",
    "labels.scanned": "leads on to the panel of a label",
    "board.parts": "parts of the board, which is looked at whole",
    "files.packet": "a document; tests/packet",
    "files.readings_csv": "a file",
    "files.readings_xlsx": "a file",
    "files.bad_rows": "a file",
    "plan.download": "a file",
    "plan_draft.download": "a file",
    "charts.figure_json": "numbers for a drawing",
    "outbox.photo": "a photo",
    "outbox.hello": "an answer to tablets",
    "offline.manifest": "for the browser",
    "offline.worker": "for the browser",
    "static": "files",
    "setup.set_up": "once in a log's life; below",
    "trust.authority": "a certificate",
    "trust.page": "needs an authority; tests/browser/test_trust.py",
    "trust.why": "needs an authority; tests/browser/test_trust.py",
}
"""What answers to GET and is no page, or is looked at elsewhere."""

TOO_LOW = """
least => [...document.querySelectorAll(
    "main a.button, main button, main input:not([type=hidden]), main select")]
  .filter((e) => e.offsetParent !== null && e.type !== "radio")
  .map((e) => ({what: e.textContent.trim() || e.id, hit: e.type === "checkbox" ? (e.labels[0] ?? e) : e}))
  .map(({what, hit}) => ({what, height: hit.getBoundingClientRect().height}))
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
  const { writeEntry } = await import(path("outbox.js"));
  const { who } = await import(path("people.js"));
  const content = {
    station: "framing", item: "panel", id: 1, plan: 999999, readings: [],
    instruments: [], note: "", reason: "", doubted: false,
  };
  const { id: person } = await who();
  await writeEntry({ form: "readings", title, address: location.pathname, person, content });
}
"""
"""An entry that the server refuses, as it knows no such plan."""


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
    settle(tablet)
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
    tablet.send()
    page.locator("[data-section=refused] li").wait_for()
    # The other waits for as long as there is no network.
    page.context.set_offline(True)
    page.evaluate(WRITE, {"title": "R-12 · Largo de una pieza"})
    page.locator("[data-section=waiting] li").wait_for()
    page.locator("[data-section=refused] button").first.click()
    found["outbox with refused and waiting"] = look_over(tablet)
    assert faulty(found) == {}


@pytest.mark.parametrize("part", DESK_PAGES)
def test_no_page_of_the_desk_has_a_fault_that_a_checker_can_find(
    visit: NewVisit, database: Database, demo: Path, part: str
) -> None:
    who, addresses = DESK_PAGES[part]
    prepare(database, (demo / "schedule.csv").read_bytes())
    person, found = visit(), {}
    person.sign_in(who)
    for address in addresses:
        answer = person.page.goto(person.address + address)
        assert answer is not None
        assert answer.ok or "/verify/" in address, (answer.status, address)
        settle(person)
        found[address] = look_over(person, (LANDSCAPE, PHONE)) + too_low(person)
    assert faulty(found) == {}


def too_low(visit: Visit) -> list[str]:
    """Controls that are hard to hit, on a desk and on a phone."""
    found = []
    for width, height in (LANDSCAPE, PHONE):
        visit.page.set_viewport_size({"width": width, "height": height})
        low = visit.page.evaluate(TOO_LOW, DESK)
        found += [f"{width}: lower than {DESK} px: {each['what']}" for each in low]
    visit.page.set_viewport_size({"width": LANDSCAPE[0], "height": LANDSCAPE[1]})
    return found


def prepare(database: Database, content: bytes) -> None:
    """What the demo leaves to whoever tries it: a tablet invited, a plan being edited, a file to look at."""
    invitation(database)
    with database.write() as session:
        mira = session.scalars(select(Person).where(Person.sign_in_name == "mira")).one()
        begin(session, mira, datetime.now(UTC))
        number = mira.id
    keep_upload(database, number, "schedule", "schedule.csv", content, datetime.now(UTC))


def test_the_page_of_a_new_log_has_no_fault_that_a_checker_can_find(browser: Browser, tmp_path: Path) -> None:
    database = Database(str(tmp_path / "new.db"))
    database.migrate()
    listener = Listener(create_app(database), "127.0.0.1", 0)
    with listening([listener]), browser.new_context() as context:
        first = Visit(context.new_page(), f"http://127.0.0.1:{listener.port}")
        first.page.goto(first.address)
        first.page.wait_for_url("**/setup")
        found = look_over(first) + too_low(first)
    database.close()
    assert found == []


def test_every_page_is_looked_at_or_it_is_said_why_not(tmp_path: Path) -> None:
    database = Database(str(tmp_path / "any.db"))
    database.migrate()
    routes = create_app(database).url_map
    database.close()
    addresses = [*AT_STATIONS, *(path for _, paths in DESK_PAGES.values() for path in paths)]
    looked_at = {routes.bind("").match(path, method="GET")[0] for path in addresses}
    answering = {rule.endpoint for rule in routes.iter_rules() if "GET" in (rule.methods or ())}
    assert answering - looked_at - set(NOT_LOOKED_AT) == set()
    assert set(NOT_LOOKED_AT) <= answering - looked_at
