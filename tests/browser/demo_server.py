"""The demo served as in a shop, by a server that can stop, be slow, lose its answers, and come back."""

import time
from collections.abc import Iterable
from contextlib import ExitStack
from typing import Any

from cheroot.errors import FatalSSLAlert

from qc_app.records.database import Database
from qc_app.serve.listen import Listener, listening
from qc_app.web import create_app
from tests.ports import free_port


class DemoServer:
    """Serves a database on one port. ``posts`` counts the requests that brought entries."""

    def __init__(self, database: Database) -> None:
        self.pages = create_app(database)
        self.port = free_port()
        self.posts = 0
        self.seconds_to_think = 0.0
        self.is_losing_answers = False
        self._opened = ExitStack()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Listens, each time on the same port."""
        self._opened.enter_context(listening([Listener(self._answer, "127.0.0.1", self.port)]))

    def stop(self) -> None:
        self._opened.close()

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
