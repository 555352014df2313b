"""The board of the shop: what waits where, what is held and why, what drifts, what the next truck lacks."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from sqlalchemy import exists, func, or_, select
from sqlalchemy.orm import Session, joinedload, load_only

from qc_app.measure.conformity import Verdict
from qc_app.records.building import Building, Panel
from qc_app.records.chart import Phase, Point, Signal, Stream
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.release import Load, Passage
from qc_app.records.shop import Person, Plant, Station
from qc_app.records.tablet import Tablet
from qc_app.work import find
from qc_app.work.notices import count_open
from qc_app.work.roles import Act, require
from qc_app.work.setup import local_zone
from qc_app.work.state import RELEASED, SCRAPPED, SET, Held, PanelState, states_in
from qc_app.work.streams import phase_of

SHOWN = 8
"""How many lines of a list the board shows; the others are counted."""

DRAWN = 30
"""How many points a small chart draws."""

LOOKED_BACK = timedelta(days=30)
"""How old a point of a small chart may be."""

SILENT_AFTER = timedelta(hours=1)
"""How long nothing may be heard from a tablet before the board says so."""


@dataclass(frozen=True)
class Column:
    """The panels at one place of the line, in raising order; ``station`` is None behind the last one."""

    station: Station | None
    is_released: bool
    panels: tuple[PanelState, ...]

    @property
    def held(self) -> int:
        return sum(state.is_held for state in self.panels)


@dataclass(frozen=True)
class HeldPanel:
    """A panel with the oldest of what holds it, and how many holds there are besides."""

    state: PanelState
    held: Held
    besides: int


@dataclass(frozen=True)
class SmallChart:
    """The newest points of one stream, oldest first; by number those that signal or are outside."""

    stream: Stream
    points: tuple[Point, ...]
    signalling: frozenset[int]
    outside: frozenset[int]
    has_target: bool
    phase: Phase | None
    today: int
    signals_today: int


@dataclass(frozen=True)
class Truck:
    """The next load that is not all on its truck, and its panels in raising order."""

    load: Load
    panels: tuple[PanelState, ...]

    @property
    def missing(self) -> tuple[PanelState, ...]:
        """The panels that may not leave: not released, or held again since."""
        return tuple(state for state in self.panels if state.released is None or state.is_held)


@dataclass(frozen=True)
class Board:
    """Everything the shop lead looks after, as it stands at one moment."""

    at: datetime
    columns: tuple[Column, ...]
    held: tuple[HeldPanel, ...]
    nonconformities: tuple[Nonconformity, ...]
    open_nonconformities: int
    charts: tuple[SmallChart, ...]
    truck: Truck | None
    notices: int
    silent_tablets: tuple[Tablet, ...]


def board(session: Session, person: Person, now: datetime) -> Board:
    """The board of the person's plant."""
    require(person, Act.FOLLOW_BOARD)
    states = _states(session, person, now)
    nonconformities = _open_nonconformities(session, person)
    return Board(
        at=now,
        columns=_columns(find.stations(session, person), states),
        held=_held(states),
        nonconformities=tuple(nonconformities[:SHOWN]),
        open_nonconformities=len(nonconformities),
        charts=_charts(session, person.plant, now),
        truck=_truck(session, person, states),
        notices=count_open(session, person),
        silent_tablets=_silent_tablets(session, person, now),
    )


def _states(session: Session, person: Person, now: datetime) -> list[PanelState]:
    """The panels of all buildings that are not set yet, oldest building first, in raising order."""
    is_set = exists().where(Passage.panel_id == Panel.id, Passage.what == "set")
    in_hand = exists().where(Panel.building_id == Building.id, Panel.scrapped_at.is_(None), ~is_set)
    buildings = session.scalars(
        select(Building).where(Building.plant_id == person.plant_id, in_hand).order_by(Building.id)
    ).all()
    states = states_in(session, buildings, now)
    return [state for state in states if state.standing not in (SET, SCRAPPED)]


def _columns(stations: Sequence[Station], states: Sequence[PanelState]) -> tuple[Column, ...]:
    """The stations in the order of the line, then what is through it, then what may leave."""
    kept = [state for state in states if state.released is None]
    at_stations = (
        Column(station, False, tuple(s for s in kept if s.waiting_at == station.key)) for station in stations
    )
    through = Column(None, False, tuple(s for s in kept if s.waiting_at is None))
    released = Column(None, True, tuple(s for s in states if s.standing == RELEASED))
    return (*at_stations, through, released)


def _held(states: Sequence[PanelState]) -> tuple[HeldPanel, ...]:
    """Whatever is held, on its truck already too, the longest first."""
    held = [
        HeldPanel(state, min(state.holds, key=lambda held: held.since), len(state.holds) - 1)
        for state in states
        if state.is_held
    ]
    return tuple(sorted(held, key=lambda one: one.held.since))


