"""How long checking the record takes on a million events."""

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import pytest
from sqlalchemy import insert
from sqlalchemy.orm import Session

from qc_app.records.chain import Link
from qc_app.records.control_plan import Characteristic
from qc_app.records.database import Database
from qc_app.records.event import BEGINNING, Event, expected_hash
from qc_app.records.photo_store import PhotoStore
from qc_app.records.reading import Reading
from qc_app.records.shop import Station
from qc_app.work import find
from qc_app.work.check_record import check_record
from qc_app.work.schedule import add_building, add_panel
from tests.conftest import NOW, Cast, feet, roof_panel, stage

EVENTS = 1_000_000
BUILDINGS = 20


@pytest.mark.bench
def test_a_million_events(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    database = Database(str(tmp_path / "qc.db"))
    database.migrate()
    cast = stage(database)
    for number in range(BUILDINGS):
        with database.write() as session:
            fill(session, cast, number, EVENTS // BUILDINGS)
    began = time.perf_counter()
    with database.snapshot() as session:
        result = check_record(session, PhotoStore(None), {}, lambda _chain, _events: None)
    taken = time.perf_counter() - began
    database.close()
    with capsys.disabled():
        sys.stdout.write(f"\ncheck of {result.events:,} events and their readings: {taken:.1f} s\n")
    assert result.findings == []
    assert result.events >= EVENTS


def fill(session: Session, cast: Cast, number: int, count: int) -> None:
    """A building with one panel and so many readings of it, each told by an event."""
    manager = cast.person(session, "manager")
    building = add_building(session, manager, f"B{number}", "Bench House", NOW)
    panel = add_panel(session, manager, building, roof_panel("R-01"), NOW)
    characteristic = session.query(Characteristic.id).filter_by(key="edge_length", kind=panel.kind).first()
    station = find.station(session, manager, "sheathing_fence")
    first = session.query(Event).filter_by(chain=f"building {building.id}").one()
    assert characteristic is not None
    rows = list(made(cast, panel.id, characteristic[0], station, number * count, count))
    session.execute(insert(Reading), rows)
    session.execute(insert(Event), list(told(first, panel.id, rows)))


def made(
    cast: Cast, panel: int, characteristic: int, station: Station, start: int, count: int
) -> Iterator[dict[str, object]]:
    for number in range(start, start + count):
        yield {
            "uuid": UUID(int=number),
            "panel_id": panel,
            "characteristic_id": characteristic,
            "station_id": station.id,
            "person_id": cast.worker,
            "place": "AB",
            "entries": {"length": "24'"},
            "amount": feet(24) + number,
            "target": feet(24),
            "verdict": "within",
            "measured_at": NOW,
            "received_at": NOW,
            "note": "",
            "reason": "",
        }


def told(first: Event, panel: int, rows: list[dict[str, object]]) -> Iterator[dict[str, object]]:
    previous = first.hash
    for number, row in enumerate(rows, 2):
        facts = {
            "reading": str(row["uuid"]),
            "mark": "R-01",
            "characteristic": "edge_length",
            "measured_at": NOW.isoformat(),
            **{key: row[key] for key in ("place", "entries", "amount", "verdict")},
        }
        worker = int(str(row["person_id"]))
        link = Link(first.chain, number, NOW, worker, panel, "reading recorded", facts, previous, BEGINNING)
        previous = expected_hash(link)
        yield link._replace(hash=previous)._asdict()
