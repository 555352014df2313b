"""The board's page, and what its script asks for."""

from datetime import timedelta
from html import unescape

import pytest
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.release import Load
from qc_app.records.shop import SignIn
from qc_app.web.request import now
from qc_app.work.hold import place_hold
from qc_app.work.nonconformity import open_by_person
from tests.conftest import Cast
from tests.web.conftest import SignedIn
from tests.work.conftest import member


def hold(database: Database, shop: Cast, reason: str) -> None:
    with database.write() as session:
        panel = session.get_one(Panel, shop.panel)
        place_hold(session, shop.person(session, "lead"), panel, reason, now())


def test_the_board_says_what_is_held_and_why(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    hold(sqlite_database, shop, "Wrong face <up>.")
    page = signed_in("lead").get("/board")
    assert "Held · 1" in page
    assert "“Wrong face &lt;up&gt;.”" in page
    assert f'href="/panel/{shop.panel}">H1 R-01</a>' in page
    assert "1 panel is held. 0 nonconformities are open. 0 signals today." in page


def test_the_next_truck_names_each_panel_it_lacks(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    assert "No load is planned." in signed_in("lead").get("/board")
    with sqlite_database.write() as session:
        load = Load(building_id=shop.building, number=3)
        session.add(load)
        session.flush()
        session.get_one(Panel, shop.panel).load_id = load.id
    page = unescape(signed_in("lead").get("/board"))
    assert "Load 3 of H1" in page
    assert "1 of 1 panels may not leave yet:" in page
    assert "waits at Framing" in page


def test_a_small_chart_has_its_sentence_and_a_shape_for_its_last_point(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    moment = now()
    with sqlite_database.write() as session:
        member(1, 0, moment).record(session, shop, moment)
    page = unescape(signed_in("lead").get("/board"))
    assert "1 point today, no limits are frozen yet; the last at" in page
    assert '<circle class="within last"' in page
    with sqlite_database.write() as session:
        member(2, 8, moment).record(session, shop, moment)
    page = unescape(signed_in("lead").get("/board"))
    assert '<path class="outside last"' in page
    assert 'off="' not in page
    assert '+1/8" from target.' in page


def test_a_board_that_has_not_changed_is_not_sent_again(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    client = signed_in("lead").client
    first = client.get("/board/parts")
    assert first.status_code == 200
    again = client.get("/board/parts", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    assert again.headers["X-As-Of"]
    hold(sqlite_database, shop, "Wrong face up.")
    changed = client.get("/board/parts", headers={"If-None-Match": first.headers["ETag"]})
    assert changed.status_code == 200
    assert "Wrong face up." in changed.text


def test_only_the_part_that_changed_has_another_version(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    client = signed_in("lead").client

    def versions() -> dict[str, str]:
        lines = client.get("/board/parts").text.split('<section class="board-part ')[1:]
        return {
            line.split('id="')[1].split('"')[0]: line.split('data-version="')[1].split('"')[0]
            for line in lines
        }

    before = versions()
    assert len(before) == 6
    with sqlite_database.write() as session:
        moment = now()
        member(1, 0, moment).record(session, shop, moment)
    after = versions()
    assert {part for part in before if before[part] != after[part]} == {"part-charts"}


def test_the_page_carries_the_version_that_its_script_asks_with(signed_in: SignedIn) -> None:
    lead = signed_in("lead")
    version = lead.get("/board").split('data-version="')[1].split('"')[0]
    answer = lead.client.get("/board/parts", headers={"If-None-Match": f'"{version}"'})
    assert answer.status_code == 304


def test_a_board_in_spanish_is_another_board(signed_in: SignedIn) -> None:
    client = signed_in("lead").client
    english = client.get("/board/parts").headers["ETag"]
    assert client.get("/board/parts?language=es", headers={"If-None-Match": english}).status_code == 200


def test_asking_for_the_board_does_not_put_off_the_end_of_a_sign_in(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    client = signed_in("lead").client
    with sqlite_database.write() as session:
        (sign_in,) = session.query(SignIn).filter_by(person_id=shop.lead)
        sign_in.seen_at = long_ago = now() - timedelta(hours=2)
    for address, is_put_off in (("/board/parts", False), ("/board", True)):
        assert client.get(address).status_code == 200
        with sqlite_database.read() as session:
            (sign_in,) = session.query(SignIn).filter_by(person_id=shop.lead)
            assert (sign_in.seen_at > long_ago) == is_put_off


@pytest.mark.parametrize("who", ["worker"])
def test_a_worker_has_no_board(signed_in: SignedIn, who: str) -> None:
    signed_in(who).get("/board", 403)
    signed_in(who).get("/board/parts", 403)


def test_the_lead_is_not_told_to_ask_the_lead(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    with sqlite_database.write() as session:
        panel, worker = session.get_one(Panel, shop.panel), shop.person(session, "worker")
        open_by_person(session, worker, panel, "Sheathing torn.", "", (), now())
        number = session.scalars(select(Nonconformity.id)).one()
    for path in ("/board", f"/panel/{shop.panel}", f"/panel/{shop.panel}/release"):
        page = signed_in("lead").get(path)
        assert "“Sheathing torn.” Decide what is done." in page, path
        assert "shop lead," not in page, path
    assert "Decide what is done" in signed_in("lead").get(f"/nonconformity/{number}")
    assert "Ask the shop lead, who decides" in signed_in("worker").get(f"/panel/{shop.panel}")
