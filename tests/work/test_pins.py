"""PINs: who may set them, what they may be, and how signing in with one is slowed down."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy import func, select

from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.shop import Person
from qc_app.records.tablet import Tablet, TabletSignIn
from qc_app.refusal import Refusal
from qc_app.work.pins import (
    FREE_ATTEMPTS_PER_TABLET,
    HOLDS_FOR,
    note_sign_in,
    people_with_pin,
    set_pin,
    sign_in_by_pin,
    was_here,
)
from qc_app.work.roles import NotAllowed
from qc_app.work.sign_in import COUNTED, FREE_ATTEMPTS, SignInRefused
from tests.conftest import NOW, Cast
from tests.work.sent import enrolled

PIN = "4096"


def give(database: Database, cast: Cast, by: str = "manager", whose: str = "worker", pin: str = PIN) -> None:
    with database.write() as session:
        set_pin(session, cast.person(session, by), cast.person(session, whose), pin, NOW)


def refused(database: Database, tablet: int, person: int, pin: str, now: datetime) -> int:
    """Signs in and is refused; returns the seconds to wait."""
    with pytest.raises(SignInRefused) as refusal:
        sign_in_by_pin(database, tablet, person, pin, now)
    seconds = refusal.value.facts["seconds"]
    assert isinstance(seconds, int)
    return seconds


def test_a_right_pin_is_noted_on_its_tablet(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast, who=())
    give(database, cast)
    somebody = sign_in_by_pin(database, tablet, cast.worker, PIN, NOW)
    assert (somebody.id, somebody.name, somebody.language) == (cast.worker, "Wren Abbey", None)
    with database.read() as session:
        seen = session.scalars(select(TabletSignIn)).one()
        assert (seen.tablet_id, seen.person_id, seen.at) == (tablet, cast.worker, NOW)
        assert was_here(session, tablet, cast.worker, NOW + HOLDS_FOR - timedelta(seconds=1))
        assert not was_here(session, tablet, cast.worker, NOW + HOLDS_FOR)
        assert not was_here(session, tablet, cast.lead, NOW)


@pytest.mark.parametrize("pin", ["4097", "", "40961", " 4096", "४०९६", "4096\0"])
def test_any_other_pin_is_refused_and_nothing_is_noted(
    sqlite_database: Database, shop: Cast, pin: str
) -> None:
    tablet, _ = enrolled(sqlite_database, shop, who=())
    give(sqlite_database, shop)
    assert refused(sqlite_database, tablet, shop.worker, pin, NOW) == 0
    with sqlite_database.read() as session:
        assert session.scalar(select(func.count()).select_from(TabletSignIn)) == 0


def test_nobody_without_a_pin_or_from_elsewhere_or_inactive_signs_in(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop, who=())
    give(sqlite_database, shop, "stranger", "stranger")
    give(sqlite_database, shop, whose="lead")
    with sqlite_database.write() as session:
        session.get_one(Person, shop.lead).active = False
    for somebody in (shop.worker, shop.stranger, shop.lead, 10**12):
        assert refused(sqlite_database, tablet, somebody, PIN, NOW) == 0


def test_a_revoked_tablet_takes_no_pin(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    give(sqlite_database, shop)
    with sqlite_database.write() as session:
        session.get_one(Tablet, tablet).revoked_at = NOW
    refused(sqlite_database, tablet, shop.worker, PIN, NOW)


def test_each_wrong_pin_after_the_first_five_doubles_the_wait_and_none_locks_out(
    database: Database, cast: Cast
) -> None:
    tablet, _ = enrolled(database, cast)
    give(database, cast)
    now = NOW
    for _ in range(FREE_ATTEMPTS):
        assert refused(database, tablet, cast.worker, "4097", now) == 0
    for wait in (4, 8, 16):
        # Even the right one must wait; the wait tells nothing about it.
        assert refused(database, tablet, cast.worker, PIN, now) == wait + 1
        now += timedelta(seconds=wait)
        assert refused(database, tablet, cast.worker, "4097", now) == 0
    assert sign_in_by_pin(database, tablet, cast.worker, PIN, now + COUNTED).id == cast.worker
    assert refused(database, tablet, cast.worker, "4097", now + COUNTED) == 0


def test_wrong_pins_for_many_people_slow_the_tablet_down_but_no_other(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    other, _ = enrolled(sqlite_database, shop, "Tablet 3")
    give(sqlite_database, shop)
    for number in range(FREE_ATTEMPTS_PER_TABLET):
        assert refused(sqlite_database, tablet, 1000 + number, "4097", NOW) == 0
    assert refused(sqlite_database, tablet, shop.worker, PIN, NOW) > 0
    assert sign_in_by_pin(sqlite_database, other, shop.worker, PIN, NOW).id == shop.worker


def test_wrong_passwords_and_wrong_pins_count_apart(sqlite_database: Database, shop: Cast) -> None:
    from qc_app.work.sign_in import sign_in
    from tests.conftest import PASSWORD

    tablet, _ = enrolled(sqlite_database, shop)
    give(sqlite_database, shop)
    for _ in range(FREE_ATTEMPTS):
        refused(sqlite_database, tablet, shop.worker, "4097", NOW)
    assert sign_in(sqlite_database, "wren", PASSWORD, "10.0.0.7", NOW)


@pytest.mark.parametrize("pin", ["", "123", "123456789", "12a4", "12 34", "-1234", "१२३५", "4096\n"])
def test_a_pin_has_four_to_eight_digits(sqlite_database: Database, shop: Cast, pin: str) -> None:
    with pytest.raises(Refusal, match="4 to 8 digits"):
        give(sqlite_database, shop, pin=pin)


@pytest.mark.parametrize("pin", ["0000", "77777777", "1234", "01234567", "9876", "4321", "7890", "3210"])
def test_a_pin_that_everybody_tries_first_is_refused(sqlite_database: Database, shop: Cast, pin: str) -> None:
    with pytest.raises(Refusal, match="too easy to guess"):
        give(sqlite_database, shop, pin=pin)


@pytest.mark.parametrize("pin", ["1235", "1123", "80517", "2468", "00000001"])
def test_other_pins_are_taken(sqlite_database: Database, shop: Cast, pin: str) -> None:
    give(sqlite_database, shop, pin=pin)


def test_everybody_sets_their_own_and_the_quality_manager_everybodys(
    sqlite_database: Database, shop: Cast
) -> None:
    give(sqlite_database, shop, "worker", "worker")
    give(sqlite_database, shop, "manager", "lead")
    with pytest.raises(NotAllowed):
        give(sqlite_database, shop, "lead", "worker")
    with pytest.raises(Refusal, match="another plant"):
        give(sqlite_database, shop, "stranger", "worker")
    with sqlite_database.read() as session:
        plant = shop.person(session, "worker").plant_id
        assert [p.name for p in people_with_pin(session, plant)] == ["Otto Lind", "Wren Abbey"]


def test_a_pin_stands_nowhere_in_the_open(
    sqlite_database: Database, shop: Cast, caplog: pytest.LogCaptureFixture
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    with caplog.at_level("DEBUG"):
        give(sqlite_database, shop, pin="80517")
        sign_in_by_pin(sqlite_database, tablet, shop.worker, "80517", NOW)
    assert "80517" not in caplog.text
    with sqlite_database.read() as session:
        event = session.scalars(select(Event).where(Event.what == "PIN set")).one()
        assert event.facts == {"person": "Wren Abbey"}
        kept = shop.person(session, "worker").pin_hash
        assert kept is not None
        assert kept.startswith("$argon2id$")


def test_a_note_of_somebody_elsewhere_counts_nothing_here(sqlite_database: Database, shop: Cast) -> None:
    here, _ = enrolled(sqlite_database, shop, who=())
    there, _ = enrolled(sqlite_database, shop, "Tablet 3", who=())
    with sqlite_database.write() as session:
        note_sign_in(session, there, shop.worker, NOW)
        assert was_here(session, there, shop.worker, NOW)
        assert not was_here(session, here, shop.worker, NOW)
