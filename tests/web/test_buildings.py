"""The page of a building: what counts as proven is where each panel stands, not where it waits."""

import re

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.web.request import now
from qc_app.work.hold import place_hold
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
