"""Readings put straight into the tables."""

from uuid import UUID, uuid4

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.control_plan import Characteristic
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Station
from tests.conftest import NOW, Cast, feet, panel_of


def reading_of(session: Session, cast: Cast, uuid: UUID | None = None) -> Reading:
    """A reading of edge AB of the roof panel, on target; not yet added to the session."""
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
    return Reading(
        uuid=uuid or uuid4(),
        panel_id=panel.id,
        characteristic_id=characteristic,
        station_id=station,
        person_id=cast.worker,
        place="AB",
        entries={"length": "24'"},
        amount=feet(24),
        target=feet(24),
        verdict="within",
        measured_at=NOW,
        received_at=NOW,
        note="",
    )


@pytest.fixture
def recorded(database: Database, cast: Cast) -> Cast:
    """The cast, with one reading in the tables that names its tape."""
    with database.write() as session:
        reading = reading_of(session, cast)
        reading.instruments = [session.scalars(select(Instrument).where(Instrument.kind == "tape")).one()]
        session.add(reading)
    return cast
