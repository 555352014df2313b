"""Anybody who holds a packet can ask whether a release stands."""

import pytest
from flask import Flask

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.web.request import now
from qc_app.work.release import by_hash, release, withdraw
from tests.conftest import NOW, Cast
from tests.web.conftest import SignedIn
from tests.work.proven import prove

NAMES = ("Otto", "Lind", "Wren", "Abbey", "Mira", "Quill")


@pytest.fixture
def sha256(sqlite_database: Database, shop: Cast) -> str:
    """The hash of a release of the floor panel."""
    with sqlite_database.write() as session:
        panel = session.get_one(Panel, shop.floor_panel)
        prove(session, shop, panel)
        made = release(session, shop.person(session, "lead"), panel, NOW)
        assert made.sha256 is not None
        return made.sha256


def asked(app: Flask, sha256: str) -> tuple[int, str]:
    """What somebody is told who is not signed in."""
    answer = app.test_client().get(f"/verify/{sha256}")
    return answer.status_code, answer.get_data(as_text=True)


def test_a_release_that_stands_is_called_valid(app: Flask, sha256: str) -> None:
    status, page = asked(app, sha256)
    assert status == 200
    assert "This release is valid." in page
    # 15:00 UTC is 10:00 in New York in winter.
    assert "02 Mar 2026, 10:00" in page
    assert "F-01" in page
    assert "H1" in page


def test_a_withdrawn_release_says_when_and_that_a_reason_is_recorded_but_not_which(
    app: Flask, sha256: str, sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        made = by_hash(session, sha256)
        assert made is not None
        withdraw(session, shop.person(session, "lead"), made, "Screws missing.", NOW)
    status, page = asked(app, sha256)
    assert status == 200
    assert "This release was withdrawn." in page
    assert "Withdrawn on" in page
    assert "Screws missing" not in page
    assert "This release is valid." not in page


def test_it_names_nobody(app: Flask, sha256: str) -> None:
    _, page = asked(app, sha256)
    assert not any(name in page for name in NAMES)


@pytest.mark.parametrize("given", ["0" * 64, "x", "F" * 64, "%3Cscript%3E"])
def test_what_the_log_does_not_know_is_called_unknown(app: Flask, sha256: str, given: str) -> None:
    status, page = asked(app, given)
    assert status == 404
    assert "This log knows no release with that SHA-256." in page
    assert "<script>" not in page


def test_whoever_has_the_packet_is_told_where_they_look_until_they_take_a_new_one(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database, sha256: str
) -> None:
    lead, address = signed_in("lead"), f"/proof/{shop.building}"
    told = "Since you took the packet, the release of F-01 was withdrawn on "
    assert lead.client.get(f"/building/{shop.building}/packet.pdf").status_code == 200
    assert told not in lead.get(address)
    with sqlite_database.write() as session:
        made = by_hash(session, sha256)
        assert made is not None
        withdraw(session, shop.person(session, "lead"), made, "Screws missing.", now())
    assert told in lead.get(address)
    assert told not in signed_in("manager").get(address)
    assert lead.client.get(f"/building/{shop.building}/packet.pdf").status_code == 200
    assert told not in lead.get(address)
