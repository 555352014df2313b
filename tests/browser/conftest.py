"""The demo served on loopback, and a real browser at tablet size."""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from sqlalchemy import select
from sqlalchemy.orm import Session

import seed_demo
from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.records.tablet import Notice
from qc_app.serve.listen import Listener, listening
from qc_app.web import create_app
from qc_app.web.worker import station
from qc_app.work import find, tablets
from tests.demo import one_demo

LANDSCAPE = (1280, 800)
PORTRAIT = (800, 1280)

# Milliseconds: what a page does in a tenth of a second may take this long on a machine with other work to do.
PATIENCE = 30_000
expect.set_options(timeout=PATIENCE)

# No test looks at these parts of the browser; the suggestions under its own address bar alone cost each new
# window as much as a page. Playwright gives the same switch with a list of its own, and the last one given
# counts: what of that list could change an outcome stands here too.
SWITCHED_OFF = (
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsUpgrades",
    "HttpsFirstBalancedModeAutoEnable",
    "LensOverlay",
    "MediaRouter",
    "PaintHolding",
    "ThirdPartyStoragePartitioning",
    "AvoidCorsURLLoaderRestartOnRedirect",
    "OptimizationHints",
    "NetworkTimeServiceQuerying",
    "PreconnectToSearch",
)

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    f"--disable-features={','.join(SWITCHED_OFF)}",
)

COUNT_VIOLATIONS = """
window.policyViolations = [];
document.addEventListener("securitypolicyviolation",
    (event) => window.policyViolations.push(event.violatedDirective));
"""


def chromium() -> str:
    """The program of a real Chromium. Where the tests run unattended, its absence is a failure."""
    program = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("no browser is installed; the browser tests may not be left out here")
        pytest.skip("no Chromium is installed on this machine")
    return program


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A real Chromium."""
    program = chromium()
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def built_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo, built once."""
    return one_demo(tmp_path_factory.getbasetemp()).folder


@pytest.fixture
def demo(built_demo: Path, tmp_path: Path) -> Path:
    """A copy of the demo, which a test may change."""
    return shutil.copytree(built_demo, tmp_path / "demo")


@pytest.fixture
def database(demo: Path) -> Iterator[Database]:
    """The database of the demo that is served."""
    opened = Database(str(demo / "qc.db"))
    yield opened
    opened.close()


@pytest.fixture
def keeps_pages() -> bool:
    """Whether browsers keep pages, and show a kept one where the server takes a few seconds to answer.

    Tests that look at what somebody else just did say no: on a slow machine they would look at an older page.
    """
    return True


