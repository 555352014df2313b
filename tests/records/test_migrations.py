"""A filled database goes from version to version without losing anything."""

from datetime import timedelta

import pytest
from alembic import command
from sqlalchemy import Connection, func, select, text
from sqlalchemy.exc import DBAPIError

from qc_app.records.chart import Phase, Point, Signal, Stream
from qc_app.records.database import Database, alembic_config
from qc_app.records.reading import Reading
from qc_app.records.schema import Table
from tests.conftest import NOW, Cast

VERSIONS = ("0001", "0002", "0003", "0004")
"""Every version but the newest."""


@pytest.fixture
def filled(database: Database, recorded: Cast) -> Database:
    """A database with a row in every table that refers to another."""
    with database.write() as session:
        reading = session.scalars(select(Reading)).one()
        stream = Stream(
            station_id=reading.station_id,
            characteristic="edge_length",
            place="AB",
            name="Length of edge, AB",
            quantity_name="length",
        )
        session.add(stream)
        session.flush()
        point = Point(stream_id=stream.id, reading_id=reading.id, measured_at=NOW, deviation=0)
        phase = Phase(
            stream_id=stream.id,
            begins_at=NOW,
            base_ends_at=NOW + timedelta(days=1),
            points=20,
            centre=0.0,
            sigma=1.0,
            rules=["beyond_limit"],
            reason="Steady.",
            person_id=recorded.manager,
            frozen_at=NOW,
        )
        session.add_all([point, phase])
        session.flush()
        session.add(Signal(point_id=point.id, phase_id=phase.id, rule="beyond_limit", found_at=NOW))
    return database


def rows(connection: Connection) -> dict[str, int]:
    """How many rows each table holds."""
    return {
        name: connection.scalar(select(func.count()).select_from(table)) or 0
        for name, table in Table.metadata.tables.items()
    }


@pytest.mark.parametrize("version", VERSIONS)
def test_an_older_filled_database_is_brought_up_to_date(filled: Database, version: str) -> None:
    with filled.engine.begin() as connection:
        before = rows(connection)
    with filled.engine.begin() as connection:
        command.downgrade(alembic_config(connection), version)
    filled.migrate()
    with filled.read() as session:
        assert rows(session.connection()) == before
        assert before["signal"] == before["reading"] == 1
        assert "beyond_limit" in session.scalars(select(Phase)).one().rules


@pytest.mark.parametrize("version", VERSIONS)
def test_readings_stay_guarded_after_a_migration(filled: Database, version: str) -> None:
    with filled.engine.begin() as connection:
        command.downgrade(alembic_config(connection), version)
    filled.migrate()
    with pytest.raises(DBAPIError, match="append-only"), filled.engine.begin() as connection:
        connection.execute(text("UPDATE reading SET amount = 1"))
