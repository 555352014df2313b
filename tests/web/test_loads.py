"""The pages on which panels and loads are released, and where anybody asks whether a release stands."""

import hashlib

import pytest
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.release import Load, PacketCopy, Release
from qc_app.web.request import now
from qc_app.work.hold import place_hold
from qc_app.work.nonconformity import open_by_person
from tests.conftest import Cast
from tests.web.conftest import SignedIn
from tests.work.proven import prove


@pytest.fixture
def proven(sqlite_database: Database, shop: Cast) -> Cast:
    """The shop with its floor panel proven."""
    with sqlite_database.write() as session:
        prove(session, shop, session.get_one(Panel, shop.floor_panel))
    return shop


def released(database: Database) -> Release:
    with database.read() as session:
        return session.scalars(select(Release)).one()


def test_the_page_says_what_is_missing_and_offers_no_button(shop: Cast, signed_in: SignedIn) -> None:
    page = signed_in("lead").get(f"/panel/{shop.floor_panel}/release")
    assert "It cannot leave yet." in page
    assert "has no reading. Measure it at" in page
    assert "Release F-01" not in page


def test_pressing_the_button_on_a_page_left_open_does_not_release_what_is_held_since(
    proven: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    lead, address = signed_in("lead"), f"/panel/{proven.floor_panel}/release"
    assert "Release F-01" in lead.get(address)
    with sqlite_database.write() as session:
        panel = session.get_one(Panel, proven.floor_panel)
        place_hold(session, proven.person(session, "worker"), panel, "Split sill.", now())
    assert "Split sill." in lead.post(address, status=400)
    with sqlite_database.read() as session:
        assert session.scalars(select(Release)).all() == []


def test_a_lead_releases_and_withdraws_with_a_reason(
    proven: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    lead, address = signed_in("lead"), f"/panel/{proven.floor_panel}/release"
    assert lead.post(address) == address
    made = released(sqlite_database)
    page = lead.get(address)
    assert "Released by Otto Lind on" in page
    assert f"/verify/{made.sha256}" in page
    withdrawing = f"{address}/{made.id}/withdraw"
    refused = lead.post(withdrawing, {"reason": "  "}, page=address, status=400)
    assert "nothing was entered" in refused
    assert 'aria-invalid="true"' in refused
    assert lead.post(withdrawing, {"reason": "Screws missing."}, page=address) == address
    page = lead.get(address)
    assert "Withdrawn by Otto Lind on" in page
    assert "“Screws missing.”" in page
    assert "Release F-01" in page
    assert "withdrew the release of F-01 in building H1" in lead.get("/notices")


def test_a_worker_sees_the_state_but_no_button(proven: Cast, signed_in: SignedIn) -> None:
    worker, address = signed_in("worker"), f"/panel/{proven.floor_panel}/release"
    page = worker.get(address)
    assert "Every check is proven" in page
    assert "<button" not in page.partition('<main id="main">')[2].partition("</main>")[0]


def test_a_load_is_planned_filled_released_and_loaded(
    proven: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    lead, address = signed_in("lead"), f"/building/{proven.building}/loads"
    assert "No panel waits for its release." not in lead.get(address)
    assert lead.post(address, {"leaves_on": "2026-03-09", "panels": [proven.floor_panel]}) == address
    page = lead.get(address)
    assert "leaves on 9 Mar 2026" in page
    assert "All is proven. Release it." in page
    with sqlite_database.read() as session:
        load = session.scalars(select(Load)).one()
    refused = lead.post(f"/load/{load.id}/release", page=address, status=400)
    assert "Load 1 cannot leave: not released, or held since, are F-01." in refused
    lead.post(f"/load/{load.id}/panel", {"panel": proven.panel}, page=address)
    page = lead.get(address)
    assert page.index("Take F-01 off") < page.index("Take R-01 off")
    lead.post(f"/panel/{proven.panel}/load/off", page=address)
    lead.post(f"/panel/{proven.floor_panel}/release")
    lead.post(f"/load/{load.id}/release", page=address)
    assert "Released by Otto Lind on" in lead.get(address)
    lead.post(f"/panel/{proven.floor_panel}/loaded", page=address)
    again = lead.post(f"/panel/{proven.floor_panel}/loaded", page=address, status=400)
    assert "F-01 is loaded already." in again


def test_the_loads_page_shows_the_usual_cautions(shop: Cast, signed_in: SignedIn) -> None:
    page = signed_in("lead").get(f"/building/{shop.building}/loads")
    assert "qualified rigger, the licensed engineer, the carrier and the local code decide" in page
    assert "Nobody under a panel" in page


def test_a_panel_of_another_plant_is_not_there(shop: Cast, signed_in: SignedIn) -> None:
    stranger = signed_in("stranger")
    for address in (f"/panel/{shop.panel}/release", f"/building/{shop.building}/loads"):
        assert "in this plant" in stranger.get(address, 404)


def test_whoever_takes_a_packet_is_written_down_with_its_hash(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    answer = signed_in("manager").client.get(f"/building/{shop.building}/packet.pdf")
    assert answer.status_code == 200
    with sqlite_database.read() as session:
        copy = session.scalars(select(PacketCopy)).one()
        assert (copy.person_id, copy.building_id) == (shop.manager, shop.building)
        assert copy.sha256 == hashlib.sha256(answer.data).hexdigest()


def test_a_release_that_was_overtaken_says_so_first_and_leads_to_what_is_wrong(
    proven: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    address = f"/panel/{proven.floor_panel}/release"
    signed_in("lead").post(address)
    with sqlite_database.write() as session:
        panel, worker = session.get_one(Panel, proven.floor_panel), proven.person(session, "worker")
        open_by_person(session, worker, panel, "Sheathing torn.", "", (), now())
        session.flush()
        number = session.scalars(select(Nonconformity.id)).one()
    page = signed_in("lead").get(address)
    assert "Held since it was released: it must not be raised." in page
    assert page.index("Held since it was released") < page.index("Released by Otto Lind")
    assert f'href="/nonconformity/{number}">To nonconformity 1</a>' in page


def test_the_release_tells_what_happened_to_the_panel_without_every_reading(
    proven: Cast, signed_in: SignedIn
) -> None:
    lead, address = signed_in("lead"), f"/panel/{proven.floor_panel}/release"
    lead.post(address)
    told = lead.get(address).partition("What happened to it")[2]
    assert "F-01 was released; the SHA-256 of its record is" in told
    assert "was read as" not in told
