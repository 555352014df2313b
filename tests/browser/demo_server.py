"""The demo served as in a shop, by a server that can stop, be slow, lose its answers, and come back."""

import time
from collections.abc import Iterable
from contextlib import ExitStack
from typing import Any
from wsgiref.types import WSGIApplication

from cheroot.errors import FatalSSLAlert
from flask import Flask, Response, current_app, request

from qc_app.records.database import Database
from qc_app.serve.listen import Listener, listening
from qc_app.web import create_app
from tests.ports import free_port

OWN_PATIENCE = "const PATIENCE = 2.5 * SECOND;"
"""How long the tablet waits for a page before it shows the one it kept."""
LONG_PATIENCE = "const PATIENCE = 60 * SECOND;"
"""The same in tests, so that a slow machine does not look like a slow network."""


class DemoServer:
    """Serves a database on one port. ``posts`` counts the requests that brought entries."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.port = free_port()
        self.patience = LONG_PATIENCE
        self.posts = 0
        self.seconds_to_think = 0.0
        self.is_losing_answers = False
        self._opened = ExitStack()
        self.pages: WSGIApplication = self.ready(create_app(database))

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Listens, each time on the same port."""
        self._opened.enter_context(listening([Listener(self._answer, "127.0.0.1", self.port)]))

    def stop(self) -> None:
        """Answers what was asked already, and then nothing more."""
        self._opened.close()

    def ready(self, pages: Flask) -> WSGIApplication:
        """Prepares a program that is to be served here."""
        pages.after_request(self._with_patience)
        return pages

    def _with_patience(self, answer: Response) -> Response:
        if request.path == "/sw.js" and current_app.config["OFFLINE"]:
            script = answer.get_data(as_text=True)
            assert OWN_PATIENCE in script
            answer.set_data(script.replace(OWN_PATIENCE, self.patience))
        return answer

    def _answer(self, environ: dict[str, Any], start: Any) -> Iterable[bytes]:
        if (environ["REQUEST_METHOD"], environ["PATH_INFO"]) != ("POST", "/outbox"):
            return self.pages(environ, start)
        self.posts += 1
        time.sleep(self.seconds_to_think)
        answer = self.pages(environ, start)
        if self.is_losing_answers:
            # All is stored by now. The server closes the connection on this without a word.
            raise FatalSSLAlert
        return answer
