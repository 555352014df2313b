"""Every page says who may use it, and holds to it."""

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import IntegerConverter, Rule

from qc_app.records.database import Database
from qc_app.records.tablet import Tablet
from qc_app.web.access import ANYBODY, allowed_act, is_open_to_tablets
from qc_app.web.request import now
from qc_app.work.roles import MAY, Act, Role
from qc_app.work.sign_in import open_sign_in
from qc_app.work.tablets import revoke
from tests.conftest import Cast
from tests.web.conftest import SignedIn
from tests.work.newcomers import add_newcomers
from tests.work.sent import enrolled

ROLES = {
    "worker": Role.WORKER,
    "lead": Role.LEAD,
    "manager": Role.QUALITY_MANAGER,
    "site_lead": Role.SITE_LEAD,
    "customer": Role.CUSTOMER,
    "administrator": Role.ADMINISTRATOR,
}


def addresses(app: Flask, cast: Cast, tablet: int = 1) -> list[tuple[str, str, str]]:
    """Endpoint, method and an address of every route; what the table does not name is number 1, or "x"."""
    named: dict[str, int | str] = {
        "tablet_id": tablet,
        "person_id": cast.worker,
        "notice_id": 1,
        "name": "0" * 64,
        "key": "fill",
        "item_id": cast.panel,
        "building_id": cast.building,
        "panel_id": cast.panel,
        "lot_id": cast.lot,
        "stream_id": 1,
        "upload_id": 1,
        "what": "schedule",
        "filename": "log.css",
        "label": "H1/R-01",
        "version_id": 1,
        "number": 0,
    }
    adapter = app.url_map.bind("localhost")
    return [
        (
            rule.endpoint,
            method,
            adapter.build(
                rule.endpoint, {n: named.get(n, _any(rule, n)) for n in rule.arguments}, method=method
            ),
        )
        for rule in app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) & {"GET", "POST", "PUT"})
    ]


def _any(rule: Rule, argument: str) -> int | str:
    return 1 if isinstance(rule._converters[argument], IntegerConverter) else "x"


@pytest.fixture
def everybody(shop: Cast, sqlite_database: Database) -> dict[str, int]:
    """The number of somebody of each role."""
    new = add_newcomers(sqlite_database, shop)
    numbers = {"site_lead": new.site_lead, "customer": new.customer, "administrator": new.administrator}
    return {who: numbers.get(who) or getattr(shop, who) for who in ROLES}


def client_of(app: Flask, database: Database, person_id: int) -> FlaskClient:
    """A browser that somebody is signed in to."""
    client = app.test_client()
    with database.write() as session:
        token = open_sign_in(session, person_id, now())
    with client.session_transaction() as cookie:
        cookie["token"] = token
    return client


def test_every_view_says_who_may_use_it(app: Flask) -> None:
    with app.app_context():
        silent = [rule.endpoint for rule in app.url_map.iter_rules() if allowed_act(rule.endpoint) is None]
    assert silent == []


def test_only_setup_sign_in_trust_offline_and_static_files_are_open_to_anybody(app: Flask) -> None:
    with app.app_context():
        endpoints = {rule.endpoint for rule in app.url_map.iter_rules()}
        assert {e for e in endpoints if allowed_act(e) == ANYBODY} == {
            "static",
            "offline.worker",
            "offline.offline",
            "offline.manifest",
            "setup.set_up",
            "sign_in.sign_in",
            "trust.page",
            "trust.authority",
            "trust.why",
            "verify.release",
            "tablet.ask",
            "tablet.take",
            "outbox.hello",
        }


def test_only_stations_scans_and_the_outbox_are_open_to_tablets(app: Flask) -> None:
    with app.app_context():
        endpoints = {rule.endpoint for rule in app.url_map.iter_rules()} - {"static"}
        opened = {endpoint for endpoint in endpoints if is_open_to_tablets(endpoint)}
    assert opened >= {
        "outbox.sign_in",
        "outbox.language",
        "outbox.send",
        "outbox.take_photo",
        "outbox.photo",
        "station.waiting",
        "station.panel",
    }
    pages = ("outbox", "outbox_page", "station", "lots", "labels", "instrument_check")
    assert {endpoint for endpoint in opened if endpoint.partition(".")[0] not in pages} == set()


