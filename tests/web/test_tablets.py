"""Inviting, enrolling and revoking tablets, PINs and notices, on the pages."""

import json
import re
from html import unescape
from typing import Any
from urllib.parse import urlsplit

import pytest
import zxingcpp
from flask import Flask
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.records.tablet import Notice, Tablet, TabletSignIn
from qc_app.web import create_app
from qc_app.web.quality.notices import WORDS
from qc_app.web.request import now
from qc_app.work.notices import GAP, raise_notice
from qc_app.work.state import MEASURE_AGAIN
from tests.conftest import PASSWORD, Cast
from tests.web.conftest import Browser, SignedIn
from tests.work.sent import Outbox, enrolled

NEW = {"name": "Tablet 2", "station": "fill", "key_size": "128"}


def address_on(page: str) -> str:
    """Where the code on an invitation leads, without the host."""
    found = re.search(r'class="address">([^<]+)<', page)
    assert found is not None
    parts = urlsplit(unescape(found[1]))
    return f"{parts.path}?{parts.query}"


@pytest.fixture
def invitation(signed_in: SignedIn) -> str:
    """Where a new tablet's code leads."""
    return address_on(signed_in("manager").post("/tablets", NEW, status=200))


def test_a_tablet_is_invited_and_enrols_once(
    app: Flask, signed_in: SignedIn, invitation: str, sqlite_database: Database
) -> None:
    tablet = Browser(app.test_client())
    page = tablet.get(invitation)
    assert "Nothing is sent while the screen is off." in page
    assert tablet.client.get_cookie("tablet") is None
    code = invitation.split("code=")[1]
    assert tablet.post("/tablet/enrol", {"code": code}, page=invitation) == "/station/fill"
    cookie = tablet.client.get_cookie("tablet")
    assert cookie is not None
    assert (cookie.http_only, cookie.same_site, cookie.path) == (True, "Lax", "/")
    assert cookie.max_age == 400 * 24 * 60 * 60
    hello = tablet.client.get("/tablet/hello").get_json()["tablet"]
    assert (hello["name"], hello["station"], hello["key_size"]) == ("Tablet 2", "fill", 128)
    assert "used already" in Browser(app.test_client()).get(invitation, status=410)
    # An icon put on the home screen before enrolling starts at this address for ever.
    assert tablet.client.get(invitation).location == "/station"
    with sqlite_database.read() as session:
        stored = session.scalars(select(Tablet)).one()
        assert cookie.value not in (stored.credential_hash, stored.code_hash)


def test_the_square_code_says_the_address_and_no_style(signed_in: SignedIn) -> None:
    page = signed_in("manager").post("/tablets", NEW, status=200)
    drawing = re.search(r"<svg.*?</svg>", page, re.DOTALL)
    assert drawing is not None
    assert "style=" not in drawing[0]
    assert read_code(drawing[0]).endswith(address_on(page))


