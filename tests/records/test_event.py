"""The event log: one unbroken chain for each building, whoever writes at the same time."""

from datetime import timedelta, timezone
from threading import Barrier, Thread

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.orm import Session

from qc_app.records.building import Building
from qc_app.records.database import Database
from qc_app.records.event import BEGINNING, Event, append_event, first_break
from qc_app.records.shop import Plant
from tests.conftest import NOW, Cast


def chain(session: Session, name: str) -> list[Event]:
    return list(session.scalars(select(Event).where(Event.chain == name).order_by(Event.number)))


def of_building(session: Session, cast: Cast) -> list[Event]:
    return chain(session, f"building {cast.building}")


def append(session: Session, cast: Cast, what: str, facts: dict[str, object] | None = None) -> Event:
    building = session.get_one(Building, cast.building)
    return append_event(session, building, what, facts or {}, at=NOW, person=cast.person(session, "worker"))


def allow_tampering(session: Session) -> None:
    """Takes away what keeps the log from being changed, as somebody with the database in hand could."""
    if session.get_bind().dialect.name == "sqlite":
        session.execute(text("DROP TRIGGER event_refuses_update"))
        session.execute(text("DROP TRIGGER event_refuses_delete"))
    else:
        session.execute(text("ALTER TABLE event DISABLE TRIGGER USER"))


def test_the_first_event_of_a_chain_follows_nothing(database: Database, cast: Cast) -> None:
    with database.read() as session:
        first, second, *_ = of_building(session, cast)
        assert (first.number, first.previous_hash) == (1, BEGINNING)
        assert (second.number, second.previous_hash) == (2, first.hash)
        assert first.what == "panel scheduled"


def test_a_building_and_the_plant_have_chains_of_their_own(database: Database, cast: Cast) -> None:
    with database.read() as session:
        plant = session.get_one(Building, cast.building).plant_id
        events = chain(session, f"plant {plant}")
        assert events[0].what == "plant set up"
        assert [event.number for event in events] == list(range(1, len(events) + 1))
        assert {event.chain for event in session.scalars(select(Event))} == {
            f"plant {plant}",
            f"building {cast.building}",
            *(f"plant {other}" for other in session.scalars(select(Plant.id).where(Plant.id != plant))),
        }


def test_a_chain_as_written_has_no_break(database: Database, cast: Cast) -> None:
    facts = {"note": "Ø 2½″ “quoted” \\ \n", "amount": 2**60, "place": None, "entries": {"b": "2", "a": "1"}}
    with database.write() as session:
        append(session, cast, "reading recorded", facts)
    with database.read() as session:
        events = of_building(session, cast)
        assert events[-1].facts == facts
        assert first_break(events) is None


def test_the_zone_in_which_a_time_was_given_does_not_break_the_chain(database: Database, cast: Cast) -> None:
    with database.write() as session:
        building = session.get_one(Building, cast.building)
        here = (NOW + timedelta(microseconds=5)).astimezone(timezone(timedelta(hours=-5)))
        append_event(session, building, "noted", {}, at=here, person=None)
    with database.read() as session:
        assert first_break(of_building(session, cast)) is None


@pytest.mark.parametrize(
    "change",
    [
        {"what": "nothing happened"},
        {"facts": {"mark": "R-99"}},
        {"at": NOW + timedelta(seconds=1)},
        {"person_id": None},
        {"panel_id": None},
        {"previous_hash": "1" * 64},
        {"hash": "1" * 64},
        {"number": 9},
    ],
)
def test_an_event_changed_afterwards_breaks_the_chain(
    sqlite_database: Database, sqlite_cast: Cast, change: dict[str, object]
) -> None:
    tamper(sqlite_database, sqlite_cast, change)


def test_tampering_shows_on_both_databases(database: Database, cast: Cast) -> None:
    tamper(database, cast, {"facts": {"mark": "R-99"}})


def tamper(database: Database, cast: Cast, change: dict[str, object]) -> None:
    with database.write() as session:
        append(session, cast, "noted")
        append(session, cast, "noted again")
        middle = of_building(session, cast)[1].id
        allow_tampering(session)
        session.execute(update(Event).where(Event.id == middle).values(**change))
    with database.read() as session:
        events = sorted(of_building(session, cast), key=lambda event: event.id)
        broken = first_break(events)
        assert broken is not None
        assert broken.id == middle


def test_an_event_made_to_fit_breaks_the_chain_at_the_next(
    sqlite_database: Database, sqlite_cast: Cast
) -> None:
    with sqlite_database.write() as session:
        append(session, sqlite_cast, "noted")
        events = of_building(session, sqlite_cast)
        allow_tampering(session)
        events[0].what = "something else"
        events[0].hash = events[0].expected_hash()
    with sqlite_database.read() as session:
        events = of_building(session, sqlite_cast)
        assert first_break(events) is events[1]


def test_an_event_taken_out_breaks_the_chain(sqlite_database: Database, sqlite_cast: Cast) -> None:
    with sqlite_database.write() as session:
        append(session, sqlite_cast, "noted")
        allow_tampering(session)
        session.delete(of_building(session, sqlite_cast)[1])
    with sqlite_database.read() as session:
        events = of_building(session, sqlite_cast)
        assert first_break(events) is events[1]


def test_no_events_have_no_break() -> None:
    assert first_break([]) is None


def test_writers_at_the_same_time_neither_lose_an_event_nor_block_each_other(
    database: Database, cast: Cast
) -> None:
    writers, each, failures = 4, 5, []
    together = Barrier(writers)

    def write(name: int) -> None:
        together.wait()
        try:
            for number in range(each):
                with database.write() as session:
                    append(session, cast, f"written by {name}", {"number": number})
        except Exception as error:
            failures.append(error)

    threads = [Thread(target=write, args=(name,)) for name in range(writers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert failures == []
    with database.read() as session:
        events = of_building(session, cast)
    written = [(event.what, event.facts["number"]) for event in events[2:]]
    assert sorted(written) == [(f"written by {n}", k) for n in range(writers) for k in range(each)]
    assert [event.number for event in events] == list(range(1, len(events) + 1))
    assert first_break(events) is None
