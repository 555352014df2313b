"""What a tablet's script says to the server, over HTTP."""

from typing import Any
from uuid import uuid4

import pytest
from flask import Flask, url_for
from flask.testing import FlaskClient
from flask_babel import get_locale
from sqlalchemy import func, select

from qc_app.records.database import Database
from qc_app.records.photo_store import name_of
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.records.tablet import OutboxEntry, Tablet, TabletSignIn
from qc_app.web.request import now
from qc_app.work.outbox.batch import LARGEST_BATCH
from qc_app.work.pins import note_sign_in, set_pin
from tests.conftest import Cast
from tests.web.conftest import SignedIn
from tests.work.sent import Outbox, enrolled, reading, readings
from tests.work.test_photos import jpeg

PIN = "4096"


class OnTablet:
    """The script on an enrolled tablet."""

    def __init__(self, client: FlaskClient, tablet: int) -> None:
        self.client, self.tablet = client, tablet

    def hello(self) -> Any:
        return self.client.get("/tablet/hello").get_json()

    def post(self, path: str, content: Any, status: int = 200) -> Any:
        token = {"X-CSRFToken": self.hello()["csrf"]}
        answer = self.client.post(path, json=content, headers=token)
        assert answer.status_code == status, answer.get_data(as_text=True)
        found = answer.get_json()
        assert found["log"] == "qc"
        return found


@pytest.fixture
def on_tablet(app: Flask, sqlite_database: Database, shop: Cast) -> OnTablet:
    tablet, credential = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        worker = shop.person(session, "worker")
        set_pin(session, shop.person(session, "manager"), worker, PIN, now())
        note_sign_in(session, tablet, worker.id, now())
    client = app.test_client()
    client.set_cookie("tablet", credential)
    return OnTablet(client, tablet)


def count(database: Database, table: type[Any]) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def outbox_of(shop: Cast) -> Outbox:
    return Outbox(shop)


def test_hello_tells_a_tablet_all_it_needs(on_tablet: OnTablet, shop: Cast, app: Flask) -> None:
    hello = on_tablet.hello()
    assert hello["log"] == "qc"
    assert hello["schema"] == 1
    assert hello["tablet"] == {
        "id": on_tablet.tablet,
        "name": "Tablet 2",
        "station": "sheathing_fence",
        "key_size": 104,
    }
    assert hello["person"] is None
    assert hello["people"] == [{"id": shop.worker, "name": "Wren Abbey", "language": None}]
    assert hello["waiting_notices"] == 0
    assert app.static_url_path == f"/static/{hello['build']}"
    assert hello["csrf"]


def test_hello_tells_a_stranger_nothing_about_people(app: Flask, on_tablet: OnTablet) -> None:
    hello = app.test_client().get("/tablet/hello").get_json()
    assert (hello["tablet"], hello["person"], hello["people"]) == (None, None, [])


def test_hello_knows_who_signed_in_by_password(signed_in: SignedIn, shop: Cast) -> None:
    hello = signed_in("lead").client.get("/tablet/hello").get_json()
    assert hello["person"] == {"id": shop.lead, "name": "Otto Lind", "language": None}
    assert hello["people"] == []


def test_what_a_tablet_sends_is_recorded_and_answered(
    on_tablet: OnTablet, shop: Cast, sqlite_database: Database
) -> None:
    outbox = outbox_of(shop)
    entry = outbox.entry(readings(shop, reading(), reading("DC", "24' 0 3/16\"")), at=now())
    found = on_tablet.post("/outbox", outbox.batch(entry, clock=now()))
    (answer,) = found["answers"]
    assert (answer["uuid"], answer["state"], answer["reasons"]) == (entry["uuid"], "kept", [])
    assert [r["verdict"] for r in answer["readings"]] == ["within", "outside"]
    assert answer["readings"][1]["sentence"] == 'Outside: +3/16" from target.'
    assert found["missing"] == []
    assert count(sqlite_database, Reading) == 2
    again = on_tablet.post("/outbox", outbox.batch(entry, clock=now()))
    assert again["answers"] == found["answers"]
    assert count(sqlite_database, Reading) == 2


