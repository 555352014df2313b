"""Tablets: who invites them, how a code and a credential are used, and what the list says."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal
from qc_app.work import find, tablets
from qc_app.work.roles import NotAllowed
from qc_app.work.tablets import CODE_LASTS, CodeRefused
from tests.conftest import NOW, Cast
from tests.work.sent import Outbox, enrolled

LATER = NOW + timedelta(hours=2)


def invite(
    database: Database, cast: Cast, by: str = "manager", name: str = "Tablet 2", key_size: int = 104
) -> str:
    with database.write() as session:
        station = find.station(session, cast.person(session, "worker"), "fill")
        _, code = tablets.invite(session, cast.person(session, by), name, station, key_size, NOW)
        return code


def test_a_code_enrols_one_tablet_once(database: Database, cast: Cast) -> None:
    code = invite(database, cast)
    with database.write() as session:
        tablet, credential = tablets.enrol(session, code, NOW + CODE_LASTS)
        assert (tablet.name, tablet.station.key, tablet.key_size) == ("Tablet 2", "fill", 104)
    with database.read() as session:
        assert tablets.holder_of(session, credential) is session.scalars(select(Tablet)).one()
        assert tablets.holder_of(session, code) is None
        with pytest.raises(CodeRefused, match="used already"):
            tablets.invited(session, code, NOW)


@pytest.mark.parametrize(("code", "reason"), [(None, "older than 15 minutes"), ("", "used"), ("x", "used")])
def test_a_code_too_old_or_made_up_enrols_nothing(
    sqlite_database: Database, shop: Cast, code: str | None, reason: str
) -> None:
    given, late = invite(sqlite_database, shop), NOW + CODE_LASTS + timedelta(seconds=1)
    with pytest.raises(CodeRefused, match=reason), sqlite_database.write() as session:
        tablets.enrol(session, given if code is None else code, late)


def test_the_database_holds_neither_code_nor_credential(sqlite_database: Database, shop: Cast) -> None:
    code = invite(sqlite_database, shop)
    with sqlite_database.write() as session:
        _, credential = tablets.enrol(session, code, NOW)
    with sqlite_database.engine.connect() as connection:
        dump = "\n".join(connection.connection.driver_connection.iterdump())  # type: ignore[union-attr]
    assert "Tablet 2" in dump
    assert code not in dump
    assert credential not in dump


@pytest.mark.parametrize("who", ["worker", "lead"])
def test_only_the_quality_manager_keeps_tablets(sqlite_database: Database, shop: Cast, who: str) -> None:
    tablet_id, _ = enrolled(sqlite_database, shop)
    with pytest.raises(NotAllowed):
        invite(sqlite_database, shop, who)
    with sqlite_database.write() as session:
        by, tablet = shop.person(session, who), session.get_one(Tablet, tablet_id)
        with pytest.raises(NotAllowed):
            tablets.invite_again(session, by, tablet, NOW)
        with pytest.raises(NotAllowed):
            tablets.revoke(session, by, tablet, NOW)
        with pytest.raises(NotAllowed):
            tablets.move(session, by, tablet, "T", tablet.station, NOW)


def test_another_plant_keeps_its_hands_off(sqlite_database: Database, shop: Cast) -> None:
    tablet_id, _ = enrolled(sqlite_database, shop)
    with pytest.raises(Refusal, match="another plant"):
        invite(sqlite_database, shop, "stranger")
    with sqlite_database.write() as session:
        by, tablet = shop.person(session, "stranger"), session.get_one(Tablet, tablet_id)
        assert tablets.tablets(session, by) == []
        with pytest.raises(Refusal, match="another plant"):
            tablets.invite_again(session, by, tablet, NOW)
        with pytest.raises(Refusal, match="another plant"):
            tablets.revoke(session, by, tablet, NOW)
        with pytest.raises(Refusal, match="another plant"):
            tablets.move(session, by, tablet, "T", tablet.station, NOW)


@pytest.mark.parametrize(
    ("otherwise", "about"),
    [({"name": " "}, "name"), ({"name": "n" * 81}, "name"), ({"key_size": 44}, "key_size")],
)
def test_a_tablet_needs_a_name_and_keys_of_twenty_millimetres(
    sqlite_database: Database, shop: Cast, otherwise: dict[str, Any], about: str
) -> None:
    with pytest.raises(Refusal) as refusal:
        invite(sqlite_database, shop, **otherwise)
    assert refusal.value.about == about


def test_keys_are_twenty_millimetres_on_each_kind_of_glass() -> None:
    # Millimetres in one CSS pixel: 25.4 / 132 (264 ppi at two pixels each), 25.4 / 163 and 25.4 / 160.
    pixel = {"iPad": 25.4 / 132, "iPad mini": 25.4 / 163, "Android": 25.4 / 160}
    sides = {kind: tablets.KEY_SIZES[kind] * size for kind, size in pixel.items()}
    assert sides == {kind: pytest.approx(20, abs=0.1) for kind in pixel}


def test_two_tablets_have_two_names(sqlite_database: Database, shop: Cast) -> None:
    invite(sqlite_database, shop)
    with pytest.raises(Refusal, match="a tablet “Tablet 2” already"):
        invite(sqlite_database, shop)


def test_a_new_code_brings_a_revoked_tablet_back_and_ends_the_old_credential(
    database: Database, cast: Cast
) -> None:
    tablet_id, old = enrolled(database, cast)
    with database.write() as session:
        manager, tablet = cast.person(session, "manager"), session.get_one(Tablet, tablet_id)
        tablets.revoke(session, manager, tablet, NOW)
        assert tablets.holder_of(session, old) is None
        code = tablets.invite_again(session, manager, tablet, NOW)
        again, new = tablets.enrol(session, code, NOW)
        assert again.id == tablet_id
        session.flush()
        assert tablets.holder_of(session, old) is None
        assert tablets.holder_of(session, new) is tablet


def test_what_happens_to_a_tablet_stands_in_the_plants_chain_without_secrets(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet_id, credential = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        manager, tablet = shop.person(session, "manager"), session.get_one(Tablet, tablet_id)
        tablets.move(session, manager, tablet, "Tablet 4", find.station(session, manager, "fill"), NOW)
        tablets.revoke(session, manager, tablet, NOW)
        tablets.revoke(session, manager, tablet, NOW)
        chain = select(Event).where(Event.chain == f"plant {tablet.plant_id}").order_by(Event.number)
        events = session.scalars(chain).all()
        assert first_break(events) is None
        said = [(e.what, e.facts) for e in events if e.what.startswith("tablet")]
        before = {"tablet": "Tablet 2", "number": tablet_id, "station": "sheathing_fence"}
        after = {"tablet": "Tablet 4", "number": tablet_id, "station": "fill"}
        assert said == [
            ("tablet invited", before),
            ("tablet enrolled", before),
            ("tablet moved", after),
            ("tablet revoked", after),
        ]
        assert credential not in str(said)


def test_the_list_says_when_each_was_seen_and_what_has_not_come(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    one, _lost, three, _waiting, five = (outbox.entry() for _ in range(5))
    outbox.send(database, tablet, one, three, five, now=LATER)
    outbox.send(database, tablet, now=LATER)
    with database.read() as session:
        (line,) = tablets.tablets(session, cast.person(session, "manager"))
        assert line.tablet.seen_at == LATER
        assert (line.waiting, line.gaps) == (0, 2)
    outbox.entry()
    outbox.send(database, tablet, now=LATER)
    with database.read() as session:
        (line,) = tablets.tablets(session, cast.person(session, "manager"))
        assert (line.waiting, line.gaps) == (1, 2)


def test_the_time_of_last_use_is_written_every_five_minutes(sqlite_database: Database, shop: Cast) -> None:
    tablet_id, _ = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        tablet = session.get_one(Tablet, tablet_id)
        assert not tablets.is_due_to_be_seen(tablet, NOW + tablets.SEEN_EVERY)
        due = NOW + tablets.SEEN_EVERY + timedelta(seconds=1)
        assert tablets.is_due_to_be_seen(tablet, due)
        tablets.see(session, tablet_id, due)
        assert not tablets.is_due_to_be_seen(tablet, due)