@pytest.fixture
def few_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tablets keep the pages of three panels only, so that they have them in no time."""
    monkeypatch.setattr(station, "MOST_KEPT", 3)


@pytest.fixture
def address(database: Database, keeps_pages: bool) -> Iterator[str]:
    """Where the demo is served."""
    pages = create_app(database)
    pages.config["OFFLINE"] = keeps_pages
    listener = Listener(pages, "127.0.0.1", 0)
    with listening([listener]):
        yield f"http://127.0.0.1:{listener.port}"


OUTBOX = """
async () => {
  const sheet = document.querySelector("link[rel=stylesheet]").href;
  const outbox = await import(sheet.replace(/log\\.css.*$/, "tablet/outbox.js"));
"""

# A tablet gives up on a slow network after some seconds; a slow machine must not look like one.
WAIT_LONG = "() => { AbortSignal.timeout = () => new AbortController().signal; }"

POUNDS = """
(density) => {
  const facts = JSON.parse(document.getElementById("facts").textContent);
  const [{ bay }] = facts.steps[Number(/\\d+/.exec(document.querySelector(".step:not([hidden])").id)[0]) - 1];
  const inches = (nanometres) => Number(nanometres) / 25400000;
  const { width, depth } = facts.bays[bay];
  return density * inches(width) * inches(depth) * inches(facts.size.width) / 1728;
}
"""


def invitation(
    database: Database, name: str = "Fence 1", station: str = "sheathing_fence", key_size: int = 104
) -> str:
    """The code that enrols a new tablet of the shop, which the quality manager asked for."""
    with database.write() as session:
        manager = session.scalars(select(Person).where(Person.sign_in_name == "mira")).one()
        place = find.station(session, manager, station)
        _, code = tablets.invite(session, manager, name, place, key_size, datetime.now(UTC))
    return code


def notices_just_raised(session: Session) -> list[Notice]:
    """What the lead was told during a test; the demo's own notices are of long ago."""
    lately = datetime.now(UTC) - timedelta(hours=1)
    return list(session.scalars(select(Notice).where(Notice.raised_at > lately)))


@dataclass
class Visit:
    """One person's browser, and everything that went wrong in it."""

    page: Page
    address: str
    complaints: list[str] = field(default_factory=list)

    def sign_in(self, name: str) -> None:
        self.page.goto(self.address + "/sign-in")
        self.page.get_by_label("Sign-in name").fill(name)
        self.page.get_by_label("Password").fill(seed_demo.PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(lambda url: "/sign-in" not in url, wait_until="commit")

    def enrol(self, database: Database, name: str = "Fence 1", station: str = "sheathing_fence") -> None:
        """Enrols this browser as a tablet of the shop, with a code of its own."""
        self.use_code(invitation(database, name, station))

    def use_code(self, code: str) -> None:
        """Enrols this browser with the code that the quality manager's page shows."""
        self.page.goto(f"{self.address}/tablet/enrol?code={code}")
        self.page.get_by_role("button", name="Enrol this tablet").click()
        self.page.wait_for_url("**/station/**")
        self.ready()

    def sign_in_by_pin(self, name: str) -> None:
        """Signs somebody in at an enrolled tablet, as workers do: two taps and the PIN."""
        self.page.evaluate(WAIT_LONG)
        self.page.locator("[data-who]").click()
        keys = self.page.get_by_role("dialog").get_by_role("button")
        for key in (name, *seed_demo.PIN, "Enter"):
            keys.filter(has_text=re.compile(f"^{key}$")).click()
        expect(self.page.locator("[data-who]")).to_have_text(name)
        expect(self.page.locator("dialog[open]")).to_have_count(0)

    def open_panel(self, station: str, kind: str) -> None:
        """Goes to the first panel of a kind that waits at a station."""
        self.page.goto(f"{self.address}/station/{station}?language=en")
        self.page.locator(".waiting a", has_text=kind).first.click()
        self.page.wait_for_url("**/panel/*")
        self.ready()

    def ready(self) -> None:
        """Waits until the page's own script has started."""
        self.page.wait_for_selector("html[data-ready]", state="attached")

    def choose_instruments(self) -> None:
        """Chooses the first instrument of each kind that has none chosen yet, as a worker does once a day."""
        for choice in self.page.locator("select[data-instrument]").locator("visible=true").all():
            if not choice.input_value():
                choice.select_option(index=1)

    def open_step(self, method: str) -> None:
        """Opens the first step whose check is made by that method."""
        methods: list[str] = self.page.evaluate(
            "JSON.parse(document.getElementById('facts').textContent).steps.map(([asked]) => asked.method)"
        )
        self.page.evaluate("(number) => { location.hash = `#step-${number}`; }", methods.index(method) + 1)

    def fill_bay(self, density: str) -> None:
        """Enters the mass that fills the bay shown to a density in lb/ft³."""
        self.choose_instruments()
        mass = self.page.evaluate(POUNDS, float(density))
        for label, text in (
            ("Mass blown into this bay", f"{mass:.1f} lb"),
            ("Blower setting (optional)", "gate 4"),
        ):
            self.page.get_by_label(label, exact=True).locator("visible=true").fill(text)
        last = self.page.get_by_label("Seconds of blowing (optional)", exact=True).locator("visible=true")
        last.fill("90")
        last.press("Enter")

    def entries(self) -> list[dict[str, Any]]:
        """What was entered on this tablet and not undone."""
        found: list[dict[str, Any]] = self.page.evaluate(OUTBOX + "return outbox.entries(); }")
        return found

    def send(self) -> None:
        """Sends what waits, without waiting out the time in which it can be undone."""
        self.page.evaluate(OUTBOX + "await outbox.sendNow(); }")

    def violations(self) -> list[str]:
        found: list[str] = self.page.evaluate("window.policyViolations")
        return found


NewVisit = Callable[..., Visit]


@pytest.fixture
def visit(browser: Browser, address: str) -> Iterator[NewVisit]:
    """Opens browsers that forget everything afterwards."""
    contexts: list[BrowserContext] = []

    def open_one(size: tuple[int, int] = LANDSCAPE) -> Visit:
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, accept_downloads=True)
        context.add_init_script(COUNT_VIOLATIONS)
        context.set_default_timeout(PATIENCE)
        context.set_default_navigation_timeout(2 * PATIENCE)
        contexts.append(context)
        opened = Visit(context.new_page(), address)
        opened.page.on("pageerror", lambda error: opened.complaints.append(str(error)))
        opened.page.on(
            "console",
            lambda message: opened.complaints.append(message.text) if message.type == "error" else None,
        )
        return opened

    yield open_one
    for context in contexts:
        context.close()
