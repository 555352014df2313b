"""Answers made small for a slow shop network.

Only what holds no secret is compressed: static files, and the station's pages, which are the same for all. A
secret beside text that somebody else chose could be guessed from the size (the BREACH attack, 2013).
"""

import gzip
import re
from functools import lru_cache

import brotli
from flask import Flask, Response, request

from qc_app.web.headers import PAGE_TO_KEEP

SMALLEST = 1000
"""Bytes; less is not worth it."""

TEXT = ("text/", "application/json", "image/svg+xml", "application/javascript")

ENCODINGS = ("br", "gzip")
"""Those we speak, the smaller first. Browsers take ``br`` only over TLS, or from their own machine."""


def install(app: Flask) -> None:
    """Compresses answers for browsers that take it."""
    app.after_request(_compress)


def _compress(response: Response) -> Response:
    if not _is_public(response) or not (response.mimetype or "").startswith(TEXT):
        return response
    response.vary.add("Accept-Encoding")
    encoding = next((spoken for spoken in ENCODINGS if request.accept_encodings[spoken] > 0), None)
    if encoding is None or "Content-Encoding" in response.headers:
        return response
    response.direct_passthrough = False
    content = response.get_data()
    if len(content) < SMALLEST:
        return response
    if request.endpoint == "static":
        response.set_data(_smallest(content, encoding, is_own_script=_is_own_script()))
    else:
        response.set_data(_small(content, encoding))
    response.headers["Content-Encoding"] = encoding
    return response


def _is_public(response: Response) -> bool:
    return response.status_code == 200 and (request.endpoint == "static" or PAGE_TO_KEEP in response.headers)


def _is_own_script() -> bool:
    return request.path.endswith(".js") and "/vendor/" not in request.path


def _small(content: bytes, encoding: str) -> bytes:
    return brotli.compress(content, quality=5) if encoding == "br" else gzip.compress(content, 6, mtime=0)


@lru_cache(maxsize=400)
def _smallest(content: bytes, encoding: str, *, is_own_script: bool) -> bytes:
    """The smallest form of a static file, worked out once; the comments of our own scripts stay here."""
    code = _NOT_CODE.sub(b"", content) if is_own_script else content
    return brotli.compress(code) if encoding == "br" else gzip.compress(code, 9, mtime=0)


_NOT_CODE = re.compile(
    rb"^[ \t]*//[^\n]*\n"  # a line of comment
    rb"|^[ \t]*/\*(?:[^*]|\*(?!/))*\*/[ \t]*\n"  # a block of it
    rb"|/\*\* @(?:[^*]|\*(?!/))*\*/ ?"  # a type within a line
    rb"|^[ \t]*\n|^[ \t]+",  # an empty line, and what code is set in by
    re.MULTILINE,
)
