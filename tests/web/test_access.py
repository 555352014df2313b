"""Every page says who may use it, and holds to it."""

import pytest
from flask import Flask

from qc_app.records.database import Database
from qc_app.web.access import ANYBODY, allowed_act
from qc_app.work.roles import MAY, Act, Role
from tests.conftest import Cast
from tests.web.conftest import SignedIn

ROLES = {"worker": Role.WORKER, "lead": Role.LEAD, "manager": Role.QUALITY_MANAGER}


def addresses(app: Flask, cast: Cast) -> list[tuple[str, str, str]]:
    """Endpoint, method and a real address of every route."""
    named = {
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
    }
    adapter = app.url_map.bind("localhost")
    return [
        (
            rule.endpoint,
            method,
            adapter.build(rule.endpoint, {n: named[n] for n in rule.arguments}, method=method),
        )
        for rule in app.url_map.iter_rules()
        for method in sorted((rule.methods or set()) & {"GET", "POST"})
    ]


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
        }


def test_nobody_signed_in_is_sent_to_sign_in(app: Flask, shop: Cast) -> None:
    client = app.test_client()
    for endpoint, method, address in addresses(app, shop):
        with app.app_context():
            if allowed_act(endpoint) == ANYBODY:
                continue
        answer = client.open(address, method=method, data={})
        # A post without the page's token is refused before anybody asks who it is.
        is_sent = answer.status_code == 302 and answer.location.startswith("/sign-in")
        assert is_sent or (method == "POST" and answer.status_code == 400), address


@pytest.mark.parametrize("who", ROLES)
def test_each_role_reaches_what_it_may_and_nothing_else(
    app: Flask, shop: Cast, signed_in: SignedIn, who: str
) -> None:
    app.config["WTF_CSRF_ENABLED"] = False
    for endpoint, method, address in addresses(app, shop):
        if endpoint == "sign_in.sign_out":
            continue
        with app.app_context():
            act = allowed_act(endpoint)
        with signed_in(who).client.open(address, method=method, data={}) as answer:
            status = answer.status_code
        if isinstance(act, Act):
            assert (status == 403) == (ROLES[who] not in MAY[act]), (address, method, status)
        assert status != 500, address


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
    answer = signed_in("worker").client.post(
        f"/station/framing/panel/{shop.panel}", data={"length": "4'", "uuid": "x"}
    )
    assert answer.status_code == 400
    assert "Go back, reload it, and save again" in answer.get_data(as_text=True)
    assert _readings(sqlite_database) == 0


def _readings(database: Database) -> int:
    from sqlalchemy import func, select

    from qc_app.records.reading import Reading

    with database.read() as session:
        return session.scalar(select(func.count()).select_from(Reading)) or 0
