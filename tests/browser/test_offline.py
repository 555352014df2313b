"""Station pages open without a network, and a new build is taken only when that can do no harm."""

import re
import shutil
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from wsgiref.types import WSGIApplication

import pytest
from cheroot.errors import FatalSSLAlert
from flask import Flask, Response, render_template_string, request
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from qc_app import web
from qc_app.records.database import Database
from qc_app.records.shop import SignIn
from tests.browser.conftest import FLAGS, PATIENCE, NewVisit, Visit, chromium
from tests.browser.demo_server import LONG_PATIENCE, OWN_PATIENCE, DemoServer

pytestmark = pytest.mark.browser

LIST = "/station/fill?language=en"
NEVER_KEPT = "/station/fill/panel/1?language=en"

INSTALL = "{% from 'offline_parts.html' import install_parts with context %}{{ install_parts() }}"

ALL_KEPT = re.compile(r"^(\d+) of \1 pages are on this tablet\.$")

IS_BUILD = "build => document.documentElement.dataset.build === build && window.scriptOfBuild === build"

REGISTRATION = "await navigator.serviceWorker.getRegistration()"

ARE_ONLY_CACHES_OF_ONE_BUILD = "async () => (await caches.keys()).length === 2"


class Served(DemoServer):
    """The demo's server. It can stop, be slow, let a stranger answer, and come back as another build."""

    def __init__(self, database: Database, builds: Path) -> None:
        super().__init__(database)
        self.builds = builds
        self.asked: list[str] = []
        self.may_answer = threading.Event()
        self.may_answer.set()
        self.has_stranger = False
        self.breaks_at = ""
        self.fails = False
        self.offline = True

    def start(self, build: str = "one") -> None:
        app = self._app(build)
        app.config["OFFLINE"] = self.offline
        app.before_request(self._meddle)
        app.after_request(_with_offer)
        self.pages = self._with_stranger(self.ready(app))
        super().start()

    def stop(self) -> None:
        self.may_answer.set()
        super().stop()

    def become(self, build: str) -> None:
        self.stop()
        self.start(build)

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

    def _meddle(self) -> str | tuple[str, int] | None:
        self.asked.append(request.full_path.rstrip("?"))
        if not request.path.startswith(("/static/", "/sw.js")):
            self.may_answer.wait()
            if self.fails:
                return "<!doctype html><h1>Bad gateway</h1>", 502
        return None

    def _with_stranger(self, ours: WSGIApplication) -> WSGIApplication:
        stranger = Response("<!doctype html><title>Guest network</title><h1>Welcome, guest</h1>")

        def answer(environ: Any, start: Any) -> Any:
            if environ["PATH_INFO"] == self.breaks_at:
                raise FatalSSLAlert  # The server closes the connection on this without a word.
            return (stranger if self.has_stranger else ours)(environ, start)

        return answer


def _with_offer(response: Response) -> Response:
    """The offer to install, on the list as well."""
    if request.path == "/station/fill" and response.status_code == 200:
        page = response.get_data(as_text=True)
        response.set_data(page.replace("</main>", render_template_string(INSTALL) + "</main>"))
    return response


@pytest.fixture
def patience() -> str:
    """How long the worker waits for a page that it has kept."""
    return LONG_PATIENCE


@pytest.fixture
def served(database: Database, tmp_path: Path, few_kept: None, patience: str) -> Iterator[Served]:
    opened = Served(database, tmp_path / "builds")
    opened.patience = patience
    opened.start()
    yield opened
    opened.stop()


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
    expect(worker.page.locator(".kept-pages")).to_have_text(ALL_KEPT)
    until_nothing_is_fetched(worker.page)
    return worker


def open_and_keep(visit: Visit, path: str) -> None:
    visit.page.goto(visit.address + path)
    until_kept(visit.page, path)


def until_kept(page: Page, path: str) -> None:
    until(page, "path => caches.match(path).then((page) => page !== undefined)", path)
    until(page, "() => navigator.serviceWorker.controller !== null")


