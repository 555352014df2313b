"""Signing in and out."""

import pytest
from flask import Flask

from qc_app.records.database import Database
from qc_app.records.shop import Person
from tests.conftest import PASSWORD, Cast
from tests.web.conftest import Browser, SignedIn


@pytest.fixture
def browser(app: Flask, shop: Cast) -> Browser:
    return Browser(app.test_client())


def test_name_in_any_case_and_password_open_the_log(browser: Browser) -> None:
    assert browser.post("/sign-in", {"sign_in_name": "Wren", "password": PASSWORD}) == "/"
    assert "Wren Abbey" in browser.get("/station")


@pytest.mark.parametrize("name", ["wren", "nobody"])
def test_a_wrong_password_and_a_wrong_name_get_the_same_answer(browser: Browser, name: str) -> None:
    page = browser.post("/sign-in", {"sign_in_name": name, "password": "wrong wrong"}, status=200)
    assert "Name and password do not match." in page
    assert "wrong wrong" not in page


def test_after_five_wrong_attempts_one_has_to_wait(browser: Browser) -> None:
    for _ in range(5):
        browser.post("/sign-in", {"sign_in_name": "wren", "password": "wrong wrong"}, status=200)
    page = browser.post("/sign-in", {"sign_in_name": "wren", "password": PASSWORD}, status=200)
    assert "Too many wrong attempts. Wait" in page


@pytest.mark.parametrize("path", ["/station", "/station/framing", "/tablet/hello"])
def test_an_answer_on_its_way_while_one_signs_in_does_not_bring_the_cookie_from_before_back(
    browser: Browser, path: str
) -> None:
    browser.post("/sign-in", {"sign_in_name": "wren", "password": PASSWORD})
    browser.get("/tablet/hello")
    assert "Set-Cookie" not in browser.client.get(path).headers


def test_signing_out_makes_the_cookie_worthless(app: Flask, shop: Cast, signed_in: SignedIn) -> None:
    browser = signed_in("worker")
    with browser.client.session_transaction() as cookie:
        token = cookie["token"]
    browser.post("/sign-out", page="/station")
    with browser.client.session_transaction() as cookie:
        cookie["token"] = token
    assert browser.client.get("/station").location.startswith("/sign-in")


def test_somebody_made_inactive_is_signed_out_at_once(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    browser = signed_in("worker")
    with sqlite_database.write() as session:
        session.get_one(Person, shop.worker).active = False
    assert browser.client.get("/station").location.startswith("/sign-in")


def test_one_comes_back_to_the_page_that_asked(browser: Browser) -> None:
    address = browser.client.get("/chart").location
    assert browser.post(address, {"sign_in_name": "otto", "password": PASSWORD}) == "/chart"


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org/", "/\\example.org"])
def test_signing_in_never_leads_to_another_site(browser: Browser, elsewhere: str) -> None:
    credentials = {"sign_in_name": "otto", "password": PASSWORD}
    assert browser.post(f"/sign-in?next={elsewhere}", credentials) == "/"
