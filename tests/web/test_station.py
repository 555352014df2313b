"""What the station's pages ask for, and what they tell the tablet so that it can judge by itself."""

import json
import re
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import select

from qc_app.measure.length import parse_length
from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.shop import Instrument
from qc_app.work.hold import place_hold
from qc_app.work.nonconformity import decide
from tests.conftest import NOW, Cast, panel_of
from tests.web.conftest import Browser, SignedIn
from tests.work.conftest import check

FAILED = replace(check("framing_check", "framing", "no"), of="floor_panel")


@pytest.fixture
def worker(signed_in: SignedIn) -> Browser:
    return signed_in("worker")


@pytest.fixture
def framing(worker: Browser, shop: Cast) -> str:
    """The roof panel's page at the framing station."""
    return worker.get(f"/station/framing/panel/{shop.panel}")


def block(page: str, name: str) -> Any:
    """A block of facts in a page."""
    found = re.search(rf'<script type="application/json" id="{name}">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def test_a_worker_starts_at_the_choice_of_station(worker: Browser) -> None:
    assert worker.client.get("/").location == "/station"
    assert "Which station is this?" in worker.get("/station")


def test_a_browser_remembers_its_station(worker: Browser) -> None:
    assert worker.post("/station/fill", page="/station") == "/station/fill"
    assert worker.client.get("/station").location == "/station/fill"
    assert "Which station is this?" in worker.get("/station?change")


def test_panels_wait_at_the_first_station_of_their_route(worker: Browser) -> None:
    page = worker.get("/station/framing")
    assert re.findall(r"<strong>([^<]+)</strong>\s*<span>", page) == ["R-01", "F-01", "LOT-1"]
    assert "2 panels wait here" in page


def test_panels_that_come_next_are_listed_with_where_they_are_now(worker: Browser) -> None:
    page = worker.get("/station/fill")
    assert "Nothing waits here now." in page
    assert "Coming here next" in page
    assert "now at Framing" in page
    # The floor panel's route has no fill.
    assert re.findall(r"<strong>([^<]+)</strong>\s*<span>", page) == ["R-01"]


def test_the_tablet_is_told_which_pages_to_keep_in_both_languages(worker: Browser, shop: Cast) -> None:
    kept = block(worker.get("/station/sheathing_fence"), "pages-to-keep")
    assert kept[:5] == [
        "/station/sheathing_fence?language=en",
        "/outbox?language=en",
        "/instrument/check?language=en",
        "/material?language=en",
        f"/station/sheathing_fence/panel/{shop.panel}?language=en",
    ]
    assert f"/station/sheathing_fence/panel/{shop.floor_panel}?language=es" in kept


def test_a_check_accepted_as_it_is_is_told_so_until_it_is_read_again(
    worker: Browser, shop: Cast, sqlite_database: Database
) -> None:
    def newest() -> list[tuple[str, bool]]:
        facts = block(worker.get(f"/station/framing/panel/{shop.floor_panel}"), "facts")
        told = [asked["reading"] for step in facts["steps"] for asked in step]
        return [(reading["verdict"], reading["isAccepted"]) for reading in told if reading]

    again = replace(FAILED, at=NOW + timedelta(minutes=40), uuid=UUID(int=7))
    with sqlite_database.write() as session:
        FAILED.record(session, shop)
    assert newest() == [("outside", False)]
    with sqlite_database.write() as session:
        one, manager = session.scalars(select(Nonconformity)).one(), shop.person(session, "manager")
        at = NOW + timedelta(minutes=30)
        decide(session, manager, one, "accept", "The gap is covered.", one.version, at, "Ada Fern")
    assert newest() == [("outside", True)]
    with sqlite_database.write() as session:
        again.record(session, shop, again.at)
    assert newest() == [("outside", False)]


def test_a_label_is_looked_up_among_all_panels_in_hand(worker: Browser, shop: Cast) -> None:
    labels = block(worker.get("/station/fill"), "labels")
    assert [(label["building"], label["mark"], label["waitingAt"]) for label in labels] == [
        ("H1", "R-01", "framing"),
        ("H1", "F-01", "framing"),
    ]
    assert labels[0]["address"] == f"/station/fill/panel/{shop.panel}"
    assert labels[0]["stationName"] == "Framing"


def test_pages_are_the_same_for_whoever_stands_there(signed_in: SignedIn, shop: Cast) -> None:
    for path in ("/station/fill", f"/station/fill/panel/{shop.panel}", "/lot", "/outbox"):
        pages = {signed_in(who).get(path) for who in ("worker", "lead", "manager")}
        assert len(pages) == 1, path
        assert "Wren Abbey" not in pages.pop()


def test_cautions_stand_on_the_pages_of_stations_where_work_can_hurt(worker: Browser, shop: Cast) -> None:
    assert "respirator, eye protection and extraction" in worker.get("/station/fill")
    assert "respirator, eye protection" in worker.get(f"/station/fill/panel/{shop.panel}")
    assert "never under a raised panel" in worker.get("/station/sheathing_fence")
    assert "This log approves no lift." in worker.get("/station/final")
    assert "Caution" not in worker.get("/station/air_seal")


def test_a_length_is_asked_for_with_its_target_and_limits(framing: str) -> None:
    assert "Position of site connector" in framing
    assert "4&#39; 0&#34;" in framing
    assert "3&#39; 11 7/8&#34; to 4&#39; 0 1/8&#34;" in framing


def test_measured_values_are_never_filled_in_beforehand(framing: str) -> None:
    inputs = re.findall(r"<input id=\"check-[^>]*>", framing)
    assert len(inputs) >= 2
    assert not [field for field in inputs if "value=" in field]


def test_the_tablet_gets_what_a_reading_is_judged_by(framing: str, shop: Cast) -> None:
    facts = block(framing, "facts")
    assert (facts["station"], facts["item"], facts["id"]) == ("framing", "panel", shop.panel)
    [first] = facts["steps"][0]
    assert (first["characteristic"], first["place"], first["method"]) == (
        "connector_position",
        "connector 1",
        "tape",
    )
    limits = [parse_length(text).nanometres for text in ("3' 11 7/8", "4'", "4' 0 1/8")]
    assert [int(first[end]) for end in ("lower", "target", "upper")] == limits
    assert first["rule"] == "simple_acceptance"
    assert int(facts["uncertainties"]["tape"]) == parse_length("1/64").nanometres


def test_the_tablet_gets_each_instruments_own_uncertainty_and_bore(
    framing: str, sqlite_database: Database
) -> None:
    with sqlite_database.read() as session:
        cutter = session.scalars(select(Instrument).where(Instrument.kind == "core_cutter")).one()
        listed = {i["id"]: i for i in block(framing, "facts")["instruments"]}
        assert int(listed[cutter.id]["bore"]) == parse_length("2 1/2").nanometres
        assert listed[cutter.id]["uncertainty"] is None


def test_six_readings_are_one_step(worker: Browser, shop: Cast) -> None:
    facts = block(worker.get(f"/station/sheathing_fence/panel/{shop.panel}"), "facts")
    first = facts["steps"][0]
    assert [line for asked in first for line in asked["lines"]] == ["AB", "DC", "DA", "CB", "AC", "BD"]
    assert len(facts["steps"]) == 2


def test_every_bay_leads_to_its_fill_and_the_bay_to_be_cored_is_marked(worker: Browser, shop: Cast) -> None:
    page = worker.get(f"/station/fill/panel/{shop.panel}")
    assert page.count('class="bay-key"') == 12
    assert page.count('class="core"') == 1
    steps = block(page, "facts")["steps"]
    assert [asked["bay"] for [asked] in steps if asked["method"] == "fill"] == list(range(1, 13))


def test_bays_are_drawn_to_scale(worker: Browser, shop: Cast, sqlite_database: Database) -> None:
    with sqlite_database.write() as session:
        panel = session.get_one(Panel, shop.panel)
        for bay in panel.bays[:6]:
            bay.width //= 2
    page = worker.get(f"/station/fill/panel/{shop.panel}")
    map_ = page.split('class="bay-map"')[1]
    widths = [float(width) for width in re.findall(r'<rect x="[\d.]+" y="30" width="([\d.]+)"', map_)]
    assert widths[6] / widths[0] == pytest.approx(2, rel=1e-6)


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/station/sheathing_fence/panel/999999", "There is no such panel in this plant."),
        ("/station/roof/panel/{panel}", "There is no station “roof”"),
        ("/station/framing/lot/999999", "There is no such lot in this plant."),
    ],
)
def test_an_address_that_names_nothing_says_so(worker: Browser, shop: Cast, address: str, said: str) -> None:
    answer = worker.client.get(address.format(panel=shop.panel))
    assert answer.status_code == 404
    assert said in answer.get_data(as_text=True)


def test_nothing_is_posted_to_a_station_page(worker: Browser, shop: Cast) -> None:
    assert worker.client.post(f"/station/framing/panel/{shop.panel}").status_code == 405


def test_a_held_panel_is_marked_in_the_list_and_on_its_page_and_can_be_measured(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast
) -> None:
    worker = signed_in("worker")
    assert "On hold" not in worker.get("/station/framing")
    with sqlite_database.write() as session:
        place_hold(session, shop.person(session, "lead"), panel_of(session, shop), "Dent.", NOW)
    page = worker.get("/station/framing")
    assert page.count("On hold; measuring goes on") == 1
    assert [label["held"] for label in block(page, "labels")] == [True, False]
    page = worker.get(f"/station/framing/panel/{shop.panel}")
    assert "On hold by Otto Lind: “Dent.” The shop lead lifts it." in page
    assert 'class="entry"' in page
