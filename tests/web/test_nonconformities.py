"""The pages of nonconformities and holds."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.hold import Hold
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.photo_store import name_of
from qc_app.records.release import Load
from qc_app.work.nonconformity import decide
from tests.conftest import NOW, Cast
from tests.web.conftest import SignedIn
from tests.work.conftest import Said

LATER = NOW + timedelta(hours=1)
JPEG = bytes.fromhex("ffd8ffc0000b080001000101011100ffd9")

Opened = Callable[[], int]


@pytest.fixture
def opened(sqlite_database: Database, shop: Cast) -> int:
    """The number of a nonconformity that a reading opened."""
    with sqlite_database.write() as session:
        Said(entries={"length": "24' 1"}).record(session, shop)
        return session.scalars(select(Nonconformity.id)).one()


def stored(database: Database) -> Nonconformity:
    with database.read() as session:
        one = session.scalars(select(Nonconformity).order_by(Nonconformity.id.desc())).first()
        assert one is not None
        assert one.dispositions is not None
        assert one.photos is not None
        return one


def test_the_list_says_what_is_open_how_long_and_what_waits_for_it(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast, opened: int
) -> None:
    with sqlite_database.write() as session:
        load = Load(building_id=shop.building, number=3, leaves_on=NOW.date())
        session.add(load)
        session.flush()
        session.get_one(Panel, shop.panel).load_id = load.id
    page = signed_in("worker").get("/nonconformity")
    assert "1 is open." in page
    assert f'href="/nonconformity/{opened}"' in page
    assert "Length of edge, AB: 24&#39; 1&#34;, +1&#34; from target, outside its limits." in page
    assert re.search(r"\d+ days", page)
    assert "Load 3<small>leaves on 2 Mar 2026</small>" in page
    assert "Framing" in page


def test_nothing_open_is_said(signed_in: SignedIn) -> None:
    assert "No nonconformity is open." in signed_in("lead").get("/nonconformity")


def test_one_shows_its_readings_and_what_may_be_decided(signed_in: SignedIn, opened: int) -> None:
    page = signed_in("lead").get(f"/nonconformity/{opened}")
    assert "Nonconformity 1, R-01" in page
    assert "Wren Abbey" in page
    assert 'value="rework"' in page
    assert 'value="accept"' not in page
    assert 'value="accept"' in signed_in("manager").get(f"/nonconformity/{opened}")
    assert "Write the decision down" not in signed_in("worker").get(f"/nonconformity/{opened}")


def test_the_lead_decides_and_the_page_says_so(
    signed_in: SignedIn, sqlite_database: Database, opened: int
) -> None:
    lead, path = signed_in("lead"), f"/nonconformity/{opened}"
    data = {"version": "1", "kind": "rework", "reason": "Plane it."}
    assert lead.post(f"{path}/decide", data, page=path) == path
    assert [d.kind for d in stored(sqlite_database).dispositions] == ["rework"]
    page = lead.get(path)
    assert "“Plane it.”" in page
    assert "Otto Lind decided: rework. Do it, then measure again." in page


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"kind": "rework", "reason": "  "}, "Say why in a few words; nothing was entered."),
        ({"reason": "Plane it."}, "Choose what is done."),
        ({"kind": "accept", "reason": "Fits."}, "Not a valid choice"),
    ],
)
def test_a_decision_that_says_too_little_stays_on_the_page(
    signed_in: SignedIn, sqlite_database: Database, opened: int, data: dict[str, str], said: str
) -> None:
    path = f"/nonconformity/{opened}"
    page = signed_in("lead").post(f"{path}/decide", {"version": "1", **data}, page=path, status=400)
    assert said in page
    assert data["reason"] in page
    assert stored(sqlite_database).dispositions == []


def test_who_decides_second_sees_both_and_may_decide_again(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast, opened: int
) -> None:
    manager, path = signed_in("manager"), f"/nonconformity/{opened}"
    manager.get(path)
    with sqlite_database.write() as session:
        one, lead = session.get_one(Nonconformity, opened), shop.person(session, "lead")
        decide(session, lead, one, "rework", "Plane it.", 1, LATER)
    data = {"version": "1", "kind": "accept", "reason": "Covered by trim.", "agreed_by": "Ada Fern"}
    page = manager.post(f"{path}/decide", data, page=path, status=400)
    assert "Otto Lind has decided meanwhile: rework, because “Plane it.”. You chose: accept as it is." in page
    assert "Covered by trim." in page
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version is not None
    assert manager.post(f"{path}/decide", data | {"version": version[1]}, page=path) == path
    assert stored(sqlite_database).closed_how == "accept"


def test_scrapping_leads_to_the_panel_made_again(signed_in: SignedIn, opened: int, shop: Cast) -> None:
    manager, path = signed_in("manager"), f"/nonconformity/{opened}"
    manager.post(f"{path}/decide", {"version": "1", "kind": "scrap", "reason": "Short."}, page=path)
    assert "R-01-2" in manager.get(path)
    page = manager.get(f"/panel/{shop.panel}")
    assert "Made again as" in page
    assert "Put it on hold" not in page
    building = manager.get(f"/building/{shop.building}")
    assert "0 of 2 panels proven." in building
    assert re.search(r"R-01</a>.*?</svg>\s+scrapped</td>", building, re.DOTALL)


def test_cause_and_links_are_written_down(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast, opened: int
) -> None:
    lead, path = signed_in("lead"), f"/nonconformity/{opened}"
    data = {"version": "1", "cause": "Fence slipped.", "correction": "Pinned."}
    assert lead.post(f"{path}/explain", data, page=path) == path
    assert (stored(sqlite_database).cause, stored(sqlite_database).correction) == (
        "Fence slipped.",
        "Pinned.",
    )
    lead.post(
        f"/panel/{shop.panel}/nonconformity", {"what": "Torn."}, page=f"/panel/{shop.panel}/nonconformity"
    )
    assert "There is no nonconformity 9" in lead.post(f"{path}/link", {"other": "9"}, page=path, status=400)
    assert lead.post(f"{path}/link", {"other": "2"}, page=path) == path
    assert "Torn." in lead.get(path)


def test_a_worker_reports_one_with_places_and_a_photo(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast
) -> None:
    worker, path = signed_in("worker"), f"/panel/{shop.panel}/nonconformity"
    token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', worker.get(path))
    assert token is not None
    name = name_of(JPEG)
    sent = worker.client.put(
        f"/photo/{name}?person={shop.worker}", data=JPEG, headers={"X-CSRFToken": token[1]}
    )
    assert sent.status_code == 200, sent.get_data(as_text=True)
    data = {"what": "Sheathing torn.", "places": "250,500; 810,120", "photos": name}
    address = worker.post(path, data)
    one = stored(sqlite_database)
    assert (one.what, one.places) == ("Sheathing torn.", "250,500; 810,120")
    assert [photo.sha256 for photo in one.photos] == [name]
    page = worker.get(address)
    assert "The panel with 2 places marked." in page
    assert f'src="/photo/{name}"' in page


def test_what_a_person_reported_is_closed_by_looking_again(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast
) -> None:
    lead = signed_in("lead")
    path = lead.post(f"/panel/{shop.panel}/nonconformity", {"what": "Torn."})
    assert "It is put right" not in lead.get(path)
    lead.post(f"{path}/decide", {"version": "1", "kind": "repair", "reason": "Patch it."}, page=path)
    assert "Say why" in lead.post(f"{path}/confirm", {"version": "2", "found": " "}, page=path, status=400)
    assert lead.post(f"{path}/confirm", {"version": "2", "found": "Sound."}, page=path) == path
    assert stored(sqlite_database).closed_how == "repair"
    assert "closed: repair" in lead.get(path)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"what": " "}, "Say why in a few words"),
        ({"what": "Torn.", "photos": "ab" * 32}, "A photo has not come"),
        ({"what": "Torn.", "places": "9"}, "two numbers from 0 to 1000"),
    ],
)
def test_a_report_that_cannot_be_taken_stays_on_the_page(
    signed_in: SignedIn, shop: Cast, data: dict[str, str], said: str
) -> None:
    path = f"/panel/{shop.panel}/nonconformity"
    assert said in signed_in("worker").post(path, data, status=400)


def test_a_panel_is_put_on_hold_and_let_go_on_its_page(
    signed_in: SignedIn, sqlite_database: Database, shop: Cast
) -> None:
    worker, lead, path = signed_in("worker"), signed_in("lead"), f"/panel/{shop.panel}"
    assert "Say why" in worker.post(f"{path}/hold", {"reason": " "}, page=path, status=400)
    assert worker.post(f"{path}/hold", {"reason": "Dent."}, page=path) == path
    page = worker.get(path)
    assert "On hold by Wren Abbey: “Dent.” The shop lead lifts it." in page
    assert "Lift this hold" not in page
    with sqlite_database.read() as session:
        hold = session.scalars(select(Hold.id)).one()
    assert "Say why" in lead.post(f"{path}/hold/{hold}/lift", {"reason": ""}, page=path, status=400)
    assert lead.post(f"{path}/hold/{hold}/lift", {"reason": "Paint only."}, page=path) == path
    assert "Nothing holds it." in lead.get(path)


def test_pages_of_another_plant_are_not_found(signed_in: SignedIn, shop: Cast, opened: int) -> None:
    stranger = signed_in("stranger")
    stranger.get(f"/nonconformity/{opened}", status=404)
    stranger.get(f"/panel/{shop.panel}/nonconformity", status=404)
    assert "No nonconformity is open." in stranger.get("/nonconformity")


@pytest.mark.parametrize("act", ["decide", "explain", "confirm", "link"])
def test_a_worker_decides_nothing(signed_in: SignedIn, opened: int, act: str) -> None:
    signed_in("worker").post(f"/nonconformity/{opened}/{act}", {}, page=f"/panel/{1}", status=403)