def test_somebody_signed_in_by_password_sends_their_own(
    signed_in: SignedIn, shop: Cast, sqlite_database: Database
) -> None:
    client, outbox = signed_in("worker").client, outbox_of(shop)
    browser = OnTablet(client, 0)
    mine, others = outbox.entry(at=now()), outbox.entry(at=now(), person=shop.lead)
    found = browser.post("/outbox", outbox.batch(mine, others, clock=now()))
    assert [answer["state"] for answer in found["answers"]] == ["kept", "later"]
    assert found["answers"][1]["reasons"][0]["sentence"] == "Otto Lind must sign in to send these."
    assert count(sqlite_database, OutboxEntry) == 1


def test_nobody_sends_anything(app: Flask, shop: Cast) -> None:
    browser, outbox = OnTablet(app.test_client(), 0), outbox_of(shop)
    found = browser.post("/outbox", outbox.batch(outbox.entry()), status=401)
    assert found == {"log": "qc", "sentence": found["sentence"]}
    assert "Sign in" in found["sentence"]


def test_without_its_token_nothing_is_taken_and_the_tablet_says_hello_again(
    on_tablet: OnTablet, shop: Cast, sqlite_database: Database
) -> None:
    outbox = outbox_of(shop)
    answer = on_tablet.client.post("/outbox", json=outbox.batch(outbox.entry()))
    assert (answer.status_code, answer.get_json()["log"]) == (401, "qc")
    assert count(sqlite_database, OutboxEntry) == 0


def test_a_revoked_tablet_is_nobody(on_tablet: OnTablet, shop: Cast, sqlite_database: Database) -> None:
    with sqlite_database.write() as session:
        session.get_one(Tablet, on_tablet.tablet).revoked_at = now()
    assert on_tablet.hello()["tablet"] is None
    outbox = outbox_of(shop)
    on_tablet.post("/outbox", outbox.batch(outbox.entry()), status=401)


@pytest.mark.parametrize(
    "body",
    [b"", b"[]", b"{", b'{"schema":1}', b"[" * 100_000, b'{"schema":' + b"9" * 5000 + b"}", b"\xff", b"NaN"],
)
def test_what_is_no_batch_is_refused_with_a_sentence(
    on_tablet: OnTablet, sqlite_database: Database, body: bytes
) -> None:
    token = {"X-CSRFToken": on_tablet.hello()["csrf"], "Content-Type": "application/json"}
    answer = on_tablet.client.post("/outbox", data=body, headers=token)
    assert (answer.status_code, answer.get_json()["log"]) == (400, "qc")
    assert "cannot be read" in answer.get_json()["sentence"]
    assert count(sqlite_database, OutboxEntry) == 0


def test_a_batch_over_one_megabyte_is_refused(on_tablet: OnTablet) -> None:
    token = {"X-CSRFToken": on_tablet.hello()["csrf"]}
    answer = on_tablet.client.post("/outbox", data=b" " * (LARGEST_BATCH + 1), headers=token)
    assert (answer.status_code, answer.get_json()["log"]) == (413, "qc")


def test_a_right_pin_signs_in_on_the_tablet(
    on_tablet: OnTablet, shop: Cast, sqlite_database: Database
) -> None:
    found = on_tablet.post("/tablet/sign-in", {"person": shop.worker, "pin": PIN})
    assert found["person"] == {"id": shop.worker, "name": "Wren Abbey", "language": None}
    assert count(sqlite_database, TabletSignIn) == 3


def test_a_wrong_pin_is_refused_and_soon_has_to_wait(on_tablet: OnTablet, shop: Cast) -> None:
    wrong = {"person": shop.worker, "pin": "4097"}
    for _ in range(5):
        found = on_tablet.post("/tablet/sign-in", wrong, status=422)
        assert (found["seconds"], found["sentence"]) == (0, "This PIN is not right. Check it and try again.")
    found = on_tablet.post("/tablet/sign-in", {"person": shop.worker, "pin": PIN}, status=422)
    assert 0 < found["seconds"] <= 5
    assert f"Wait {found['seconds']} seconds" in found["sentence"]


