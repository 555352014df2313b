"""Versions of the control plan: which were adopted, when each held, and what follows the one in force.

The version in force is the newest whose day has come. So a version adopted later replaces all before it from
its day on; one that waits for a day after that never comes into force, and of two for the same day the one
adopted later holds.

A panel or lot that has no reading yet follows the version in force, at the latest with its first reading. One
that has started keeps the version it was started under, until somebody moves it (``plan_moves``).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from enum import StrEnum

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Lot, Panel
from qc_app.records.control_plan import ControlPlan
from qc_app.records.event import Event, append_event
from qc_app.records.reading import Reading
from qc_app.records.shop import Person, Plant, Station
from qc_app.work.find import NotFound, Visitor
from qc_app.work.setup import keep_stations, local_zone, plan_in_force
from qc_app.work.standing import Item, place_item

ADOPTED = "control plan adopted"


class Standing(StrEnum):
    """Where a version stands in time."""

    WAITING = "waiting"
    IN_FORCE = "in_force"
    PAST = "past"
    NEVER = "never"


@dataclass(frozen=True)
class Adopted:
    """One version, who adopted it and when, and until when it held: None while nothing replaces it."""

    version: ControlPlan
    by: Person | None
    at: datetime | None
    until: datetime | None
    standing: Standing


def versions(session: Session, visitor: Visitor, now: datetime) -> list[Adopted]:
    """All versions of the visitor's plant, newest first."""
    listed = _versions(session, visitor.plant_id)
    told = _events(session, visitor.plant_id)
    numbered = reversed([*enumerate(listed, 1)])
    return [_adopted(version, listed[number:], told, now) for number, version in numbered]


def newest(session: Session, plant_id: int) -> ControlPlan:
    """The version adopted last, in force or waiting for its day."""
    return _versions(session, plant_id)[-1]


def version(session: Session, visitor: Visitor, number: int) -> ControlPlan:
    """The version with that row number. Raises NotFound outside the visitor's plant."""
    found = session.get(ControlPlan, number) if number < 2**63 else None
    if found is None or found.plant_id != visitor.plant_id:
        raise NotFound("There is no such version of the control plan in this plant.")
    return found


def day_begins(plant: Plant, day: date) -> datetime:
    """The instant at which a day begins at the plant."""
    return datetime.combine(day, time.min, local_zone(plant)).astimezone(UTC)


def begins(plant: Plant, day: date, now: datetime) -> datetime:
    """When a version in force from a day on begins: now on the same day, else when the day does."""
    return now if day == now.astimezone(local_zone(plant)).date() else day_begins(plant, day)


def replaced_before_it_began(
    session: Session, plant_id: int, begin: datetime, now: datetime
) -> list[ControlPlan]:
    """The versions still waiting that never come into force once a newer one begins at ``begin``."""
    listed = _versions(session, plant_id)
    return [
        version
        for number, version in enumerate(listed)
        if begin <= version.in_force_from > now and not _is_replaced(version, listed[number + 1 :])
    ]


def has_started(session: Session, item: Item) -> bool:
    """Whether it has a reading."""
    column = Reading.panel_id if isinstance(item, Panel) else Reading.lot_id
    return bool(session.scalar(select(exists().where(column == item.id))))


def follow(session: Session, item: Item, at: datetime, now: datetime) -> bool:
    """Brings a panel or lot without readings under the version in force ``at`` a time; True if it moved.

    It never goes back to an older version than it was scheduled under, nor to one without its kind.
    """
    plant = item.building.plant if isinstance(item, Panel) else item.plant
    wanted = _in_force(session, plant.id, at)
    if wanted is None or not _can_follow(item, wanted) or has_started(session, item):
        return False
    _follow(session, item, wanted, now)
    return True