def until_nothing_is_fetched(page: Page) -> None:
    """Has the worker done what it was asked for before, such as fetching pages in the other language."""
    keep(page, LIST)


def until(page: Page, question: str, about: object = None, seconds: float = 2 * PATIENCE / 1000) -> None:
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
    """Has the worker keep pages; gives what it tells when it is done.

    It is told apart from what the page itself wants kept by the number of addresses, so give another number.
    """
    told: dict[str, int] = page.evaluate(
        """async (addresses) => {
          const { active } = await navigator.serviceWorker.ready;
          const wanted = new Set(addresses.map((address) => address.split("?")[0])).size;
          return new Promise((resolve) => {
            navigator.serviceWorker.addEventListener("message", ({ data }) =>
              data.isDone && data.wanted === wanted && resolve(data));
            active.postMessage({ kind: "keep", addresses, here: location.href, language: "en" });
          });
        }""",
        list(paths),
    )
    return told


def all_kept(page: Page, kind: str = "") -> list[str]:
    """What is in the caches whose name begins so."""
    found: list[str] = page.evaluate(
        """async (kind) => {
          const names = (await caches.keys()).filter((name) => name.startsWith(kind));
          const keys = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
          return keys.flat().map((request) => request.url.replace(location.origin, ""));
        }""",
        kind,
    )
    return found


def kept_addresses(page: Page) -> list[str]:
    return all_kept(page, "pages ")


def kept_at(page: Page, path: str) -> str:
    moment: str = page.evaluate("async (path) => (await caches.match(path)).headers.get('X-Kept-At')", path)
    return moment


def age_pages(page: Page, days: float) -> None:
    """Makes all kept pages look as if they had been kept so long ago."""
    page.evaluate(
        """async (days) => {
          const name = (await caches.keys()).find((name) => name.startsWith("pages "));
          const pages = await caches.open(name);
          for (const request of await pages.keys()) {
            const { status, headers, ...kept } = await pages.match(request).then(async (answer) => ({
              status: answer.status,
              headers: new Headers(answer.headers),
              body: answer.status === 302 ? null : await answer.blob(),
            }));
            headers.set("X-Kept-At", Date.now() - days * 24 * 60 * 60 * 1000);
            await pages.put(request, new Response(kept.body, { status, headers }));
          }
        }""",
        days,
    )


def look_for_newer(page: Page) -> None:
    page.evaluate("navigator.serviceWorker.getRegistration().then((r) => r.update()).then(() => true)")


def expect_newer(page: Page) -> None:
    expect(page.locator(".update-bar")).to_contain_text(
        "A new version is ready. It is taken when everything is sent."
    )


STORE = "document.querySelector('link[href*=log]').href.replace('log.css', 'tablet/store.js')"


def end_sign_ins(database: Database) -> None:
    """Nobody is signed in any more, whatever their browsers believe."""
    with database.write() as session:
        for opened in session.scalars(select(SignIn).where(SignIn.ended_at.is_(None))):
            opened.ended_at = datetime.now(UTC)


TOUCH = "() => { window.touching = setInterval(() => dispatchEvent(new Event('pointerdown')), 200); }"
LET_GO = "() => clearInterval(window.touching)"


def put_entry(page: Page, state: str) -> None:
    page.evaluate(
        f"""async (state) => {{
          const {{ write }} = await import({STORE});
          await write((work) => work.put("entries", {{ uuid: "a", sequence: 1, state }}));
        }}""",
        state,
    )


def entries(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(
        f"""async () => (await import({STORE})).look((work) => work.all("entries"))"""
    )
    return found


def expect_list(page: Page) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text("Fill")


def expect_offline_page(page: Page) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text("This page is not on this tablet yet")


def panels_listed(page: Page) -> list[str]:
    found: list[str] = page.eval_on_selector_all(
        ".waiting a[href*='/panel/']", "links => links.map((link) => link.pathname + '?language=en')"
    )
    return found


def test_the_list_opens_without_a_network_after_one_visit(worker: Visit, served: Served) -> None:
    served.stop()
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)
    assert worker.page.evaluate("getComputedStyle(document.body).display") == "flex"