def test_a_pin_signs_nobody_in_elsewhere(signed_in: SignedIn, shop: Cast) -> None:
    browser = OnTablet(signed_in("worker").client, 0)
    found = browser.post("/tablet/sign-in", {"person": shop.worker, "pin": PIN}, status=400)
    assert found["sentence"] == "Only an enrolled tablet asks for a PIN."


def test_a_language_is_remembered_and_the_address_says_it(
    app: Flask, on_tablet: OnTablet, shop: Cast, sqlite_database: Database
) -> None:
    on_tablet.post("/tablet/language", {"person": shop.worker, "language": "es"})
    with sqlite_database.read() as session:
        assert session.get_one(Person, shop.worker).language == "es"
    on_tablet.post("/tablet/language", {"person": shop.worker, "language": "xx"}, status=400)
    on_tablet.post("/tablet/language", {"person": shop.lead, "language": "es"}, status=400)
    with app.test_request_context("/station/fill?language=es"):
        assert str(get_locale()) == "es"
        assert url_for("station.waiting", key="fill") == "/station/fill?language=es"
        assert url_for("buildings.buildings") == "/building"


def test_an_entry_with_a_number_used_for_other_content_is_refused(on_tablet: OnTablet, shop: Cast) -> None:
    outbox = outbox_of(shop)
    entry = outbox.entry(at=now())
    on_tablet.post("/outbox", outbox.batch(entry, clock=now()))
    other = entry | {"content": readings(shop, reading(uuid=str(uuid4())))}
    found = on_tablet.post("/outbox", outbox.batch(other, clock=now()))
    assert found["answers"][0]["state"] == "refused"
    assert "already, with other content" in found["answers"][0]["reasons"][0]["sentence"]


def test_each_entry_is_answered_in_the_language_of_whoever_made_it(
    on_tablet: OnTablet, shop: Cast, sqlite_database: Database
) -> None:
    on_tablet.post("/tablet/language", {"person": shop.worker, "language": "es"})
    with sqlite_database.write() as session:
        note_sign_in(session, on_tablet.tablet, shop.lead, now())
    outbox, wrong = outbox_of(shop), "24' 0 3/16"
    entries = [
        outbox.entry(readings(shop, reading(length=wrong)), at=now(), person=who)
        for who in (shop.worker, shop.lead)
    ]
    answers = on_tablet.post("/outbox", outbox.batch(*entries, clock=now()))["answers"]
    said = [answer["readings"][0]["sentence"] for answer in answers]
    assert said == ['Fuera: +3/16" del objetivo.', 'Outside: +3/16" from target.']


def test_a_photo_is_sent_and_shown(on_tablet: OnTablet, shop: Cast) -> None:
    content = jpeg()
    address = f"/photo/{name_of(content)}"
    token = {"X-CSRFToken": on_tablet.hello()["csrf"], "Content-Type": "image/jpeg"}
    answer = on_tablet.client.put(f"{address}?person={shop.worker}", data=content, headers=token)
    assert (answer.status_code, answer.get_json()) == (200, {"log": "qc"})
    shown = on_tablet.client.get(address)
    assert (shown.data, shown.headers["Content-Type"]) == (content, "image/jpeg")
    assert shown.headers["X-Content-Type-Options"] == "nosniff"
    assert shown.headers["Cache-Control"] == "private, max-age=31536000, immutable"
    assert shown.headers["Content-Disposition"].startswith("inline; filename=")


def test_what_is_no_photo_is_answered_with_a_sentence(on_tablet: OnTablet, shop: Cast) -> None:
    token = {"X-CSRFToken": on_tablet.hello()["csrf"], "Content-Type": "image/jpeg"}
    address = f"/photo/{name_of(b'no photo')}?person={shop.worker}"
    answer = on_tablet.client.put(address, data=b"no photo", headers=token)
    assert (answer.status_code, answer.get_json()["sentence"]) == (
        422,
        "A photo must be a JPEG; this is something else.",
    )
    for person in ("", "x", "9" * 30):
        answer = on_tablet.client.put(f"/photo/{'0' * 64}?person={person}", data=jpeg(), headers=token)
        assert answer.status_code == 400