def test_nobody_signed_in_is_sent_to_sign_in(app: Flask, shop: Cast) -> None:
    client = app.test_client()
    for endpoint, method, address in addresses(app, shop):
        with app.app_context():
            if allowed_act(endpoint) == ANYBODY:
                continue
        answer = client.open(address, method=method, data={})
        # A post without the page's token is refused before anybody asks who it is.
        is_sent = answer.status_code == 302 and answer.location.startswith("/sign-in")
        # A tablet's script is told in JSON instead.
        is_told = answer.status_code == 401 and (answer.get_json(silent=True) or {}).get("log") == "qc"
        assert is_sent or is_told or (method == "POST" and answer.status_code == 400), address


def test_an_enrolled_tablet_reaches_what_is_open_to_it_and_nothing_else(
    app: Flask, shop: Cast, sqlite_database: Database
) -> None:
    app.config["WTF_CSRF_ENABLED"] = False
    tablet, credential = enrolled(sqlite_database, shop)
    for endpoint, method, address in addresses(app, shop, tablet):
        client = app.test_client()
        client.set_cookie("tablet", credential)
        with app.app_context():
            act = allowed_act(endpoint)
            is_open = act == ANYBODY or is_open_to_tablets(endpoint)
        with client.open(address, method=method, data={}) as answer:
            is_sent_away = answer.status_code == 302 and answer.location.startswith("/sign-in")
            assert is_sent_away != is_open or endpoint == "sign_in.sign_in", (address, method)
            refusing = (500,) if act == ANYBODY else (401, 403, 500)
            assert answer.status_code not in refusing, (address, method, answer.status_code)


def test_a_revoked_tablet_reaches_nothing(app: Flask, shop: Cast, sqlite_database: Database) -> None:
    tablet, credential = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        revoke(session, shop.person(session, "manager"), session.get_one(Tablet, tablet), now())
    client = app.test_client()
    client.set_cookie("tablet", credential)
    assert client.get("/station/fill").location.startswith("/sign-in")
    assert client.get(f"/photo/{'0' * 64}").status_code == 401


@pytest.mark.parametrize("who", ROLES)
@pytest.mark.parametrize("has_tablet", [False, True], ids=["with no tablet", "on an enrolled tablet"])
def test_each_role_reaches_what_it_may_and_nothing_else(
    app: Flask,
    shop: Cast,
    everybody: dict[str, int],
    sqlite_database: Database,
    who: str,
    has_tablet: bool,
) -> None:
    app.config["WTF_CSRF_ENABLED"] = False
    tablet, credential = enrolled(sqlite_database, shop)
    client = client_of(app, sqlite_database, everybody[who])
    if has_tablet:
        client.set_cookie("tablet", credential)
    for endpoint, method, address in addresses(app, shop, tablet):
        if endpoint == "sign_in.sign_out" or endpoint.startswith("tablet."):
            continue  # they end the sign-in, or the tablet
        with app.app_context():
            act = allowed_act(endpoint)
            is_open = has_tablet and is_open_to_tablets(endpoint)
        with client.open(address, method=method, data={}) as answer:
            status = answer.status_code
        if isinstance(act, Act) and not is_open:
            assert (status == 403) == (ROLES[who] not in MAY[act]), (address, method, status)
        assert status != 500, address


