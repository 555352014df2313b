"""A small stand-in for the server's half of the outbox, answering a tablet inside a real browser."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Request, Route

from qc_app.records.database import Database
from qc_app.serve.listen import Listener, listening
from qc_app.web import create_app
from tests.browser.conftest import Visit
from tests.conftest import PASSWORD, stage

Answer = dict[str, Any]
Misbehaviour = Callable[[Route], None]

WREN: Answer = {"id": 7, "name": "Wren Abbey", "language": "en"}
ABEL: Answer = {"id": 8, "name": "Abel Sorn", "language": "es"}
TABLET: Answer = {"id": 1, "name": "Fence 1", "station": "sheathing_fence", "key_size": 104}
PATIENT = "AbortSignal.timeout = () => new AbortController().signal;"
"""However busy the machine is, the answers of the stand-in do not come too late."""

CLOCK = "2026-03-02T15:00:00+00:00"
BEFORE = "2026-03-02T14:59:00Z"
NOW = "2026-03-02T15:00:00Z"


@contextmanager
def small_shop(folder: Path) -> Iterator[str]:
    """Where the pages of the small shop of the tests are served."""
    database = Database(str(folder / "qc.db"))
    database.migrate()
    stage(database)
    pages = create_app(database)
    # No page is kept on the tablet, so whatever is asked is asked once.
    pages.config["OFFLINE"] = False
    listener = Listener(pages, "127.0.0.1", 0)
    with listening([listener]):
        yield f"http://127.0.0.1:{listener.port}"
    database.close()


@dataclass
class ShopServer:
    """Stores entries by uuid, as the real one does; ``misbehave`` has it answered otherwise, once each."""

    rows: dict[str, Answer] = field(default_factory=dict)
    batches: list[Answer] = field(default_factory=list)
    photos: list[str] = field(default_factory=list)
    photo_refusal: str = ""
    requests: list[str] = field(default_factory=list)
    states: dict[str, Answer] = field(default_factory=dict)
    misbehaviours: list[Misbehaviour] = field(default_factory=list)
    lost: list[int] = field(default_factory=list)
    pins: dict[int, str] = field(default_factory=lambda: {7: "4096", 8: "2718"})
    tablet: Answer | None = field(default_factory=lambda: dict(TABLET))
    person: Answer | None = None
    clock: str = CLOCK

    def install(self, context: BrowserContext) -> None:
        """Answers every page of the context."""
        context.add_init_script(PATIENT)
        context.route("**/tablet/hello", self._hello)
        context.route("**/tablet/sign-in", self._sign_in)
        context.route("**/outbox", self._outbox)
        context.route("**/photo/*", self._photo)

    def misbehave(self, *how: Misbehaviour) -> None:
        """Answers the next posts of the outbox so, one each."""
        self.misbehaviours.extend(how)

    def sequences(self) -> list[int]:
        """Numbers of the stored entries, in the order they came."""
        return [row["sequence"] for row in self.rows.values()]

    def store(self, request: Request) -> Answer:
        """What the real one does with a batch."""
        batch: Answer = request.post_data_json or {}
        self.batches.append(batch)
        answers = [self._answer(entry) for entry in batch["entries"]]
        missing, self.lost = self.lost, []
        return {"log": "qc", "clock": self.clock, "answers": answers, "missing": missing}

    def _answer(self, entry: Answer) -> Answer:
        told = self.states.get(entry["content"].get("note", ""), {"state": "kept"})
        if told["state"] == "kept":
            self.rows.setdefault(entry["uuid"], entry)
        return {"uuid": entry["uuid"], "received_at": self.clock, "readings": [], "reasons": [], **told}

    def _hello(self, route: Route) -> None:
        self.requests.append("hello")
        say(
            route,
            {
                "log": "qc",
                "clock": self.clock,
                "csrf": "token of this visit",
                "build": "b1",
                "schema": 1,
                "tablet": self.tablet,
                "person": self.person,
                "people": [WREN, ABEL] if self.tablet else [],
                "waiting_notices": 0,
            },
        )

    def _outbox(self, route: Route) -> None:
        if route.request.method != "POST":
            route.fallback()
            return
        self.requests.append("outbox")
        assert route.request.headers["x-csrftoken"] == "token of this visit"
        if self.misbehaviours:
            self.misbehaviours.pop(0)(route)
        else:
            say(route, self.store(route.request))

    def _photo(self, route: Route) -> None:
        self.requests.append("photo")
        self.photos.append(route.request.url.rpartition("/")[2])
        if self.photo_refusal:
            say(route, {"log": "qc", "sentence": self.photo_refusal}, 422)
        else:
            say(route, {"log": "qc"})

    def _sign_in(self, route: Route) -> None:
        self.requests.append("sign-in")
        given = route.request.post_data_json or {}
        person = next(p for p in (WREN, ABEL) if p["id"] == given["person"])
        if self.pins[person["id"]] == given["pin"]:
            say(route, {"log": "qc", "person": person})
        else:
            say(route, {"log": "qc", "sentence": "This PIN is not right.", "seconds": 0}, 422)


def say(route: Route, body: Answer, status: int = 200) -> None:
    """Answers with JSON."""
    route.fulfill(status=status, content_type="application/json", body=json.dumps(body))


def with_status(status: int) -> Misbehaviour:
    """An error page of a server or of something before it."""
    return lambda route: route.fulfill(status=status, content_type="text/html", body="<h1>Error</h1>")


def foreign_page(route: Route) -> None:
    """What a network that wants its terms accepted answers to everything."""
    route.fulfill(status=200, content_type="text/html", body="<h1>Welcome. Accept the terms</h1>")


def nothing(route: Route) -> None:
    """A connection that breaks."""
    route.abort("connectionreset")


def sign_in(visit: Visit, name: str) -> None:
    """Signs one of the small shop's people in by password."""
    page = visit.page
    page.goto(visit.address + "/sign-in")
    page.get_by_label("Sign-in name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: not url.endswith("/sign-in"))


def open_outbox_page(visit: Visit, server: ShopServer) -> None:
    """Opens the page of the outbox with the stand-in behind it, at a time that stands still."""
    page = visit.page
    sign_in(visit, "wren")
    server.install(page.context)
    stop_clock(page)
    page.goto(visit.address + "/outbox")
    page.wait_for_selector("html[data-ready]")
    open_modules(page)
    # What the page sends by itself on opening is over before the test arranges how the server answers.
    page.evaluate("outbox.send()")


def stop_clock(page: Page) -> None:
    """From the next page on it is NOW, until the test lets time pass."""
    page.context.clock.install(time=BEFORE)
    page.context.clock.pause_at(NOW)


def open_modules(page: Page) -> None:
    """Gives the test the modules that the page itself uses, under their own names."""
    page.evaluate(
        """async () => {
          const script = document.querySelector('script[src*="tablet/"]').src;
          for (const name of ["outbox", "people", "store", "words"]) {
            window[name] = await import(script.replace(/[^/]*$/, `${name}.js`));
          }
        }"""
    )
