"""What is known about a panel or lot, in order of time."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, joinedload

from qc_app.measure.conformity import Verdict
from qc_app.plan.method import Companion, Outcome
from qc_app.records.building import Building, Panel
from qc_app.records.chart import Point, Signal
from qc_app.records.event import Event
from qc_app.records.reading import Reading
from qc_app.records.shop import Station
from qc_app.work.fill_agreement import FillAgreement, agreements_of
from qc_app.work.record import circumstances_of
from qc_app.work.standing import Item, decided_about, readings_of, standing
from qc_app.work.waiting import Due, due_of

ROUTINE = ("panel scheduled", "reading recorded", "lot used")
"""Events that every panel has, most of them many times; the others tell its way."""


@dataclass(frozen=True)
class Told:
    """One reading with what belongs beside it."""

    reading: Reading
    companions: tuple[Companion, ...]
    rules: tuple[str, ...]
    is_newest: bool


@dataclass(frozen=True)
class History:
    """Readings in order of when they were measured, what is still open, and the panel's events."""

    readings: tuple[Told, ...]
    open: tuple[Due, ...]
    waiting_at: Station | None
    events: tuple[Event, ...]
    fill_agreements: tuple[FillAgreement, ...]
    """Bays where both the mass blown in and a core tell the density; some may disagree."""


@dataclass(frozen=True)
class PanelLine:
    """One panel in a building's list."""

    panel: Panel
    kind: str
    waiting_at: str | None
    readings: int
    outside: int


def history_of(session: Session, item: Item) -> History:
    """Everything known about an item."""
    readings = readings_of(session, item)
    newest, decided = standing(readings), decided_about(session, item)
    rules = _rules_by_reading(session, readings)
    told = tuple(
        Told(
            r,
            outcome_of(r, item).companions,
            rules.get(r.id, ()),
            newest.get((r.characteristic.key, r.place)) is r,
        )
        for r in readings
    )
    plan = item.control_plan.plan
    still_open = tuple(
        due
        for station in plan.kind(item.kind).route
        for check in plan.checks(item.subject, station)
        if not (due := due_of(check, newest, decided)).is_proven
    )
    return History(
        told,
        still_open,
        _station(session, item),
        _events(session, item),
        agreements_of(item, newest.values()),
    )


def acts_of(session: Session, panel: Panel) -> list[Event]:
    """What happened to a panel besides being measured: what held it, what was decided, what let it go."""
    return _acts(session, select(Event).where(Event.panel_id == panel.id))


def acts_in(session: Session, building: Building) -> list[Event]:
    """The same of a whole building, with its loads and packets, in the order of its chain."""
    return _acts(session, select(Event).where(Event.chain == f"building {building.id}"))


def _acts(session: Session, query: Select[Event]) -> list[Event]:
    """Events in order, each with whoever did it."""
    told = query.where(Event.what.not_in(ROUTINE)).order_by(Event.number)
    return list(session.scalars(told.options(joinedload(Event.person))))


def outcome_of(reading: Reading, item: Item) -> Outcome:
    """What follows from a reading's entries besides what is stored: numbers beside its amount, advice."""
    plan = reading.characteristic.control_plan.plan
    characteristic = plan.characteristic(item.kind, reading.characteristic.key)
    at = circumstances_of(item, reading.place, reading.instruments)
    return characteristic.work_out(reading.entries, at)


def panels_of(session: Session, building: Building) -> list[PanelLine]:
    """A building's panels in raising sequence."""
    counts = {
        panel_id: (count, outside)
        for panel_id, count, outside in session.execute(
            select(
                Reading.panel_id,
                func.count(),
                func.count().filter(Reading.verdict == Verdict.OUTSIDE.value),
            )
            .join(Panel, Reading.panel_id == Panel.id)
            .where(Panel.building_id == building.id)
            .group_by(Reading.panel_id)
        )
    }
    panels = session.scalars(
        select(Panel).where(Panel.building_id == building.id).order_by(Panel.raising_sequence, Panel.id)
    )
    return [_line(panel, *counts.get(panel.id, (0, 0))) for panel in panels]


def _line(panel: Panel, count: int, outside: int) -> PanelLine:
    plan = panel.control_plan.plan
    waiting = plan.station(panel.waiting_at).name if panel.waiting_at else None
    return PanelLine(panel, plan.kind(panel.kind).name, waiting, count, outside)


def _rules_by_reading(session: Session, readings: Sequence[Reading]) -> dict[int, tuple[str, ...]]:
    rows = session.execute(
        select(Point.reading_id, Signal.rule)
        .join(Signal, Signal.point_id == Point.id)
        .where(Point.reading_id.in_([r.id for r in readings]))
        .order_by(Signal.rule)
    )
    found: dict[int, tuple[str, ...]] = {}
    for reading_id, rule in rows:
        found[reading_id] = (*found.get(reading_id, ()), rule)
    return found


def _station(session: Session, item: Item) -> Station | None:
    plant_id = item.building.plant_id if isinstance(item, Panel) else item.plant_id
    return session.scalars(
        select(Station).where(Station.plant_id == plant_id, Station.key == item.waiting_at)
    ).first()


def _events(session: Session, item: Item) -> tuple[Event, ...]:
    if not isinstance(item, Panel):
        return ()
    return tuple(
        session.scalars(select(Event).where(Event.panel_id == item.id).order_by(Event.at, Event.number))
    )
