"""Answers without secrets are sent compressed."""

import gzip

import brotli
from flask import Flask, url_for
from werkzeug.wrappers import Response

from tests.conftest import Cast
from tests.web.conftest import SignedIn

ASKED = {"Accept-Encoding": "gzip"}


def static(app: Flask, name: str) -> str:
    with app.test_request_context():
        return url_for("static", filename=name)


def fetched(app: Flask, name: str, headers: dict[str, str]) -> Response:
    with app.test_client().get(static(app, name), headers=headers) as answer:
        _ = answer.data
    return answer


def test_a_sheet_arrives_whole_and_small(app: Flask, shop: Cast) -> None:
    plain, small = (fetched(app, "log.css", headers) for headers in ({}, ASKED))
    assert small.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in small.headers["Vary"]
    assert gzip.decompress(small.data) == plain.data
    assert len(small.data) < len(plain.data) / 2
    assert int(small.headers["Content-Length"]) == len(small.data)


def test_a_script_leaves_its_comments_behind_and_nothing_else(app: Flask, shop: Cast) -> None:
    plain, small = (fetched(app, "measure/length.js", headers).data for headers in ({}, ASKED))
    script = gzip.decompress(small).decode()
    assert "@param" in plain.decode()
    assert "@param" not in script
    code = [
        line.strip() for line in plain.decode().splitlines() if line.strip().startswith("export function")
    ]
    assert len(code) > 2
    assert all(line in script for line in code)


def test_a_browser_that_takes_brotli_gets_the_smaller_form(app: Flask, shop: Cast) -> None:
    plain, zipped = (fetched(app, "log.css", headers).data for headers in ({}, ASKED))
    smaller = fetched(app, "log.css", {"Accept-Encoding": "gzip, deflate, br, zstd"})
    assert smaller.headers["Content-Encoding"] == "br"
    assert brotli.decompress(smaller.data) == plain
    assert len(smaller.data) < len(zipped)


def test_a_script_of_somebody_else_keeps_its_comments(app: Flask, shop: Cast) -> None:
    plain, small = (fetched(app, "vendor/jsqr.js", headers).data for headers in ({}, ASKED))
    assert gzip.decompress(small) == plain


def test_a_stations_page_is_compressed_and_a_page_with_a_token_is_not(
    signed_in: SignedIn, shop: Cast
) -> None:
    worker = signed_in("worker").client
    page = worker.get("/station/framing", headers=ASKED)
    assert b"R-01" in gzip.decompress(page.data)
    with_token = signed_in("manager").client.get("/person", headers=ASKED)
    assert "Content-Encoding" not in with_token.headers
    assert b"csrf_token" in with_token.data


def test_a_picture_is_sent_as_it_is(app: Flask, shop: Cast) -> None:
    assert "Content-Encoding" not in fetched(app, "icon-192.png", ASKED).headers