@pytest.mark.parametrize("who", ["other_site_lead", "other_customer"])
def test_somebody_of_another_building_finds_nothing_of_this_one(
    app: Flask, shop: Cast, sqlite_database: Database, who: str
) -> None:
    app.config["WTF_CSRF_ENABLED"] = False
    new = add_newcomers(sqlite_database, shop)
    tablet, _ = enrolled(sqlite_database, shop)
    client = client_of(app, sqlite_database, getattr(new, who))
    arguments = {rule.endpoint: rule.arguments for rule in app.url_map.iter_rules()}
    for endpoint, method, address in addresses(app, shop, tablet):
        with app.app_context():
            is_open = allowed_act(endpoint) == ANYBODY
        if endpoint == "sign_in.sign_out" or is_open:
            continue
        with client.open(address, method=method, data={}) as answer:
            if arguments[endpoint]:
                assert answer.status_code in (403, 404), (address, method, answer.status_code)
            elif answer.mimetype == "text/html":
                assert "Fern Hollow" not in answer.get_data(as_text=True), address


def test_what_each_newcomer_opens_first_is_there(
    app: Flask, shop: Cast, everybody: dict[str, int], sqlite_database: Database
) -> None:
    starts = {
        "worker": "/station",
        "lead": "/board",
        "manager": "/board",
        "site_lead": f"/site/{shop.building}",
        "customer": f"/proof/{shop.building}",
        "administrator": "/person",
    }
    for who, address in starts.items():
        client = client_of(app, sqlite_database, everybody[who])
        answer = client.get("/", follow_redirects=True)
        assert (answer.status_code, answer.request.path) == (200, address)


def test_a_customer_is_shown_no_worker_and_a_site_lead_no_chart(
    app: Flask, shop: Cast, everybody: dict[str, int], sqlite_database: Database
) -> None:
    page = client_of(app, sqlite_database, everybody["customer"]).get(f"/proof/{shop.building}")
    assert "R-01" in page.text
    assert "Wren Abbey" not in page.text
    for who in ("customer", "site_lead", "administrator"):
        client = client_of(app, sqlite_database, everybody[who])
        assert {client.get(a).status_code for a in ("/chart", f"/panel/{shop.panel}", "/board")} == {403}


def test_a_change_of_role_on_the_page_of_people_ends_the_sign_in(
    app: Flask, shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    worker, manager = signed_in("worker"), signed_in("manager")
    assert "Otto Lind" in manager.get("/person")
    said = {"role": "customer", "building": "", "active": "yes"}
    assert "Choose the building" in manager.post(f"/person/{shop.worker}", said, status=200)
    manager.post(f"/person/{shop.worker}", {**said, "building": str(shop.building)})
    assert worker.client.get("/station").location.startswith("/sign-in")
    assert "customer" in manager.get("/person")
    last = {"role": "worker", "building": "", "active": "yes"}
    assert "Somebody else must change" in manager.post(f"/person/{shop.manager}", last, status=200)


def test_another_plants_things_are_not_there(app: Flask, shop: Cast, signed_in: SignedIn) -> None:
    stranger = signed_in("stranger")
    for address in (
        f"/panel/{shop.panel}",
        f"/building/{shop.building}",
        f"/lot/{shop.lot}",
        f"/station/fill/panel/{shop.panel}",
        f"/building/{shop.building}/packet.pdf",
        f"/building/{shop.building}/labels",
        "/p/H1/R-01",
    ):
        assert "in this plant" in stranger.get(address, 404)


def test_a_request_from_another_site_is_refused(shop: Cast, signed_in: SignedIn) -> None:
    answer = signed_in("worker").client.post("/sign-out", headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.status_code == 403


def test_a_zero_byte_is_refused_wherever_it_comes(signed_in: SignedIn) -> None:
    manager = signed_in("manager").client
    assert manager.get("/station/fi%00ll").status_code == 400
    assert manager.get("/chart?until=%00").status_code == 400
    answer = manager.post("/person", data={"name": "a\0b"})
    assert answer.status_code == 400
    assert "That request could not be read." in answer.get_data(as_text=True)


def test_a_post_without_its_token_changes_nothing(
    shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    answer = signed_in("worker").client.post("/pin", data={"pin": "4096"})
    assert answer.status_code == 400
    assert "Go back, reload it, and save again" in answer.get_data(as_text=True)
    with sqlite_database.read() as session:
        assert shop.person(session, "worker").pin_hash is None