def take_up(session: Session, plant: Plant, now: datetime) -> int:
    """Has stations, and all panels and lots that have not started, follow the version in force.

    Returns how many panels and lots moved. Doing it again changes nothing.
    """
    wanted = plan_in_force(session, plant, now)
    keep_stations(session, plant, wanted.plan)
    waiting = [item for item in _not_started(session, plant, wanted) if _can_follow(item, wanted)]
    for item in waiting:
        _follow(session, item, wanted, now)
    return len(waiting)


def is_taken_up(session: Session, plant: Plant, now: datetime) -> bool:
    """Whether ``take_up`` would change nothing."""
    wanted = plan_in_force(session, plant, now)
    kept = select(Station).where(Station.plant_id == plant.id)
    known = {station.key: (station.name, station.cautions) for station in session.scalars(kept)}
    if any(known.get(s.key) != (s.name, [*s.cautions]) for s in wanted.plan.stations):
        return False
    return not any(_can_follow(item, wanted) for item in _not_started(session, plant, wanted))


def _versions(session: Session, plant_id: int) -> list[ControlPlan]:
    query = select(ControlPlan).where(ControlPlan.plant_id == plant_id).order_by(ControlPlan.version)
    return list(session.scalars(query))


def _events(session: Session, plant_id: int) -> dict[int, Event]:
    adopted = select(Event).where(Event.chain == f"plant {plant_id}", Event.what == ADOPTED)
    return {event.facts["version"]: event for event in session.scalars(adopted)}


def _adopted(
    version: ControlPlan, later: list[ControlPlan], told: dict[int, Event], now: datetime
) -> Adopted:
    event = told.get(version.version)
    until = min((newer.in_force_from for newer in later), default=None)
    if _is_replaced(version, later):
        standing, until = Standing.NEVER, None
    elif version.in_force_from > now:
        standing = Standing.WAITING
    else:
        standing = Standing.IN_FORCE if until is None or until > now else Standing.PAST
    return Adopted(version, event.person if event else None, event.at if event else None, until, standing)


def _is_replaced(version: ControlPlan, later: Iterable[ControlPlan]) -> bool:
    """Whether a later version begins when this one does, or before."""
    return any(newer.in_force_from <= version.in_force_from for newer in later)


def _in_force(session: Session, plant_id: int, at: datetime) -> ControlPlan | None:
    return session.scalars(
        select(ControlPlan)
        .where(ControlPlan.plant_id == plant_id, ControlPlan.in_force_from <= at)
        .order_by(ControlPlan.version.desc())
        .limit(1)
    ).first()


def _not_started(session: Session, plant: Plant, wanted: ControlPlan) -> list[Item]:
    panels = (
        select(Panel)
        .join(Building, Panel.building_id == Building.id)
        .where(
            Building.plant_id == plant.id,
            Panel.control_plan_id != wanted.id,
            Panel.scrapped_at.is_(None),
            ~exists().where(Reading.panel_id == Panel.id),
        )
        .order_by(Panel.id)
    )
    lots = (
        select(Lot)
        .where(
            Lot.plant_id == plant.id,
            Lot.control_plan_id != wanted.id,
            ~exists().where(Reading.lot_id == Lot.id),
        )
        .order_by(Lot.id)
    )
    return [*session.scalars(panels), *session.scalars(lots)]


def _can_follow(item: Item, wanted: ControlPlan) -> bool:
    kinds = {kind.key: kind.is_lot for kind in wanted.plan.kinds}
    return wanted.version > item.control_plan.version and kinds.get(item.kind) is isinstance(item, Lot)


def _follow(session: Session, item: Item, wanted: ControlPlan, now: datetime) -> None:
    facts = {"mark": item.mark, "from": item.control_plan.version, "to": wanted.version}
    item.control_plan = wanted
    place_item(session, item)
    where, panel_id = (item.building, item.id) if isinstance(item, Panel) else (item.plant, None)
    append_event(session, where, "control plan followed", facts, at=now, person=None, panel_id=panel_id)
