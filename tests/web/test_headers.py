"""Headers that every answer carries."""

import pytest
from flask import Flask

from qc_app.records.database import Database
from qc_app.web import create_app
from tests.conftest import Cast


@pytest.mark.parametrize("address", ["/sign-in", "/nowhere", "{static}/log.css"])
def test_the_policy_allows_nothing_inline_and_nothing_foreign(app: Flask, shop: Cast, address: str) -> None:
    with app.test_client().get(address.format(static=app.static_url_path)) as answer:
        headers = answer.headers
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_pages_are_not_kept_but_static_files_are_for_ever(app: Flask, shop: Cast) -> None:
    client = app.test_client()
    assert client.get("/sign-in").headers["Cache-Control"] == "no-store"
    with client.get(f"{app.static_url_path}/log.css") as answer:
        said = set(answer.headers["Cache-Control"].split(", "))
        assert said == {"public", "max-age=31536000", "immutable"}
    missing = client.get(f"{app.static_url_path}/nothing.css")
    assert (missing.status_code, "immutable" in missing.headers.get("Cache-Control", "")) == (404, False)
    assert client.get("/static/log.css").status_code == 404


def test_over_tls_the_cookie_is_bound_to_the_host(sqlite_database: Database, shop: Cast) -> None:
    client = create_app(sqlite_database, secure=True).test_client()
    answer = client.get("/sign-in", base_url="https://shop.local:8443")
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-qc=")
    assert all(part in cookie for part in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/"))
    assert "max-age=31536000" in answer.headers["Strict-Transport-Security"]


@pytest.mark.parametrize("address", ["https://localhost:8443", "https://log.localhost"])
def test_a_browser_is_not_told_to_leave_its_own_machine_alone_in_the_clear(
    sqlite_database: Database, shop: Cast, address: str
) -> None:
    """RFC 6797, 8.3: the header would hold for localhost on all ports, the one without TLS included."""
    answer = create_app(sqlite_database, secure=True).test_client().get("/sign-in", base_url=address)
    assert answer.status_code == 200
    assert "Strict-Transport-Security" not in answer.headers
