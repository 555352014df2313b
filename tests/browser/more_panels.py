"""A fourth building for the demo, when a test needs more panels than wait there."""

from datetime import UTC, datetime
from uuid import uuid4

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.work import find
from qc_app.work.record import NewReading, record
from qc_app.work.schedule import NewPanel, add_building, add_panel
from tests.conftest import feet

DEPTH = 95_250_000
"""3 3/4 in, in nanometres."""


def add_panels(database: Database, count: int) -> list[int]:
    """Adds partitions of 10 by 8 ft that have passed framing and wait at the fence; gives their numbers."""
    with database.write() as session:
        manager = person(session, "mira")
        building = add_building(session, manager, "H4", "Heron Yard", datetime.now(UTC))
        panels = [
            add_panel(session, manager, building, partition(number), datetime.now(UTC))
            for number in range(1, count + 1)
        ]
        for panel in panels:
            _frame(session, panel)
        return [panel.id for panel in panels]


def partition(number: int) -> NewPanel:
    """The n-th of them."""
    return NewPanel(f"P-{number:02}", "partition", feet(10), feet(8), DEPTH, "Partitions", number, number)


def person(session: Session, sign_in_name: str) -> Person:
    """Somebody of the demo."""
    return session.scalars(select(Person).where(Person.sign_in_name == sign_in_name)).one()


def _frame(session: Session, panel: Panel) -> None:
    """Records the one check that framing asks of a partition."""
    worker, now = person(session, "wren"), datetime.now(UTC)
    station = find.station(session, worker, "framing")
    framed = NewReading(uuid4(), panel, station, "framing_check", "", {"passed": "yes"}, now)
    record(session, worker, framed, now)
