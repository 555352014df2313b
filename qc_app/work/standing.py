"""What a panel's or lot's readings prove so far, and where it waits because of that."""

from collections.abc import Collection, Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import CheckKey
from qc_app.records.building import Lot, Panel
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.standing import standing

__all__ = ["ACCEPT", "Item", "accepted_readings", "place_item", "readings_of", "standing", "verdicts"]

Item = Panel | Lot
"""What can be measured."""

ACCEPT = "accept"
"""How a nonconformity is closed whose reading was accepted as it is."""


def readings_of(session: Session, item: Item) -> list[Reading]:
    """All its readings in the order they were measured, superseded ones too."""
    column = Reading.panel_id if isinstance(item, Panel) else Reading.lot_id
    return list(
        session.scalars(select(Reading).where(column == item.id).order_by(Reading.measured_at, Reading.id))
    )


def accepted_readings(session: Session, item: Item) -> frozenset[int]:
    """The numbers of its readings that were accepted as they are, by concession."""
    if not isinstance(item, Panel):
        return frozenset()
    query = select(Nonconformity.closing_reading_id).where(
        Nonconformity.panel_id == item.id, Nonconformity.closed_how == ACCEPT
    )
    return frozenset(number for number in session.scalars(query) if number is not None)


def verdicts(
    standing_readings: Mapping[CheckKey, Reading], accepted: Collection[int] = ()
) -> dict[CheckKey, Verdict]:
    """The verdict of each; one that was accepted by concession counts as within."""
    return {
        key: Verdict.WITHIN if reading.id in accepted else Verdict(reading.verdict)
        for key, reading in standing_readings.items()
    }


def place_item(session: Session, item: Item) -> None:
    """Works out anew at which station the item waits. A scrapped panel waits nowhere."""
    session.flush()
    if isinstance(item, Panel) and item.scrapped_at is not None:
        item.waiting_at = None
        return
    proven = verdicts(standing(readings_of(session, item)), accepted_readings(session, item))
    item.waiting_at = item.control_plan.plan.waiting_at(item.subject, proven)