def _open_nonconformities(session: Session, person: Person) -> Sequence[Nonconformity]:
    return session.scalars(
        select(Nonconformity)
        .join(Building, Nonconformity.building_id == Building.id)
        .where(Building.plant_id == person.plant_id, Nonconformity.closed_at.is_(None))
        .order_by(Nonconformity.opened_at, Nonconformity.id)
        .options(joinedload(Nonconformity.panel), joinedload(Nonconformity.building))
    ).all()


def _charts(session: Session, plant: Plant, now: datetime) -> tuple[SmallChart, ...]:
    """The charts with a point or a signal today, those with a signal first, in the order of the line."""
    morning = _morning(plant, now)
    streams = _streams_of_today(session, plant, morning)
    newest = _newest_points(session, streams, now)
    drawn = [_small(stream, newest.get(stream.id, ()), morning) for stream in streams]
    return tuple(sorted(drawn, key=lambda small: not small.signals_today))


def _streams_of_today(session: Session, plant: Plant, morning: datetime) -> Sequence[Stream]:
    measured = exists().where(Point.stream_id == Stream.id, Point.measured_at >= morning)
    found = exists().where(
        Point.stream_id == Stream.id, Signal.point_id == Point.id, Signal.found_at >= morning
    )
    return (
        session.scalars(
            select(Stream)
            .join(Station, Stream.station_id == Station.id)
            .where(Station.plant_id == plant.id, or_(measured, found))
            .order_by(Station.position, Stream.name)
            .options(joinedload(Stream.station), joinedload(Stream.phases))
        )
        .unique()
        .all()
    )


Drawn = tuple[Point, bool, Reading]
"""A point, whether it completes a signal, and its reading."""


def _newest_points(session: Session, streams: Sequence[Stream], now: datetime) -> dict[int, list[Drawn]]:
    """The newest points of each stream, oldest first."""
    order = (Point.measured_at.desc(), Point.reading_id.desc())
    numbered = (
        select(Point.id, func.row_number().over(partition_by=Point.stream_id, order_by=order).label("number"))
        .where(Point.stream_id.in_([s.id for s in streams]), Point.measured_at > now - LOOKED_BACK)
        .subquery()
    )
    signals = exists().where(Signal.point_id == Point.id)
    rows = session.execute(
        select(Point, signals, Reading)
        .join(Reading, Point.reading_id == Reading.id)
        .join(numbered, numbered.c.id == Point.id)
        .options(load_only(Reading.verdict, Reading.target))
        .where(numbered.c.number <= DRAWN)
        .order_by(Point.measured_at, Point.reading_id)
    ).all()
    by_stream: dict[int, list[Drawn]] = {}
    for point, is_signal, reading in rows:
        by_stream.setdefault(point.stream_id, []).append((point, is_signal, reading))
    return by_stream


def _small(stream: Stream, newest: Sequence[Drawn], morning: datetime) -> SmallChart:
    points = tuple(point for point, _is_signal, _reading in newest)
    signalling = frozenset(point.id for point, is_signal, _reading in newest if is_signal)
    today = [point for point in points if point.measured_at >= morning]
    return SmallChart(
        stream,
        points,
        signalling,
        frozenset(point.id for point, _, reading in newest if reading.verdict == Verdict.OUTSIDE),
        any(reading.target is not None for _point, _is_signal, reading in newest),
        phase_of(stream.phases, points[-1]) if points else None,
        len(today),
        sum(point.id in signalling for point in today),
    )


def _morning(plant: Plant, now: datetime) -> datetime:
    """When today began on the plant's clock."""
    zone = local_zone(plant)
    return datetime.combine(now.astimezone(zone).date(), time(), zone).astimezone(now.tzinfo)


def _truck(session: Session, person: Person, states: Sequence[PanelState]) -> Truck | None:
    loaded = exists().where(Passage.panel_id == Panel.id, Passage.what == "loaded")
    waits = exists().where(Panel.load_id == Load.id, Panel.scrapped_at.is_(None), ~loaded)
    load = session.scalars(
        select(Load)
        .join(Building, Load.building_id == Building.id)
        .where(Building.plant_id == person.plant_id, waits)
        .order_by(Load.leaves_on.is_(None), Load.leaves_on, Load.building_id, Load.number)
        .limit(1)
        .options(joinedload(Load.building))
    ).first()
    if load is None:
        return None
    return Truck(load, tuple(state for state in states if state.panel.load_id == load.id))


def _silent_tablets(session: Session, person: Person, now: datetime) -> tuple[Tablet, ...]:
    """The enrolled tablets that were not heard from, the longest silent first."""
    return tuple(
        session.scalars(
            select(Tablet)
            .where(
                Tablet.plant_id == person.plant_id,
                Tablet.enrolled_at.is_not(None),
                Tablet.revoked_at.is_(None),
                Tablet.seen_at < now - SILENT_AFTER,
            )
            .order_by(Tablet.seen_at)
        )
    )
