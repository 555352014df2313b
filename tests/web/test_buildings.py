"""The page of a building: what counts as proven is where each panel stands, not where it waits."""

import re

from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.hold import Hold
from qc_app.web.request import now
from qc_app.work.hold import lift_hold, place_hold
from qc_app.work.release import release
from tests.conftest import Cast
from tests.web.conftest import Browser, SignedIn
from tests.work.proven import prove


def prove_floor(database: Database, shop: Cast) -> None:
    with database.write() as session:
        prove(session, shop, session.get_one(Panel, shop.floor_panel))


def hold_floor(database: Database, shop: Cast) -> None:
    with database.write() as session:
        panel = session.get_one(Panel, shop.floor_panel)
        place_hold(session, shop.person(session, "worker"), panel, "Dent.", now())


def state_of_floor(browser: Browser, shop: Cast) -> str:
    """What the row of the floor panel says in its last column."""
    row = browser.get(f"/building/{shop.building}").partition(">F-01</a>")[2].partition("</tr>")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", row.rpartition("<td>")[2]).split())


def test_a_panel_of_which_all_is_proven_counts(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    worker = signed_in("worker")
    assert "0 of 2 panels proven." in worker.get(f"/building/{shop.building}")
    assert state_of_floor(worker, shop) == "in work waits at Framing"
    prove_floor(sqlite_database, shop)
    assert "1 of 2 panels proven." in worker.get(f"/building/{shop.building}")
    assert state_of_floor(worker, shop) == "proven"


def test_a_panel_that_waits_nowhere_and_is_held_is_not_proven(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    prove_floor(sqlite_database, shop)
    hold_floor(sqlite_database, shop)
    assert "0 of 2 panels proven." in signed_in("worker").get(f"/building/{shop.building}")
    assert state_of_floor(signed_in("worker"), shop) == "held"


def test_a_panel_held_after_its_release_says_both_and_is_not_proven_any_more(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    prove_floor(sqlite_database, shop)
    with sqlite_database.write() as session:
        release(session, shop.person(session, "lead"), session.get_one(Panel, shop.floor_panel), now())
    assert state_of_floor(signed_in("worker"), shop) == "released"
    assert "1 of 2 panels proven." in signed_in("worker").get(f"/building/{shop.building}")
    hold_floor(sqlite_database, shop)
    assert state_of_floor(signed_in("worker"), shop) == "released held since"
    assert "0 of 2 panels proven." in signed_in("worker").get(f"/building/{shop.building}")


def test_the_history_tells_in_order_what_happened_to_which_panel_and_who_did_it(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    prove_floor(sqlite_database, shop)
    hold_floor(sqlite_database, shop)
    with sqlite_database.write() as session:
        lead, hold = shop.person(session, "lead"), session.scalars(select(Hold)).one()
        lift_hold(session, lead, hold, "Paint only.", now())
        release(session, lead, session.get_one(Panel, shop.floor_panel), now())
    page = signed_in("worker").get(f"/building/{shop.building}/history")
    rows = [" ".join(re.sub(r"<[^>]+>", " ", row).split()) for row in page.split("<tr>")[2:]]
    assert [
        row.partition(" F-01 ")[2].partition(";")[0].partition("English")[0].strip() for row in rows[-3:]
    ] == [
        "F-01 was put on hold: Dent. Wren Abbey",
        "A hold on F-01 was lifted: Paint only. Otto Lind",
        "F-01 was released",
    ]
    assert "was read as" not in page
    assert "in this plant" in signed_in("stranger").get(f"/building/{shop.building}/history", 404)


def test_the_customer_is_told_in_words_that_a_released_panel_is_held(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    prove_floor(sqlite_database, shop)
    with sqlite_database.write() as session:
        release(session, shop.person(session, "lead"), session.get_one(Panel, shop.floor_panel), now())
    assert "released</strong>" in signed_in("lead").get(f"/proof/{shop.building}")
    hold_floor(sqlite_database, shop)
    assert "released, held since</strong>" in signed_in("lead").get(f"/proof/{shop.building}")
