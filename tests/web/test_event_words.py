"""Each kind of event has a sentence in words."""

import re
from pathlib import Path

import pytest
from flask import Flask

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.web.event_words import WORDS, event_words
from qc_app.work import uploads
from qc_app.work.release import passage, release, withdraw
from tests.conftest import NOW, Cast
from tests.web.conftest import SignedIn
from tests.work.proven import prove

WORK = Path(__file__).parents[2] / "qc_app" / "work"
NAMED = re.compile(r'(?:append_event|_log)\(\s*[^"]*?"([A-Za-z][A-Za-z ]+ [a-z]+)"', re.ASCII)


def kinds() -> set[str]:
    """What events are called where they are written, in so far as it stands there as text."""
    return {what for file in WORK.rglob("*.py") for what in NAMED.findall(file.read_text("utf-8"))}


def test_every_kind_of_event_that_is_written_has_its_sentence() -> None:
    assert kinds() >= {"panel released", "nonconformity opened", "lot used", "building added"}
    assert kinds() - set(WORDS) == set()
    assert {f"{what} imported" for what in uploads.IMPORTABLE} <= set(WORDS)


@pytest.mark.parametrize("what", WORDS)
def test_a_sentence_can_be_said_of_an_older_event_that_lacks_facts(app: Flask, what: str) -> None:
    with app.test_request_context():
        assert "{" not in event_words(Event(what=what, facts={}))


def test_an_event_of_a_kind_unknown_here_is_shown_as_the_log_has_it(app: Flask) -> None:
    with app.test_request_context():
        assert event_words(Event(what="moon passed", facts={})) == "moon passed"


def test_what_somebody_wrote_is_no_place_for_facts(app: Flask) -> None:
    with app.test_request_context():
        event = Event(what="panel put on hold", facts={"mark": "F-01", "reason": "{mark} {0}"})
        assert event_words(event) == "F-01 was put on hold: {mark} {0}"


def test_the_page_of_a_panel_tells_its_history_in_words(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    with sqlite_database.write() as session:
        lead, panel = shop.person(session, "lead"), session.get_one(Panel, shop.floor_panel)
        prove(session, shop, panel)
        made = release(session, lead, panel, NOW)
        sha256 = made.sha256
        passage(session, lead, panel, "loaded", NOW, "Second from below.")
        withdraw(session, lead, made, "Screws missing.", NOW)
    page = signed_in("lead").get(f"/panel/{shop.floor_panel}")
    assert "F-01 was put on the schedule." in page
    assert f"F-01 was released; the SHA-256 of its record is {sha256}." in page
    assert "Length of edge, AB was read as “" in page
    assert "F-01 was loaded. Second from below." in page
    assert "The release of F-01 was withdrawn: Screws missing." in page
