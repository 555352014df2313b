"""How long checking the record takes on a million events."""

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar
from uuid import UUID

import pytest
from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from qc_app.records.chain import Link, links
from qc_app.records.control_plan import Characteristic
from qc_app.records.database import Database
from qc_app.records.event import BEGINNING, Event, expected_hash
from qc_app.records.photo_store import PhotoStore
from qc_app.records.reading import Reading, reading_instrument
from qc_app.records.shop import Instrument, Station
from qc_app.work import find
from qc_app.work.check_record import check_record
from qc_app.work.schedule import add_building, add_panel
from tests.conftest import NOW, Cast, feet, roof_panel, stage

T = TypeVar("T")

EVENTS = 1_000_000
AT_ONCE = 50_000


@pytest.mark.bench
def test_a_chain_of_a_million_events(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Prints processor time, and the ratio to no more than reading each event and working out its hash."""
    database = Database(str(tmp_path / "qc.db"))
    database.migrate()
    cast = stage(database)
    with database.write() as session:
        chain = fill(session, cast, EVENTS)
    with database.snapshot() as session:
        least, hashed = timed(lambda: sum(expected_hash(link) == link.hash for link in links(session, chain)))
        taken, result = timed(
            lambda: check_record(session, PhotoStore(None), {}, lambda _chain, _events: None)
        )
    database.close()
    with capsys.disabled():
        sys.stdout.write(
            f"\ncheck of {result.events:,} events and their readings: {taken:.1f} s of processor time, "
            f"{result.events / taken:,.0f} in a second; {taken / least:.1f} times reading and hashing alone\n"
        )
    assert result.findings == []
    assert result.events > hashed == EVENTS + 1


def timed(work: Callable[[], T]) -> tuple[float, T]:
    """Seconds of processor time that some work takes, and what it gives."""
    began = time.process_time()
    done = work()
    return time.process_time() - began, done


def fill(session: Session, cast: Cast, count: int) -> str:
    """A building with one panel and so many readings of it, each told by an event; gives its chain."""
    manager = cast.person(session, "manager")
    building = add_building(session, manager, "B1", "Bench House", NOW)
    panel = add_panel(session, manager, building, roof_panel("R-01"), NOW)
    characteristic = session.query(Characteristic.id).filter_by(key="edge_length", kind=panel.kind).first()
    station = find.station(session, manager, "sheathing_fence")
    tape = session.scalars(select(Instrument.id).where(Instrument.name == "Tape 4")).one()
    last = Link(*(getattr(first_event(session, building.id), name) for name in Link._fields))
    assert characteristic is not None
    for start in range(0, count, AT_ONCE):
        numbers = range(start + 1, start + 1 + AT_ONCE)
        rows = list(made(cast, panel.id, characteristic[0], station, numbers))
        events = list(told(last, panel.id, rows))
        last = events[-1]
        session.execute(insert(Reading), rows)
        session.execute(
            insert(reading_instrument), [{"reading_id": n, "instrument_id": tape} for n in numbers]
        )
        session.execute(insert(Event), [event._asdict() for event in events])
    return last.chain


def first_event(session: Session, building: int) -> Event:
    return session.scalars(select(Event).where(Event.chain == f"building {building}")).one()


def made(
    cast: Cast, panel: int, characteristic: int, station: Station, numbers: range
) -> Iterator[dict[str, object]]:
    for number in numbers:
        yield {
            "id": number,
            "uuid": UUID(int=number),
            "panel_id": panel,
            "characteristic_id": characteristic,
            "station_id": station.id,
            "person_id": cast.worker,
            "place": "AB",
            "entries": {"length": f"24' {number}"},
            "amount": feet(24) + number,
            "target": feet(24),
            "lower": feet(23),
            "upper": feet(25),
            "standard_uncertainty": 500_000,
            "verdict": "within",
            "measured_at": NOW,
            "received_at": NOW,
            "note": "",
            "reason": "",
        }


SAME = (
    "place",
    "entries",
    "amount",
    "verdict",
    "target",
    "lower",
    "upper",
    "standard_uncertainty",
    "note",
)


def told(last: Link, panel: int, rows: list[dict[str, object]]) -> Iterator[Link]:
    for row in rows:
        facts = {
            "reading": str(row["uuid"]),
            "mark": "R-01",
            "characteristic": "edge_length",
            "measured_at": NOW.isoformat(),
            "station": "sheathing_fence",
            "plan": 1,
            "instruments": ["Tape 4"],
            **{key: row[key] for key in SAME},
        }
        worker, number = int(str(row["person_id"])), last.number + 1
        link = Link(last.chain, number, NOW, worker, panel, "reading recorded", facts, last.hash, BEGINNING)
        last = link._replace(hash=expected_hash(link))
        yield last
