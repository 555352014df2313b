"""Signing in: the growing delay after wrong attempts, and how long a sign-in lasts."""

from datetime import datetime, timedelta

from sqlalchemy import select, text

from qc_app.records.database import Database
from qc_app.records.shop import FailedSignIn, Person, SignIn
from qc_app.work.sign_in import (
    ATTEMPTS_PER_ADDRESS,
    COUNTED,
    FREE_ATTEMPTS,
    IDLE_LIMIT,
    LONGEST,
    SignInRefused,
    is_due_to_be_seen,
    see,
    sign_in,
    sign_out,
    who,
)
from tests.conftest import NOW, PASSWORD, Cast

SECOND = timedelta(seconds=1)


def attempt(
    database: Database, at: datetime, name: str = "wren", password: str = PASSWORD, address: str = "10.0.0.7"
) -> str:
    """The token, or else what was said instead."""
    try:
        return sign_in(database, name, password, address, at)
    except SignInRefused as refused:
        return str(refused)


def wrong(database: Database, times: int, at: datetime = NOW, **more: str) -> list[str]:
    return [attempt(database, at, password="not the password", **more) for _ in range(times)]  # noqa: S106


def signed_in(database: Database, token: str, at: datetime) -> str | None:
    with database.read() as session:
        person = who(session, token, at)
        return person.name if person else None


def test_name_in_any_case_and_password_open_the_log(sqlite_database: Database, shop: Cast) -> None:
    token = attempt(sqlite_database, NOW, name=" WREN ")
    assert signed_in(sqlite_database, token, NOW) == "Wren Abbey"
    assert signed_in(sqlite_database, token + "x", NOW) is None
    assert signed_in(sqlite_database, "", NOW) is None


def test_the_database_holds_no_token_and_no_password(sqlite_database: Database, shop: Cast) -> None:
    token = attempt(sqlite_database, NOW)
    assert len(token) >= 43  # 256 bits
    with sqlite_database.engine.connect() as connection:
        tables = (
            connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'table'")).scalars().all()
        )
        dump = "".join(str(connection.execute(text(f'SELECT * FROM "{t}"')).all()) for t in tables)  # noqa: S608
    assert "Wren Abbey" in dump
    assert token not in dump
    assert PASSWORD not in dump


def test_two_sign_ins_have_different_tokens(sqlite_database: Database, shop: Cast) -> None:
    first, second = attempt(sqlite_database, NOW), attempt(sqlite_database, NOW)
    assert first != second
    with sqlite_database.write() as session:
        sign_out(session, first, NOW)
    assert signed_in(sqlite_database, first, NOW) is None
    assert signed_in(sqlite_database, second, NOW) == "Wren Abbey"


def test_a_wrong_password_and_an_unknown_name_get_the_same_answer(database: Database, cast: Cast) -> None:
    for name in ("wren", "nobody", "", "x" * 500, "wr\0ong", "Ünbekannt"):
        said = wrong(database, 1, name=name)
        assert said == ["Name and password do not match. Check both and try again."]


def test_after_five_wrong_attempts_each_further_one_waits_twice_as_long(
    database: Database, cast: Cast
) -> None:
    assert {said[:17] for said in wrong(database, FREE_ATTEMPTS)} == {"Name and password"}
    at = NOW
    for seconds in (4, 8, 16, 32):
        said = f"Too many wrong attempts. Wait {seconds} seconds and try again."
        assert attempt(database, at + SECOND) == said
        at += timedelta(seconds=seconds)
        assert wrong(database, 1, at - SECOND)[0].startswith("Too many wrong attempts. Wait 2 seconds")
        assert wrong(database, 1, at)[0].startswith("Name and password do not match")


def test_whoever_waits_gets_in_and_starts_afresh(sqlite_database: Database, shop: Cast) -> None:
    wrong(sqlite_database, FREE_ATTEMPTS)
    assert attempt(sqlite_database, NOW + 3 * SECOND).startswith("Too many wrong attempts.")
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW + 4 * SECOND), NOW) == "Wren Abbey"
    assert wrong(sqlite_database, 1, NOW + 5 * SECOND)[0].startswith("Name and password")
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW + 5 * SECOND), NOW) == "Wren Abbey"