def test_a_panel_opens_without_a_network_after_one_visit(worker: Visit, served: Served) -> None:
    path = panels_listed(worker.page)[0]
    open_and_keep(worker, path)
    title = worker.page.title()
    served.stop()
    worker.page.goto(worker.address + path)
    assert worker.page.title() == title
    # The page itself asks for the server now and then; that it is not there is no fault of the page.
    assert [told for told in worker.complaints if "net::ERR_" not in told] == []
    assert worker.violations() == []


def test_listed_panels_open_without_a_network_though_nobody_opened_them(
    worker: Visit, served: Served
) -> None:
    panels = panels_listed(worker.page)[-2:]
    assert keep(worker.page, LIST, *panels) == {"kind": "kept", "kept": 3, "wanted": 3, "isDone": True}
    served.stop()
    for path in panels:
        worker.page.goto(worker.address + path)
        expect(worker.page).to_have_title(re.compile(", Fill – Quality log$"))


def test_a_page_that_was_never_kept_says_so_and_leads_on(worker: Visit, served: Served) -> None:
    served.stop()
    worker.page.goto(worker.address + NEVER_KEPT)
    expect_offline_page(worker.page)
    worker.page.get_by_role("link", name="Panels here").click()
    expect_list(worker.page)


def test_the_page_for_no_network_tries_again(worker: Visit, served: Served) -> None:
    served.stop()
    worker.page.goto(worker.address + "/building")
    expect_offline_page(worker.page)
    served.start()
    worker.page.get_by_role("link", name="Try again").click()
    expect(worker.page.get_by_role("heading", level=1)).to_have_text("Buildings")


def test_the_icon_on_the_home_screen_opens_the_tablets_own_list(worker: Visit, served: Served) -> None:
    served.stop()
    for start in ("/", "/station", "/station?language=en"):
        worker.page.goto(worker.address + start)
        expect_list(worker.page)
        assert worker.page.url == worker.address + LIST


def test_each_language_is_kept_for_itself(worker: Visit, served: Served) -> None:
    path = panels_listed(worker.page)[-1]
    spanish = path.replace("=en", "=es")
    open_and_keep(worker, path)
    served.stop()
    worker.page.goto(worker.address + spanish)
    expect(worker.page.locator("html")).to_have_attribute("lang", "es")
    expect(worker.page.locator(".station-top")).to_have_count(0)
    assert spanish not in kept_addresses(worker.page)
    served.start()
    open_and_keep(worker, spanish)
    served.stop()
    for address, language in ((path, "en"), (spanish, "es")):
        worker.page.goto(worker.address + address)
        expect(worker.page.locator("html")).to_have_attribute("lang", language)
        expect(worker.page.locator(".station-top")).to_have_count(1)


def test_an_address_without_a_language_opens_in_the_one_that_is_kept(worker: Visit, served: Served) -> None:
    served.stop()
    worker.page.goto(worker.address + "/station/fill")
    expect_list(worker.page)


def test_a_label_that_leads_to_a_kept_panel_leads_there_without_a_network(
    worker: Visit, served: Served
) -> None:
    worker.page.goto(worker.address + "/station?change")
    worker.page.get_by_role("button", name="Fill", exact=True).click()
    worker.page.wait_for_url("**/station/fill**")
    mark = worker.page.locator(".waiting strong").first.inner_text()
    code = worker.page.locator(".waiting li").first.inner_text().split("\n")[1].split(" ")[0]
    label = f"/p/{code}/{mark}"
    assert keep(worker.page, label)["kept"] == 1
    served.stop()
    worker.page.goto(worker.address + label)
    expect(worker.page).to_have_title(f"{mark}, Fill – Quality log")


