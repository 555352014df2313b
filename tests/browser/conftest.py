"""The demo served on loopback, and a real browser at tablet size."""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

import seed_demo
from qc_app.records.database import Database
from qc_app.serve.listen import Listener, listening
from qc_app.web import create_app

LANDSCAPE = (1280, 800)
PORTRAIT = (800, 1280)

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
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
    folder = tmp_path_factory.mktemp("built") / "demo"
    seed_demo.build(folder)
    return folder


@pytest.fixture
def demo(built_demo: Path, tmp_path: Path) -> Path:
    """A copy of the demo, which a test may change."""
    return shutil.copytree(built_demo, tmp_path / "demo")


@pytest.fixture
def address(demo: Path) -> Iterator[str]:
    """Where the demo is served."""
    database = Database(str(demo / "qc.db"))
    listener = Listener(create_app(database), "127.0.0.1", 0)
    with listening([listener]):
        yield f"http://127.0.0.1:{listener.port}"
    database.close()


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
        context.set_default_timeout(15_000)
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
