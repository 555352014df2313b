"""What a panel's or lot's readings prove so far, and where it waits because of that."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import CheckKey
from qc_app.records.building import Lot, Panel
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.standing import standing

__all__ = ["ACCEPT", "Decided", "Item", "decided", "decided_about", "place_item", "readings_of", "standing"]

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


@dataclass(frozen=True)
class Decided:
    """Readings, by their numbers, that may count otherwise than they were judged.

    ``accepted`` by concession, they count as within; ``doubted`` by an open nonconformity, as outside.
    """

    accepted: frozenset[int] = frozenset()
    doubted: frozenset[int] = frozenset()

    def verdict(self, reading: int, judged: str) -> Verdict:
        """What a reading counts as."""
        if reading in self.accepted:
            return Verdict.WITHIN
        return Verdict.OUTSIDE if reading in self.doubted else Verdict(judged)

    def verdicts(self, standing_readings: Mapping[CheckKey, Reading]) -> dict[CheckKey, Verdict]:
        """What each counts as."""
        return {key: self.verdict(r.id, r.verdict) for key, r in standing_readings.items()}


def decided(session: Session, panels: Collection[int]) -> Decided:
    """What was decided about the readings of some panels, given by their numbers."""
    query = select(
        Nonconformity.reading_id,
        Nonconformity.closing_reading_id,
        Nonconformity.closed_at,
        Nonconformity.closed_how,
    ).where(Nonconformity.panel_id.in_(panels))
    rows = session.execute(query).all()
    return Decided(
        frozenset(row.closing_reading_id for row in rows if row.closed_how == ACCEPT),
        frozenset(row.reading_id for row in rows if row.closed_at is None),
    )


def decided_about(session: Session, item: Item) -> Decided:
    """What was decided about the readings of one panel; nothing is about those of a lot."""
    return decided(session, [item.id]) if isinstance(item, Panel) else Decided()


def place_item(session: Session, item: Item) -> None:
    """Works out anew at which station the item waits. A scrapped panel waits nowhere."""
    session.flush()
    if isinstance(item, Panel) and item.scrapped_at is not None:
        item.waiting_at = None
        return
    verdicts = decided_about(session, item).verdicts(standing(readings_of(session, item)))
    item.waiting_at = item.control_plan.plan.waiting_at(item.subject, verdicts)
