"""What is answered in the clear: everything to this machine itself, and to others only how to trust it."""

from __future__ import annotations

from collections.abc import Iterable
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from qc_app.serve.addresses import HERE

OPEN_TO_OTHERS = frozenset({"/trust", "/trust/authority.crt"})
WHY_SECURE = "/trust/why"

STATIC = "/static/"
FILES_OF_THESE_PAGES = frozenset({"log.css", "mark.svg", "icon-192.png"})


class Gate:
    """Stands before pages served without TLS, where anybody on the network could read along.

    Other machines get the trust page and what belongs to it. Whatever else they ask for becomes the page that
    says why, and neither their cookie nor what they sent gets any further.
    """

    def __init__(self, pages: WSGIApplication) -> None:
        self.pages = pages

    def __call__(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        if environ.get("REMOTE_ADDR") not in HERE:
            environ = _reduced(environ)
        return self.pages(environ, start_response)


def _reduced(environ: WSGIEnvironment) -> WSGIEnvironment:
    reads_only = environ["REQUEST_METHOD"] in ("GET", "HEAD")
    is_open = reads_only and _is_open(environ["PATH_INFO"])
    return {
        **{name: value for name, value in environ.items() if name != "HTTP_COOKIE"},
        "REQUEST_METHOD": environ["REQUEST_METHOD"] if reads_only else "GET",
        "PATH_INFO": environ["PATH_INFO"] if is_open else WHY_SECURE,
        "QUERY_STRING": "",
    }


def _is_open(path: str) -> bool:
    if path.startswith(STATIC):
        return path.rpartition("/")[2] in FILES_OF_THESE_PAGES
    return path in OPEN_TO_OTHERS
