"""What the server gives a tablet so that pages open without a network."""

import json
import re
import shutil
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from qc_app import web
from qc_app.records.database import Database
from qc_app.web import create_app
from qc_app.web.build import build
from tests.conftest import Cast
from tests.web.conftest import SignedIn


@pytest.fixture
def anybody(app: Flask, shop: Cast) -> FlaskClient:
    """A browser in which nobody signed in."""
    return app.test_client()


def listed_files(script: str) -> list[str]:
    line = re.search(r"^const FILES = (.*);$", script, re.MULTILINE)
    assert line is not None
    files: list[str] = json.loads(line[1])
    return files


def test_anybody_may_fetch_the_worker_and_is_asked_to_look_for_a_newer_one(anybody: FlaskClient) -> None:
    answer = anybody.get("/sw.js")
    assert answer.status_code == 200
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert "worker-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "Set-Cookie" not in answer.headers


def test_the_worker_names_its_build_first(app: Flask, anybody: FlaskClient) -> None:
    assert anybody.get("/sw.js").text.startswith(f'const BUILD = "{build(app)}";\n')


def test_every_file_that_the_worker_keeps_is_there_for_anybody(anybody: FlaskClient) -> None:
    files = listed_files(anybody.get("/sw.js").text)
    for address in files:
        with anybody.get(address) as answer:
            assert answer.status_code == 200, address
    assert len(files) == len(set(files))


def test_the_worker_keeps_what_station_pages_load_and_no_charts(app: Flask, anybody: FlaskClient) -> None:
    names = "\n".join(listed_files(anybody.get("/sw.js").text))
    for name in ("log.css", "tablet/offline.js", "tablet/store.js", "measure/length.js", "icon-192.png"):
        assert f"/{name}" in names
    own = Path(app.static_folder or "").glob("[tm]*/**/*.js")
    assert [script.name for script in own if f"/{script.name}" not in names] == []
    assert "plotly" not in names
    assert "/sw" not in names


def test_switched_off_the_worker_takes_itself_away(app: Flask, anybody: FlaskClient) -> None:
    app.config["OFFLINE"] = False
    script = anybody.get("/sw.js").text
    assert "registration.unregister()" in script
    assert "FILES" not in script


def test_the_page_for_no_network_names_nobody(signed_in: SignedIn, anybody: FlaskClient) -> None:
    page = anybody.get("/offline?language=en").text
    assert "This page is not on this tablet yet" in page
    assert "Panels here" in page
    assert "Outbox" in page
    assert "Plumb" not in page


def test_station_pages_are_marked_with_their_build(app: Flask, shop: Cast, signed_in: SignedIn) -> None:
    worker = signed_in("worker").client
    for address in ("/station/fill", f"/station/fill/panel/{shop.panel}", "/station?change"):
        assert worker.get(address).headers["X-Quality-Log"] == build(app), address


def test_no_other_page_is_marked(shop: Cast, signed_in: SignedIn, anybody: FlaskClient) -> None:
    lead = signed_in("lead").client
    for address in ("/building", f"/panel/{shop.panel}", f"/lot/{shop.lot}", "/chart", "/station/nowhere"):
        assert "X-Quality-Log" not in lead.get(address).headers, address
    for address in ("/sign-in", "/station/fill", "/offline", "/sw.js"):
        assert "X-Quality-Log" not in anybody.get(address).headers, address


def test_another_style_sheet_makes_another_build(
    app: Flask, sqlite_database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert build(create_app(sqlite_database)) == build(app)
    for folder in (app.static_folder, app.template_folder):
        assert folder is not None
        shutil.copytree(folder, tmp_path / Path(folder).name)
    (tmp_path / "static" / "log.css").write_text("")
    monkeypatch.setattr(web, "_folder_of", tmp_path.joinpath)
    assert build(create_app(sqlite_database)) != build(app)


def test_switched_off_pages_have_no_manifest(app: Flask, anybody: FlaskClient) -> None:
    assert 'rel="manifest"' in anybody.get("/sign-in").text
    app.config["OFFLINE"] = False
    assert 'rel="manifest"' not in anybody.get("/sign-in").text


def test_the_manifest_starts_at_the_station_with_icons_of_the_sizes_it_says(anybody: FlaskClient) -> None:
    answer = anybody.get("/manifest.webmanifest")
    assert answer.mimetype == "application/manifest+json"
    facts = json.loads(answer.text)
    assert facts["start_url"] == "/station"
    enrolling = json.loads(anybody.get("/manifest.webmanifest?code=a-B_1").text)
    assert enrolling["start_url"] == "/tablet/enrol?code=a-B_1"
    hostile = json.loads(anybody.get("/manifest.webmanifest?code=//evil.example").text)
    assert hostile["start_url"] == "/station"
    assert facts["display"] == "standalone"
    for icon in facts["icons"]:
        with anybody.get(icon["src"]) as image:
            assert icon["sizes"] == "{}x{}".format(*side_of(image.data))
    assert {icon["purpose"] for icon in facts["icons"]} == {"any", "maskable"}


def side_of(png: bytes) -> tuple[int, int]:
    """Width and height in the first chunk (W3C, PNG third edition, 11.2.1)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")


def test_the_colours_of_the_home_screen_are_those_of_the_pages(app: Flask, anybody: FlaskClient) -> None:
    style = (Path(app.static_folder or "") / "log.css").read_text()
    paper = re.search(r"--paper: (#\w+)", style)
    assert paper is not None
    assert json.loads(anybody.get("/manifest.webmanifest").text)["background_color"] == paper[1]
    assert f'<meta name="theme-color" content="{paper[1]}">' in anybody.get("/offline").text
