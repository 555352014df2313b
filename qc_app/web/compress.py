"""Answers made small for a slow shop network.

Only what holds no secret is compressed: static files, and the station's pages, which are the same for all. A
secret beside text that somebody else chose could be guessed from the size (the BREACH attack, 2013).
"""

import gzip
from functools import lru_cache

from flask import Flask, Response, request

from qc_app.web.headers import PAGE_TO_KEEP

SMALLEST = 1000
"""Bytes; less is not worth it."""

TEXT = ("text/", "application/json", "image/svg+xml", "application/javascript")


def install(app: Flask) -> None:
    """Compresses answers for browsers that take gzip."""
    app.after_request(_compress)


def _compress(response: Response) -> Response:
    if not _is_public(response) or not response.mimetype.startswith(TEXT):
        return response
    response.vary.add("Accept-Encoding")
    if request.accept_encodings["gzip"] <= 0 or "Content-Encoding" in response.headers:
        return response
    response.direct_passthrough = False
    content = response.get_data()
    if len(content) < SMALLEST:
        return response
    is_static = request.endpoint == "static"
    response.set_data(_kept(content) if is_static else gzip.compress(content, 6, mtime=0))
    response.headers["Content-Encoding"] = "gzip"
    return response


def _is_public(response: Response) -> bool:
    return response.status_code == 200 and (request.endpoint == "static" or PAGE_TO_KEEP in response.headers)


@lru_cache(maxsize=100)
def _kept(content: bytes) -> bytes:
    """The smallest form of a static file, worked out once."""
    return gzip.compress(content, 9, mtime=0)
