"""The pages of lots: from a lot to its panels, from a panel to its lots, and labels that scan."""

from urllib.parse import unquote
from uuid import uuid4

from qc_app.plan.quantity import GRAINS
from qc_app.records.database import Database
from qc_app.work import find
from qc_app.work.materials import receive, use
from tests.conftest import NOW, Cast
from tests.web.conftest import SignedIn
from tests.web.test_labels import printed


def stock(database: Database, shop: Cast, mark: str = "ST-1", moisture: int = 16) -> None:
    """Studs that came in and went into the cast's roof panel."""
    with database.write() as session:
        worker = shop.person(session, "worker")
        receive(session, worker, mark, "studs", "Alder Mill", moisture * GRAINS, "", NOW)
        session.flush()
        panel, station = find.panel(session, worker, shop.panel), find.station(session, worker, "framing")
        use(session, worker, uuid4(), mark, panel, station, NOW, NOW)


def test_a_lot_leads_to_its_panels_and_a_panel_to_its_lots(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    stock(sqlite_database, shop)
    worker = signed_in("worker")
    lot = worker.get("/l/st-1")
    for told in ("studs", "Alder Mill", "16.0 %", "H1 · R-01", "Framing", "Wren Abbey"):
        assert told in lot
    assert f'href="/panel/{shop.panel}"' in lot
    panel = worker.get(f"/panel/{shop.panel}")
    assert "Lots used" in panel
    assert 'href="/l/ST-1"' in panel
    assert "Lots used" not in worker.get(f"/panel/{shop.floor_panel}")


def test_wet_studs_are_flagged(sqlite_database: Database, shop: Cast, signed_in: SignedIn) -> None:
    stock(sqlite_database, shop, moisture=22)
    worker = signed_in("worker")
    assert "too wet:" in worker.get("/lots")
    assert "above 18.0 %" in worker.get("/l/ST-1")
    assert "Lot ST-1 went into R-01 although it came in at 22.0 %" in signed_in("lead").get("/notices")


def test_dry_studs_are_not(sqlite_database: Database, shop: Cast, signed_in: SignedIn) -> None:
    stock(sqlite_database, shop, moisture=18)
    worker = signed_in("worker")
    assert "too wet:" not in worker.get("/lots")
    assert "above" not in worker.get("/l/ST-1")


def test_members_have_a_page_by_their_mark_too(shop: Cast, signed_in: SignedIn) -> None:
    page = signed_in("worker").get("/l/LOT-1")
    assert "Lot of pre-cut members" in page
    assert f'href="/lot/{shop.lot}"' in page


def test_each_lot_has_a_label_that_reads_as_its_address(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    for mark in ("ST-1", "A/2 #7", "Ñ é"):
        stock(sqlite_database, shop, mark)
    worker = signed_in("worker")
    labels = printed(worker.get("/lots/labels"))
    assert len(labels) == 3
    for label in labels:
        assert label.read() == label.address
        worker.get(label.address.removeprefix("http://localhost"))
    assert {unquote(label.address).rpartition("/l/")[2] for label in labels} == {"ST-1", "A/2 #7", "Ñ é"}


def test_an_unknown_lot_is_a_problem_in_one_sentence(shop: Cast, signed_in: SignedIn) -> None:
    assert "There is no lot marked “ST-9”" in signed_in("worker").get("/l/ST-9", status=404)
    assert "There is no lot marked “LOT-1”" in signed_in("stranger").get("/l/LOT-1", status=404)


def test_the_station_page_knows_the_lots_used_there(
    sqlite_database: Database, shop: Cast, signed_in: SignedIn
) -> None:
    stock(sqlite_database, shop)
    worker = signed_in("worker")
    framing = worker.get(f"/station/framing/panel/{shop.panel}")
    assert "data-lot-key" in framing
    assert '"mark": "ST-1"' in framing
    assert '"mark": "ST-1"' not in worker.get(f"/station/fill/panel/{shop.panel}")
    assert "data-lot-key" not in worker.get(f"/station/framing/lot/{shop.lot}")


def test_the_pages_for_booking_in_and_checking_are_kept_on_the_tablet(
    shop: Cast, signed_in: SignedIn
) -> None:
    worker = signed_in("worker")
    page = worker.get("/station/fill")
    for address in ("/material?language=es", "/instrument/check?language=en"):
        assert address in page
    for address in ("/material", "/instrument/check"):
        assert "X-Quality-Log" in worker.client.get(address).headers