def read_code(drawing: str) -> str:
    """What a reader sees in a drawn code (zxing, an independent reader)."""
    import numpy as np

    side = int((re.search(r'viewBox="0 0 (\d+)', drawing) or re.search(r'width="(\d+)"', drawing))[1])  # type: ignore[index]
    scale = int(scale[1]) if (scale := re.search(r"scale\((\d+)\)", drawing)) else 1
    picture = np.full((side, side), 255, dtype=np.uint8)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", re.search(r' d="([^"]+)"', drawing)[1]):  # type: ignore[index]
        values = [float(v) for v in re.findall(r"-?[\d.]+", numbers)]
        if command == "h":
            top = int((y - 0.5) * scale)
            picture[top : top + scale, int(x * scale) : int((x + values[0]) * scale)] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if command == "M" else (x + values[0], y + values[1])
    return str(zxingcpp.read_barcodes(picture)[0].text)


def test_over_tls_the_code_and_the_cookie_are_bound_to_that(sqlite_database: Database, shop: Cast) -> None:
    app = create_app(sqlite_database, secure=True)
    app.config["WTF_CSRF_ENABLED"] = False
    from qc_app.work import find, tablets

    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        station = find.station(session, manager, "fill")
        _, code = tablets.invite(session, manager, "Tablet 3", station, 104, now())
    client = app.test_client()
    answer = client.post("/tablet/enrol", data={"code": code}, base_url="https://shop.local")
    cookie = next(c for c in answer.headers.getlist("Set-Cookie") if "tablet" in c)
    assert cookie.startswith("__Host-tablet=")
    assert all(part in cookie for part in ("Secure", "HttpOnly", "SameSite=Lax", "Path=/"))
    assert "Domain" not in cookie


def test_a_code_older_than_a_quarter_of_an_hour_is_refused(
    app: Flask, invitation: str, sqlite_database: Database
) -> None:
    with sqlite_database.write() as session:
        session.scalars(select(Tablet)).one().code_expires_at = now()
    assert "older than 15 minutes" in Browser(app.test_client()).get(invitation, status=410)


def test_a_revoked_tablet_is_out(
    app: Flask, signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    tablet_id, credential = enrolled(sqlite_database, shop)
    client = app.test_client()
    client.set_cookie("tablet", credential)
    assert client.get("/tablet/hello").get_json()["tablet"]["id"] == tablet_id
    manager = signed_in("manager")
    manager.post(f"/tablets/{tablet_id}/revoke", page=f"/tablets/{tablet_id}")
    assert client.get("/tablet/hello").get_json()["tablet"] is None
    assert "revoked" in manager.get("/tablets")


def test_a_tablet_moves_to_another_station_and_gets_a_new_code(
    app: Flask, signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    tablet_id, credential = enrolled(sqlite_database, shop)
    manager, page = signed_in("manager"), f"/tablets/{tablet_id}"
    manager.post(page, {"name": "Tablet 2", "station": "fill"})
    client = app.test_client()
    client.set_cookie("tablet", credential)
    assert client.get("/tablet/hello").get_json()["tablet"]["station"] == "fill"
    again = address_on(manager.post(f"{page}/invite", page=page, status=200))
    fresh = Browser(app.test_client())
    fresh.post("/tablet/enrol", {"code": again.split("code=")[1]}, page=again)
    assert client.get("/tablet/hello").get_json()["tablet"] is None
    assert fresh.client.get("/tablet/hello").get_json()["tablet"]["id"] == tablet_id


def test_a_bad_name_is_said_at_its_field(signed_in: SignedIn) -> None:
    manager = signed_in("manager")
    assert "Enter the name" in manager.post("/tablets", NEW | {"name": ""}, status=200)
    manager.post("/tablets", NEW, status=200)
    assert "a tablet “Tablet 2” already" in manager.post("/tablets", NEW, status=200)


def test_another_plants_tablet_is_not_there(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    tablet_id, _ = enrolled(sqlite_database, shop)
    assert "in this plant" in signed_in("stranger").get(f"/tablets/{tablet_id}", 404)
    assert "in this plant" in signed_in("stranger").get(f"/person/{shop.worker}/pin", 404)


def test_everybody_sets_their_own_pin_and_the_manager_everybodys(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    signed_in("worker").post("/pin", {"pin": "4096"})
    signed_in("manager").post(f"/person/{shop.lead}/pin", {"pin": "80517"})
    with sqlite_database.read() as session:
        for somebody, pin in ((shop.worker, "4096"), (shop.lead, "80517")):
            kept = session.get_one(Person, somebody).pin_hash
            assert kept is not None
            assert kept.startswith("$argon2id$")
            assert pin not in kept
    assert "too easy to guess" in signed_in("worker").post("/pin", {"pin": "1234"}, status=200)
    assert "Change the PIN of Otto Lind" in signed_in("manager").get("/person")


def test_a_password_on_an_enrolled_tablet_is_proof_enough_there(
    app: Flask, shop: Cast, sqlite_database: Database
) -> None:
    tablet_id, credential = enrolled(sqlite_database, shop, who=())
    client = app.test_client()
    client.set_cookie("tablet", credential)
    Browser(client).post("/sign-in", {"sign_in_name": "otto", "password": PASSWORD})
    with sqlite_database.read() as session:
        seen = session.scalars(select(TabletSignIn)).one()
        assert (seen.tablet_id, seen.person_id) == (tablet_id, shop.lead)


def test_a_notice_is_told_in_a_sentence_and_closed_with_a_remark(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    tablet_id, _ = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        tablet, facts = session.get_one(Tablet, tablet_id), {"outbox": "x", "numbers": [4, 5]}
        raise_notice(session, tablet.plant_id, GAP, facts, now(), tablet=tablet)
    lead = signed_in("lead")
    page = lead.get("/notices")
    assert "From Tablet 2 these entries have not come, though later ones have: 4, 5." in page
    assert "Notices (1)" in page
    with sqlite_database.read() as session:
        number = session.scalars(select(Notice.id)).one()
    said = lead.post(f"/notices/{number}", {"remark": " "}, page="/notices", status=400)
    assert "Say what was done" in said
    lead.post(f"/notices/{number}", {"remark": "Sent by file."}, page="/notices")
    assert "Nothing is open." in lead.get("/notices")
    with sqlite_database.read() as session:
        closed = session.scalars(select(Notice)).one()
        assert (closed.remark, closed.closed_by_id) == ("Sent by file.", shop.lead)


@pytest.mark.parametrize("about", WORDS)
def test_every_kind_of_notice_is_told_in_sentences(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database, about: str
) -> None:
    facts: dict[str, dict[str, Any]] = {
        "clock": {"minutes": -180},
        "gap": {"numbers": [7]},
        "memory": {"received": 41, "written": 43},
        "after_release": {"mark": "R-01", "building": "H1", "released": "2026-03-02 10:00"},
        "instrument_overdue": {"instrument": "Tape 4", "since": "2026-02-28"},
        "instrument_doubted": {"instrument": "Tape 4", "since": "2026-03-01"},
        "instrument_failed": {"instrument": "Tape 4", "by": "+1/8", "panels": 3},
        "released_in_doubt": {"instrument": "Tape 4", "mark": "R-01", "building": "H1"},
        "release_withdrawn": {"mark": "R-01", "building": "H1", "who": "Otto Lind", "reason": "Sill split."},
        "packet_outdated": {
            "mark": "R-01",
            "building": "H1",
            "who": "Otto Lind",
            "reason": "Sill split.",
            "name": "Ada Stern",
            "person": 1,
        },
        "wet_lot": {"lot": "B-7", "mark": "R-01", "moisture": "21 %", "limit": "18 %"},
    }
    said = {
        "clock": "The clock of Tablet 2 is 180 minutes off.",
        "gap": "though later ones have: 7.",
        "memory": "The memory of Tablet 2 was emptied; entries after number 41 may be missing.",
        "after_release": "Readings of R-01 in building H1 came after its release on 2026-03-02 10:00.",
        "instrument_overdue": "taken with Tape 4, which should have been calibrated by 2026-02-28.",
        "instrument_doubted": "taken with Tape 4 although it failed its check on 2026-03-01.",
        "instrument_failed": "found wrong: +1/8. Panels measured with it since its last good check: 3.",
        "released_in_doubt": "R-01 in building H1 is released, but was measured with Tape 4, found wrong.",
        "release_withdrawn": "Otto Lind withdrew the release of R-01 in building H1: “Sill split.”",
        "packet_outdated": (
            "Ada Stern has a handover packet of building H1. The release of R-01 was withdrawn since: "
            "“Sill split.”"
        ),
        "wet_lot": "Lot B-7 went into R-01 although it came in at 21 %; the limit is 18 %.",
    }
    tablet_id, _ = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        tablet = session.get_one(Tablet, tablet_id)
        raise_notice(session, tablet.plant_id, about, facts[about], now(), tablet=tablet)
    assert said[about] in signed_in("lead").get("/notices")


def test_a_release_that_late_readings_flag_is_told_with_its_nonconformity(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    held = {
        "words": MEASURE_AGAIN,
        "facts": {"number": 4, "name": "Squareness", "who": "Otto", "said": "repair"},
    }
    facts = {"mark": "R-01", "building": "H1", "released": "2026-03-02 10:00", "held": [held]}
    with sqlite_database.write() as session:
        raise_notice(session, shop.person(session, "lead").plant_id, "after_release", facts, now())
    page = signed_in("manager").get("/notices")
    assert "R-01 in building H1 was released on 2026-03-02 10:00; readings that came since hold it:" in page
    assert "Nonconformity 4: Squareness. Otto decided: repair. Do it, then measure again." in page
    assert "Withdraw its release, then put it right." in page


def test_the_file_of_an_outbox_is_handed_in_by_a_lead(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    from io import BytesIO

    tablet_id, _ = enrolled(sqlite_database, shop, who=())
    outbox = Outbox(shop)
    file = {
        "log": "qc",
        "outbox": str(outbox.number),
        "tablet": tablet_id,
        "entries": [outbox.entry(at=now())],
        "written": 1,
        "exported_at": now().isoformat(),
        "photos": {},
    }
    lead = signed_in("lead")
    for _ in range(2):
        upload = (BytesIO(json.dumps(file).encode()), "outbox.json")
        page = lead.post("/outbox/file", {"file": upload}, status=200)
        assert "1 of 1 entries are stored" in page
    with sqlite_database.read() as session:
        reading = session.scalars(select(Reading)).one()
        assert (reading.person_id, reading.tablet_id) == (shop.worker, tablet_id)
    page = lead.post("/outbox/file", {"file": (BytesIO(b"no file"), "x.json")}, status=400)
    assert "cannot be read" in page
