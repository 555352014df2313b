"""Readings put straight into the tables."""

from uuid import uuid4

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.control_plan import Characteristic
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Station
from tests.conftest import NOW, Cast, feet, panel_of, stage


def reading_of(session: Session, cast: Cast, **otherwise: object) -> Reading:
    """A reading of edge AB of the roof panel, on target, where not said otherwise; not yet in the session."""
    panel = panel_of(session, cast)
    characteristic = session.scalars(
        select(Characteristic.id).where(
            Characteristic.control_plan_id == panel.control_plan_id,
            Characteristic.kind == panel.kind,
            Characteristic.key == "edge_length",
        )
    ).one()
    station = session.scalars(
        select(Station.id).where(
            Station.plant_id == panel.building.plant_id, Station.key == "sheathing_fence"
        )
    ).one()
    usual: dict[str, object] = {
        "uuid": uuid4(),
        "panel_id": panel.id,
        "characteristic_id": characteristic,
        "station_id": station,
        "person_id": cast.worker,
        "place": "AB",
        "entries": {"length": "24'"},
        "amount": feet(24),
        "target": feet(24),
        "verdict": "within",
        "measured_at": NOW,
        "received_at": NOW,
        "note": "",
    }
    return Reading(**usual | otherwise)


@pytest.fixture
def recorded(database: Database, cast: Cast) -> Cast:
    """The cast, with one reading in the tables that names its tape."""
    with database.write() as session:
        reading = reading_of(session, cast)
        reading.instruments = [session.scalars(select(Instrument).where(Instrument.kind == "tape")).one()]
        session.add(reading)
    return cast


@pytest.fixture
def sqlite_cast(sqlite_database: Database) -> Cast:
    """The cast on stage where the kind of database makes no difference."""
    return stage(sqlite_database)