def test_back_and_forward_work_without_a_network(worker: Visit, served: Served) -> None:
    path = panels_listed(worker.page)[0]
    open_and_keep(worker, path)
    title = worker.page.title()
    served.stop()
    worker.page.go_back()
    expect_list(worker.page)
    worker.page.go_forward()
    expect(worker.page).to_have_title(title)


def test_signing_in_is_never_kept(worker: Visit, served: Served) -> None:
    end_sign_ins(served.database)
    worker.page.goto(worker.address + "/sign-in")
    worker.page.goto(worker.address + "/building")
    assert "/sign-in" in worker.page.url
    worker.page.evaluate("fetch('/sign-in')")
    assert [path for path in all_kept(worker.page) if "sign-in" in path or "/building" in path] == []
    served.stop()
    worker.page.goto(worker.address + "/sign-in")
    expect_offline_page(worker.page)


def test_what_a_page_fetches_by_itself_is_not_kept(worker: Visit) -> None:
    worker.page.evaluate(
        "Promise.all(['/building', '/tablet/hello', '/station/framing'].map((a) => fetch(a)))"
    )
    kept = all_kept(worker.page)
    assert not {"/building", "/tablet/hello", "/station/framing"} & set(kept)


def test_only_station_pages_are_kept_of_those_opened(worker: Visit) -> None:
    worker.page.goto(worker.address + "/building")
    worker.page.goto(worker.address + "/chart")
    kept = kept_addresses(worker.page)
    of_stations = ("/station", "/outbox", "/material", "/instrument/check")
    assert [path for path in kept if not path.startswith(of_stations)] == []


def test_being_sent_to_sign_in_leaves_the_kept_page_as_it_was(worker: Visit, served: Served) -> None:
    end_sign_ins(served.database)
    worker.page.goto(worker.address + LIST)
    expect(worker.page.get_by_role("heading", level=1)).to_have_text("Sign in")
    age_pages(worker.page, days=1)
    assert keep(worker.page, LIST)["kept"] == 1
    served.stop()
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)


def test_a_strangers_answer_neither_shows_nor_replaces_a_kept_page(worker: Visit, served: Served) -> None:
    served.has_stranger = True
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)
    age_pages(worker.page, days=1)
    keep(worker.page, LIST)
    served.stop()
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)


def test_where_nothing_is_kept_the_stranger_is_heard(worker: Visit, served: Served) -> None:
    """A guest network wants to be signed in to, somewhere."""
    served.has_stranger = True
    worker.page.goto(worker.address + "/building")
    expect(worker.page.get_by_role("heading", level=1)).to_have_text("Welcome, guest")


def test_a_failing_server_does_not_hide_a_kept_page(worker: Visit, served: Served) -> None:
    served.fails = True
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)


@pytest.mark.parametrize("patience", [OWN_PATIENCE], ids=["own patience"])
def test_a_slow_network_is_waited_for_2_5_seconds_and_still_brings_the_newer_page(
    worker: Visit, served: Served
) -> None:
    before = kept_at(worker.page, LIST)
    served.may_answer.clear()
    began = time.monotonic()
    worker.page.goto(worker.address + LIST)
    # On a busy machine the page itself takes a while as well.
    assert 2.4 <= time.monotonic() - began < 15
    expect_list(worker.page)
    assert kept_at(worker.page, LIST) == before
    served.may_answer.set()
    until(
        worker.page,
        "async ([path, before]) => (await caches.match(path)).headers.get('X-Kept-At') > before",
        [LIST, before],
    )


@pytest.mark.parametrize("patience", [OWN_PATIENCE], ids=["own patience"])
def test_a_slow_page_that_is_not_kept_is_waited_for(worker: Visit, served: Served) -> None:
    served.may_answer.clear()
    threading.Timer(4, served.may_answer.set).start()
    worker.page.goto(worker.address + "/building")
    expect(worker.page.get_by_role("heading", level=1)).to_have_text("Buildings")