def test_an_attempt_that_is_refused_does_not_lengthen_the_wait(sqlite_database: Database, shop: Cast) -> None:
    wrong(sqlite_database, FREE_ATTEMPTS + 20)
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW + 4 * SECOND), NOW) == "Wren Abbey"


def test_wrong_attempts_are_forgotten_after_a_quarter_of_an_hour(
    sqlite_database: Database, shop: Cast
) -> None:
    wrong(sqlite_database, FREE_ATTEMPTS)
    assert wrong(sqlite_database, 1, NOW + COUNTED)[0].startswith("Name and password")
    with sqlite_database.read() as session:
        assert len(session.scalars(select(FailedSignIn)).all()) == 1


def test_others_may_sign_in_meanwhile(sqlite_database: Database, shop: Cast) -> None:
    wrong(sqlite_database, FREE_ATTEMPTS)
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW, name="otto"), NOW) == "Otto Lind"


def test_the_wait_is_never_longer_than_a_quarter_of_an_hour(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        session.add_all(FailedSignIn(sign_in_name="wren", address=f"10.0.1.{n}", at=NOW) for n in range(2000))
    assert attempt(sqlite_database, NOW) == "Too many wrong attempts. Wait 901 seconds and try again."
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW + COUNTED), NOW) == "Wren Abbey"


def test_one_device_cannot_try_name_after_name(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        session.add_all(
            FailedSignIn(sign_in_name=f"guess{n}", address="10.0.0.7", at=NOW)
            for n in range(ATTEMPTS_PER_ADDRESS - 1)
        )
    assert wrong(sqlite_database, 1, name="guess")[0].startswith("Name and password")
    assert attempt(sqlite_database, NOW).startswith("Too many wrong attempts from this device")
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW, address="10.0.0.8"), NOW) == "Wren Abbey"
    assert signed_in(sqlite_database, attempt(sqlite_database, NOW + COUNTED), NOW) == "Wren Abbey"


def test_a_sign_in_that_is_not_used_ends(database: Database, cast: Cast) -> None:
    token = attempt(database, NOW)
    assert signed_in(database, token, NOW + IDLE_LIMIT) == "Wren Abbey"
    assert signed_in(database, token, NOW + IDLE_LIMIT + SECOND) is None


def test_a_sign_in_in_use_ends_after_a_week(sqlite_database: Database, shop: Cast) -> None:
    token, at = attempt(sqlite_database, NOW), NOW
    while at + IDLE_LIMIT <= NOW + LONGEST:
        at += IDLE_LIMIT
        assert signed_in(sqlite_database, token, at) == "Wren Abbey"
        with sqlite_database.write() as session:
            see(session, token, at)
    assert signed_in(sqlite_database, token, NOW + LONGEST) == "Wren Abbey"
    assert signed_in(sqlite_database, token, NOW + LONGEST + SECOND) is None


def test_the_time_of_last_use_is_written_every_five_minutes(sqlite_database: Database, shop: Cast) -> None:
    token = attempt(sqlite_database, NOW)
    with sqlite_database.write() as session:
        assert not is_due_to_be_seen(session, token, NOW + timedelta(minutes=5))
        assert is_due_to_be_seen(session, token, NOW + timedelta(minutes=5, seconds=1))
        see(session, token, NOW + timedelta(minutes=6))
        assert not is_due_to_be_seen(session, token, NOW + timedelta(minutes=11))
        assert not is_due_to_be_seen(session, "unknown", NOW + timedelta(days=1))


def test_signing_out_ends_it_at_once(sqlite_database: Database, shop: Cast) -> None:
    token = attempt(sqlite_database, NOW)
    with sqlite_database.write() as session:
        sign_out(session, token, NOW + SECOND)
    assert signed_in(sqlite_database, token, NOW + SECOND) is None
    with sqlite_database.read() as session:
        assert session.scalars(select(SignIn.ended_at)).one() == NOW + SECOND


def test_somebody_made_inactive_is_out_and_stays_out(sqlite_database: Database, shop: Cast) -> None:
    token = attempt(sqlite_database, NOW)
    with sqlite_database.write() as session:
        session.get_one(Person, shop.worker).active = False
    assert signed_in(sqlite_database, token, NOW) is None
    assert attempt(sqlite_database, NOW).startswith("Name and password do not match")
