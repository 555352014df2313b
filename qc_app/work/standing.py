"""What a panel's or lot's readings prove so far, and where it waits because of that."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import CheckKey
from qc_app.records.building import Lot, Panel
from qc_app.records.reading import Reading
from qc_app.records.standing import standing

__all__ = ["Item", "place_item", "readings_of", "standing", "verdicts"]

Item = Panel | Lot
"""What can be measured."""


def readings_of(session: Session, item: Item) -> list[Reading]:
    """All its readings in the order they were measured, superseded ones too."""
    column = Reading.panel_id if isinstance(item, Panel) else Reading.lot_id
    return list(
        session.scalars(select(Reading).where(column == item.id).order_by(Reading.measured_at, Reading.id))
    )


def verdicts(standing_readings: dict[CheckKey, Reading]) -> dict[CheckKey, Verdict]:
    """The verdict of each."""
    return {key: Verdict(reading.verdict) for key, reading in standing_readings.items()}


def place_item(session: Session, item: Item) -> None:
    """Works out anew at which station the item waits."""
    session.flush()
    plan = item.control_plan.plan
    proven = verdicts(standing(readings_of(session, item)))
    item.waiting_at = plan.waiting_at(item.subject, proven)