def test_a_page_kept_ten_minutes_ago_is_fetched_again_and_a_fresh_one_is_not(
    worker: Visit, served: Served
) -> None:
    path = panels_listed(worker.page)[0]
    keep(worker.page, path)
    served.asked.clear()
    keep(worker.page, path)
    assert path not in served.asked
    age_pages(worker.page, days=11 / 24 / 60)
    keep(worker.page, path)
    assert served.asked.count(path) == 1


def test_pages_no_longer_listed_go_after_three_days(worker: Visit) -> None:
    first, second = panels_listed(worker.page)[:2]
    keep(worker.page, first, second)
    age_pages(worker.page, days=2.9)
    keep(worker.page, second)
    assert first in kept_addresses(worker.page)
    age_pages(worker.page, days=3.1)
    keep(worker.page, second)
    assert first not in kept_addresses(worker.page)
    assert second in kept_addresses(worker.page)


def test_without_a_network_listed_pages_stay_however_old(worker: Visit, served: Served) -> None:
    path = panels_listed(worker.page)[0]
    keep(worker.page, path)
    age_pages(worker.page, days=9)
    served.stop()
    assert keep(worker.page, path)["kept"] == 1
    assert path in kept_addresses(worker.page)


def test_a_page_that_does_not_come_is_counted_out_when_all_others_are_there(
    worker: Visit, served: Served
) -> None:
    others = [path.replace("fill", "framing") for path in panels_listed(worker.page)[:5]]
    served.breaks_at = NEVER_KEPT.partition("?")[0]
    assert keep(worker.page, NEVER_KEPT, *others) == {"kind": "kept", "kept": 5, "wanted": 6, "isDone": True}


def test_a_page_says_how_many_are_kept(worker: Visit) -> None:
    first, second = panels_listed(worker.page)[:2]
    spanish = [path.replace("=en", "=es") for path in (first, second)]
    keep(worker.page, first, second, *spanish)
    expect(worker.page.locator(".kept-pages")).to_have_text("2 of 2 pages are on this tablet.")


# A newer build


def test_a_newer_build_is_taken_when_nothing_hinders(worker: Visit, served: Served) -> None:
    keep(worker.page, *panels_listed(worker.page))
    kept = set(kept_addresses(worker.page))
    served.become("two")
    look_for_newer(worker.page)
    until(worker.page, IS_BUILD, "two")
    until(worker.page, ARE_ONLY_CACHES_OF_ONE_BUILD)
    assert kept <= set(kept_addresses(worker.page))
    served.stop()
    for path in (LIST, *panels_listed(worker.page)[:2]):
        worker.page.goto(worker.address + path)
        assert worker.page.evaluate(IS_BUILD, "two"), path


def test_a_newer_build_reloads_the_page_once(worker: Visit, served: Served) -> None:
    loads: list[str] = []
    worker.page.on("load", lambda page: loads.append(page.url))
    served.become("two")
    look_for_newer(worker.page)
    until(worker.page, IS_BUILD, "two")
    # Twice as long as it takes a page to look whether it should reload once more.
    worker.page.wait_for_timeout(4000)
    worker.page.wait_for_load_state("load")
    assert len(loads) == 1


def test_a_newer_build_waits_for_the_outbox(worker: Visit, served: Served) -> None:
    put_entry(worker.page, "waiting")
    served.become("two")
    look_for_newer(worker.page)
    expect_newer(worker.page)
    expect(worker.page.get_by_role("button", name="Take it now")).to_be_disabled()
    for state in ("holding", "waiting", "refused"):
        put_entry(worker.page, state)
        worker.page.wait_for_timeout(3000)
        assert worker.page.evaluate(IS_BUILD, "one"), state
    put_entry(worker.page, "kept")
    until(worker.page, IS_BUILD, "two")
    assert entries(worker.page) == [{"uuid": "a", "sequence": 1, "state": "kept"}]


