"""What waits at a station, and what is due on it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import Check, CheckKey
from qc_app.records.building import Building, Lot, Panel
from qc_app.records.reading import Reading
from qc_app.records.shop import Station
from qc_app.work.find import Visitor
from qc_app.work.setup import plan_in_force
from qc_app.work.standing import Decided, Item, decided_about, readings_of, standing


@dataclass(frozen=True)
class Due:
    """One check due on an item here, the newest reading of it, if any, and what that counts as."""

    check: Check
    reading: Reading | None
    verdict: Verdict | None

    @property
    def is_proven(self) -> bool:
        """Whether the newest reading is within its limits, or was accepted as it is."""
        return self.verdict is Verdict.WITHIN

    @property
    def is_accepted(self) -> bool:
        """Whether the newest reading counts as within by concession only."""
        return self.is_proven and self.reading is not None and self.reading.verdict != Verdict.WITHIN


def due_of(check: Check, newest: Mapping[CheckKey, Reading], decided: Decided) -> Due:
    """A check with its newest reading, and what that counts as after all that was decided."""
    reading = newest.get(check.key)
    return Due(check, reading, decided.verdict(reading.id, reading.verdict) if reading else None)


def panels_waiting(session: Session, visitor: Visitor, station: Station) -> list[Panel]:
    """The panels that wait at a station, in raising sequence, building by building."""
    return list(
        session.scalars(
            select(Panel)
            .join(Building, Panel.building_id == Building.id)
            .where(Building.plant_id == visitor.plant_id, Panel.waiting_at == station.key)
            .order_by(Building.id, Panel.raising_sequence)
        )
    )


def panels_coming(session: Session, visitor: Visitor, station: Station) -> list[Panel]:
    """The unfinished panels that have this station still before them, those nearest to it first."""
    unfinished = session.scalars(
        select(Panel)
        .join(Building, Panel.building_id == Building.id)
        .where(Building.plant_id == visitor.plant_id, Panel.waiting_at != station.key)
        .order_by(Building.id, Panel.raising_sequence)
        .options(joinedload(Panel.building), joinedload(Panel.control_plan))
    )
    ahead = [(stations_ahead(panel, station), panel) for panel in unfinished]
    coming = [(ahead, panel) for ahead, panel in ahead if ahead]
    return [panel for _, panel in sorted(coming, key=lambda found: found[0])]


def panels_in_hand(session: Session, visitor: Visitor) -> list[Panel]:
    """All panels of the buildings of which some panel still waits somewhere."""
    unfinished = select(Panel.building_id).where(Panel.waiting_at.is_not(None))
    return list(
        session.scalars(
            select(Panel)
            .join(Building, Panel.building_id == Building.id)
            .where(Building.plant_id == visitor.plant_id, Panel.building_id.in_(unfinished))
            .order_by(Building.id, Panel.raising_sequence)
            .options(joinedload(Panel.building), joinedload(Panel.control_plan))
        )
    )


def stations_ahead(panel: Panel, station: Station) -> int:
    """How many stations further on in its route; 0 where the panel has passed the station or never does."""
    route = panel.control_plan.plan.kind(panel.kind).route
    if panel.waiting_at not in route or station.key not in route:
        return 0
    return max(route.index(station.key) - route.index(panel.waiting_at), 0)


def lots_waiting(session: Session, visitor: Visitor, station: Station) -> list[Lot]:
    """The lots that wait at a station, oldest first."""
    return list(
        session.scalars(
            select(Lot)
            .where(Lot.plant_id == visitor.plant_id, Lot.waiting_at == station.key)
            .order_by(Lot.id)
        )
    )


def takes_lots(session: Session, visitor: Visitor, station: Station, now: datetime) -> bool:
    """Whether the control plan in force has lots pass this station."""
    plan = plan_in_force(session, visitor.plant, now).plan
    return any(kind.is_lot and station.key in kind.route for kind in plan.kinds)


def due_here(session: Session, item: Item, station: Station) -> list[Due]:
    """The checks due on an item at a station, in the order of the plan."""
    newest, decided = standing(readings_of(session, item)), decided_about(session, item)
    checks = item.control_plan.plan.checks(item.subject, station.key)
    return [due_of(check, newest, decided) for check in checks]


def next_due(due: list[Due]) -> Due | None:
    """The first check that has no reading yet, or else the first whose reading is not within its limits."""
    unread = [d for d in due if d.reading is None]
    unproven = [d for d in due if not d.is_proven]
    return next(iter(unread or unproven), None)
