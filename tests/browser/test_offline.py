"""Station pages open without a network, and a new build is taken only when that can do no harm."""

import shutil
import threading
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from flask import Flask, Response, render_template_string, request
from playwright.sync_api import Page, expect
from werkzeug.serving import BaseWSGIServer, make_server

from qc_app import web
from qc_app.records.database import Database
from tests.browser.conftest import NewVisit, Visit

pytestmark = pytest.mark.browser

LIST = "/station/fill?language=en"
NEVER_KEPT = "/station/fill/panel/1?language=en"

PARTS = """
{% from 'offline_parts.html' import offline_parts with context %}
<div class="update-bar" hidden></div><p class="kept-pages"></p>{{ offline_parts() }}
"""

Start = Iterable[bytes]


class Served:
    """The demo's server. It can stop, be slow, let a stranger answer, and come back as another build."""

    def __init__(self, database: Database, builds: Path) -> None:
        self.database = database
        self.builds = builds
        self.asked: list[str] = []
        self.slow = 0.0
        self.has_stranger = False
        self.offline = True
        self.server: BaseWSGIServer | None = None
        self.port = 0

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, build: str = "one") -> None:
        app = self._app(build)
        app.config["OFFLINE"] = self.offline
        app.before_request(self._meddle)
        app.after_request(_with_parts)
        self.server = make_server("127.0.0.1", self.port, app, threaded=True)
        self.port = self.server.server_port
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None

    def become(self, build: str) -> None:
        self.stop()
        self.start(build)

    def pages_asked(self) -> list[str]:
        """What was asked for except files."""
        return [path for path in self.asked if not path.startswith(("/static/", "/sw.js", "/manifest"))]

    def _app(self, build: str) -> Flask:
        """The program over static files and templates of their own; only its build's name differs in them."""
        folder = self.builds / build
        if not folder.is_dir():
            for name in ("static", "templates"):
                shutil.copytree(web._folder_of(name), folder / name)
            layout = folder / "templates" / "layout.html"
            layout.write_text(layout.read_text().replace("<html ", f'<html data-build="{build}" '))
            script = folder / "static" / "tablet" / "offline.js"
            script.write_text(script.read_text() + f'\nwindow.scriptOfBuild = "{build}";\n')
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(web, "_folder_of", folder.joinpath)
            return web.create_app(self.database)

    def _meddle(self) -> str | None:
        self.asked.append(request.full_path.rstrip("?"))
        if not request.path.startswith(("/static/", "/sw.js")):
            time.sleep(self.slow)
            if self.has_stranger:
                return "<!doctype html><title>Guest network</title><h1>Welcome, guest</h1>"
        return None


def _with_parts(response: Response) -> Response:
    """The parts of a page that is kept, on pages that do not bring them along."""
    is_page = request.path.startswith("/station") and response.mimetype == "text/html"
    if is_page and "tablet/offline.js" not in response.get_data(as_text=True):
        parts = render_template_string(PARTS)
        response.set_data(response.get_data(as_text=True).replace("</main>", f"{parts}</main>"))
    return response


@pytest.fixture
def served(demo: Path, tmp_path: Path) -> Iterator[Served]:
    database = Database(str(demo / "qc.db"))
    opened = Served(database, tmp_path / "builds")
    opened.start()
    yield opened
    opened.stop()
    database.close()


@pytest.fixture
def address(served: Served) -> str:
    return served.address


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    """A worker whose browser has opened the list of panels once, and keeps its pages."""
    worker = visit()
    worker.sign_in("wren")
    worker.page.wait_for_url("**/station**")
    open_and_keep(worker, LIST)
    return worker


def open_and_keep(visit: Visit, path: str) -> None:
    visit.page.goto(visit.address + path)
    until_kept(visit.page, path)


def until_kept(page: Page, path: str) -> None:
    until(page, "path => caches.match(path).then((page) => page !== undefined)", path)
    until(page, "() => navigator.serviceWorker.controller !== null")


def until(page: Page, question: str, about: object = None, seconds: float = 15) -> None:
    """Asks a question, which may be a promise, until its answer is yes. Pages may reload meanwhile."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if page.evaluate(question, about):
                return
        except Exception as error:
            if "context was destroyed" not in str(error):
                raise
        page.wait_for_timeout(50)
    raise AssertionError(f"not so after {seconds} s: {question} {about}")


def keep(page: Page, *paths: str) -> dict[str, int]:
    """Has the worker keep pages; gives what it tells when it is done."""
    told: dict[str, int] = page.evaluate(
        """async (addresses) => {
          const { active } = await navigator.serviceWorker.ready;
          return new Promise((resolve) => {
            navigator.serviceWorker.addEventListener("message", ({ data }) =>
              data.isDone && resolve(data));
            active.postMessage({ kind: "keep", addresses, also: [], language: "en" });
          });
        }""",
        list(paths),
    )
    return told


def kept_addresses(page: Page) -> list[str]:
    found: list[str] = page.evaluate(
        """async () => {
          const names = (await caches.keys()).filter((name) => name.startsWith("pages "));
          const keys = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
          return keys.flat().map((request) => request.url.replace(location.origin, ""));
        }"""
    )
    return found


def panels_listed(page: Page) -> list[str]:
    found: list[str] = page.eval_on_selector_all(
        ".waiting a[href*='/panel/']", "links => links.map((link) => link.getAttribute('href'))"
    )
    return found


def test_the_list_opens_without_a_network_after_one_visit(worker: Visit, served: Served) -> None:
    served.stop()
    worker.page.goto(worker.address + LIST)
    expect(worker.page.get_by_role("heading", level=1)).to_have_text("Fill")
    assert worker.page.evaluate("getComputedStyle(document.body).display") == "flex"


def test_a_panel_opens_without_a_network_after_one_visit(worker: Visit, served: Served) -> None:
    path = panels_listed(worker.page)[0]
    worker.page.goto(worker.address + path)
    until_kept(worker.page, path)
    mark = worker.page.title()
    served.stop()
    worker.page.goto(worker.address + path)
    assert worker.page.title() == mark
    assert worker.complaints == []
    assert worker.violations() == []