def test_a_newer_build_waits_for_a_half_filled_field(worker: Visit, served: Served) -> None:
    open_and_keep(worker, panels_listed(worker.page)[0])
    field = worker.page.locator("main input:visible, main textarea:visible").first
    field.fill("60")
    served.become("two")
    look_for_newer(worker.page)
    expect_newer(worker.page)
    expect(worker.page.get_by_role("button", name="Take it now")).to_be_disabled()
    worker.page.wait_for_timeout(7000)
    expect(field).to_have_value("60")
    assert worker.page.evaluate(IS_BUILD, "one")
    field.fill("")
    until(worker.page, IS_BUILD, "two")


def test_a_newer_build_waits_for_a_field_half_filled_in_another_tab(worker: Visit, served: Served) -> None:
    other = worker.page.context.new_page()
    other.goto(worker.address + panels_listed(worker.page)[0])
    until(other, "() => navigator.serviceWorker.controller !== null")
    field = other.locator("main input:visible, main textarea:visible").first
    field.fill("60")
    served.become("two")
    look_for_newer(worker.page)
    expect_newer(worker.page)
    expect(worker.page.get_by_role("button", name="Take it now")).to_be_disabled()
    worker.page.wait_for_timeout(7000)
    assert worker.page.evaluate(IS_BUILD, "one")
    expect(field).to_have_value("60")
    field.fill("")
    until(worker.page, IS_BUILD, "two")
    until(other, IS_BUILD, "two")


def test_nobody_is_pulled_out_of_a_page_just_touched_but_may_take_the_newer_build(
    worker: Visit, served: Served
) -> None:
    worker.page.evaluate(TOUCH)
    served.become("two")
    look_for_newer(worker.page)
    key = worker.page.get_by_role("button", name="Take it now")
    expect(key).to_be_enabled()
    # The page looks every two seconds whether the newer build may be taken.
    worker.page.wait_for_timeout(5000)
    assert worker.page.evaluate(IS_BUILD, "one")
    expect(key).to_be_enabled()
    # Touched all the while, the page would stay as it is: whoever asks for the newer build does not wait.
    key.click()
    until(worker.page, IS_BUILD, "two")


def test_a_page_that_was_open_before_the_worker_came_is_not_left_behind_when_another_takes_the_newer_build(
    visit: NewVisit, served: Served
) -> None:
    early = visit()
    early.sign_in("wren")
    open_and_keep(early, LIST)
    other = early.page.context.new_page()
    other.goto(early.address + LIST)
    until(other, "() => navigator.serviceWorker.controller !== null")
    early.page.evaluate(TOUCH)
    served.become("two")
    look_for_newer(other)
    until(other, IS_BUILD, "two")
    assert early.page.evaluate(IS_BUILD, "one")
    early.page.evaluate(LET_GO)
    until(early.page, IS_BUILD, "two")


def test_a_tablet_without_a_network_keeps_its_build_whole_and_loses_nothing_when_another_comes(
    worker: Visit, served: Served
) -> None:
    panels = panels_listed(worker.page)[:3]
    keep(worker.page, *panels)
    put_entry(worker.page, "waiting")
    served.stop()
    for path in (LIST, *panels):
        worker.page.goto(worker.address + path)
        assert worker.page.evaluate(IS_BUILD, "one"), path
    served.start("two")
    look_for_newer(worker.page)
    expect_newer(worker.page)
    # A page comes whole from the newer build, or whole from the one kept.
    for path in (LIST, *panels):
        worker.page.goto(worker.address + path)
        assert worker.page.evaluate(IS_BUILD, "two"), path
    served.stop()
    for path in (LIST, *panels):
        worker.page.goto(worker.address + path)
        assert worker.page.evaluate(IS_BUILD, "one"), path
    assert entries(worker.page) == [{"uuid": "a", "sequence": 1, "state": "waiting"}]
    served.start("two")
    put_entry(worker.page, "kept")
    until(worker.page, IS_BUILD, "two")
    assert entries(worker.page) == [{"uuid": "a", "sequence": 1, "state": "kept"}]


