"""A new log on an empty database."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from qc_app.records.database import Database
from qc_app.web import create_app
from tests.web.conftest import Browser

ANSWERS: dict[str, object] = {
    "plant_name": "Birch Row Panels",
    "units": "imperial 16",
    "time_zone": "America/Chicago",
    "manager_name": "Ada Stern",
    "sign_in_name": "Ada",
    "password": "four dry studs",
}


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    database = Database(str(tmp_path / "new.db"))
    database.migrate()
    yield Browser(create_app(database).test_client())
    database.close()


def test_every_page_of_an_empty_log_leads_to_setup(browser: Browser) -> None:
    for address in ("/", "/station", "/chart", "/sign-in"):
        assert browser.client.get(address).location == "/setup"


def test_setting_up_signs_the_quality_manager_in_with_the_default_plan(browser: Browser) -> None:
    assert browser.post("/setup", ANSWERS) == "/file"
    page = browser.get("/station")
    for station in ("Framing", "Sheathing fence", "Services", "Fill", "Air seal", "Final"):
        assert station in page
    assert "Import a panel schedule" in browser.get("/file")


def test_a_log_is_set_up_only_once(browser: Browser) -> None:
    browser.post("/setup", ANSWERS)
    assert browser.client.get("/setup").location == "/"


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("plant_name", "", "Enter the plant"),
        ("sign_in_name", "a b!", "A sign-in name has"),
        ("password", "short", "A password needs 10 to 128 characters."),
    ],
)
def test_an_answer_that_cannot_be_taken_is_named_and_nothing_is_made(
    browser: Browser, field: str, value: str, said: str
) -> None:
    page = browser.post("/setup", {**ANSWERS, field: value}, status=200)
    assert said in page
    assert "Ada Stern" in page
    assert browser.client.get("/").location == "/setup"


def test_the_new_shop_works_without_a_demo(browser: Browser) -> None:
    browser.post("/setup", ANSWERS)
    browser.post("/instrument", {"kind": "core_cutter", "name": "Cutter", "bore": "2 1/2"})
    assert "2 1/2&#34;" in browser.get("/instrument")
    worker = {"name": "Bo Reed", "sign_in_name": "bo", "role": "worker", "password": "four dry studs"}
    browser.post("/person", worker)
    browser.post("/sign-out", page="/person")
    credentials = {"sign_in_name": "BO", "password": "four dry studs"}
    assert browser.post("/sign-in", credentials) == "/"
    assert browser.client.get("/").location == "/station"


def test_a_core_cutter_needs_its_bore(browser: Browser) -> None:
    browser.post("/setup", ANSWERS)
    page = browser.post("/instrument", {"kind": "core_cutter", "name": "Cutter", "bore": ""}, status=200)
    assert "A core cutter needs its inside diameter" in page
    assert re.search(r'value="Cutter"', page)