def test_files_of_the_build_on_the_tablet_come_from_it_when_the_server_has_them_no_more(
    worker: Visit, served: Served
) -> None:
    put_entry(worker.page, "waiting")
    script = worker.page.evaluate("document.querySelector('script[src*=offline]').getAttribute('src')")
    served.become("two")
    served.asked.clear()
    assert worker.page.evaluate("async (path) => (await fetch(path)).text()", script).endswith(
        'window.scriptOfBuild = "one";\n'
    )
    assert script not in served.asked


def test_a_newer_build_does_not_come_while_nobody_is_signed_in_to_fetch_its_pages(
    worker: Visit, served: Served
) -> None:
    end_sign_ins(served.database)
    served.become("two")
    worker.page.goto(worker.address + "/sign-in")
    served.asked.clear()
    look_for_newer(worker.page)
    until(worker.page, f"async () => ({REGISTRATION}).installing === null")
    assert served.asked.count("/offline?language=en") == 1
    assert worker.page.evaluate(f"async () => ({REGISTRATION}).waiting === null")
    served.stop()
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)
    assert worker.page.evaluate(IS_BUILD, "one")


def test_switched_off_tablets_forget_the_pages_and_keep_the_entries(worker: Visit, served: Served) -> None:
    put_entry(worker.page, "waiting")
    served.offline = False
    served.become("two")
    worker.page.goto(worker.address + LIST)
    until(worker.page, "async () => (await caches.keys()).length === 0")
    until(worker.page, "async () => (await navigator.serviceWorker.getRegistrations()).length === 0")
    assert entries(worker.page) == [{"uuid": "a", "sequence": 1, "state": "waiting"}]
    worker.page.goto(worker.address + LIST)
    expect_list(worker.page)


# The home screen


def test_the_browser_finds_nothing_that_hinders_installing(worker: Visit) -> None:
    session = worker.page.context.new_cdp_session(worker.page)
    manifest = session.send("Page.getAppManifest")
    assert manifest["errors"] == []
    assert manifest["url"] == worker.address + "/manifest.webmanifest"
    found = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
    # A window that forgets everything afterwards, as tests use, cannot install.
    assert [error["errorId"] for error in found if error["errorId"] != "in-incognito"] == []


def test_a_key_installs_where_the_browser_offers_it(worker: Visit) -> None:
    key = worker.page.get_by_role("button", name="Install on this tablet")
    expect(key).to_be_hidden()
    worker.page.evaluate(
        """() => {
          const offer = new Event("beforeinstallprompt", { cancelable: true });
          offer.prompt = () => (window.wasAsked = true);
          window.wasHeldBack = !dispatchEvent(offer);
        }"""
    )
    key.click()
    assert worker.page.evaluate("[window.wasHeldBack, window.wasAsked]") == [True, True]


def test_an_ipad_is_told_how_to_install(visit: NewVisit) -> None:
    worker = visit()
    worker.page.add_init_script("Object.defineProperty(navigator, 'standalone', { value: false })")
    worker.sign_in("wren")
    worker.page.goto(worker.address + LIST)
    expect(worker.page.get_by_text("Add to Home Screen")).to_be_visible()


def test_over_plain_http_the_page_says_why_nothing_opens_offline(browser: Browser, served: Served) -> None:
    insecure = browser.browser_type.launch(
        executable_path=chromium(), args=[*FLAGS, "--host-resolver-rules=MAP log.test 127.0.0.1"]
    )
    visit = Visit(insecure.new_page(), f"http://log.test:{served.port}")
    visit.sign_in("wren")
    visit.page.wait_for_url("**/station**")
    visit.page.goto(visit.address + LIST)
    expect(visit.page.locator(".update-bar")).to_contain_text("Open the log by its https address.")
    insecure.close()
