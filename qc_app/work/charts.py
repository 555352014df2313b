"""What a control chart shows: its points, the limits that hold for each, and the signals."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, joinedload

from qc_app.records.building import Panel
from qc_app.records.chart import Phase, Point, Signal, Stream
from qc_app.records.reading import Reading
from qc_app.records.shop import Person, Station
from qc_app.spc.run_length import shewhart
from qc_app.work.streams import phase_of

POINTS_SHOWN = 250


@dataclass(frozen=True)
class Plotted:
    """One point with its phase and the rules it completes."""

    point: Point
    mark: str
    phase: Phase | None
    rules: tuple[str, ...]


@dataclass(frozen=True)
class Chart:
    """A stretch of a stream: its points oldest first, and how many are older than those."""

    stream: Stream
    points: tuple[Plotted, ...]
    older: int

    @property
    def signalling(self) -> tuple[Plotted, ...]:
        """The points that complete a signal, newest first."""
        return tuple(p for p in reversed(self.points) if p.rules)


@dataclass(frozen=True)
class FalseSignals:
    """How often a chart signals with nothing changed, and how soon it finds a shift of one sigma.

    Averages: points between false signals, working days between them at the present pace, and points until
    the shift is found.
    """

    points_between: float
    days_between: float
    points_until_found: float


@dataclass(frozen=True)
class StreamLine:
    """One stream in the overview."""

    stream: Stream
    points: int
    last_measured_at: datetime | None
    has_limits: bool
    signals: int
    last_signal_at: datetime | None


def chart(session: Session, stream: Stream, until: datetime | None = None) -> Chart:
    """The newest points of a stream, or the newest of those measured before ``until``."""
    query = select(Point).where(Point.stream_id == stream.id)
    if until is not None:
        query = query.where(Point.measured_at < until)
    newest_first = session.scalars(
        query.order_by(Point.measured_at.desc(), Point.reading_id.desc())
        .limit(POINTS_SHOWN)
        .options(
            joinedload(Point.reading).joinedload(Reading.panel).joinedload(Panel.building),
            joinedload(Point.reading).joinedload(Reading.lot),
            joinedload(Point.reading).joinedload(Reading.person),
        )
    ).all()
    shown = list(reversed(newest_first))
    total = session.scalar(select(func.count()).select_from(query.subquery())) or 0
    rules = _rules(session, shown)
    return Chart(
        stream,
        tuple(Plotted(p, _mark(p), phase_of(stream.phases, p), rules.get(p.id, ())) for p in shown),
        total - len(shown),
    )


def false_signals(drawn: Chart) -> FalseSignals | None:
    """What a chart's present rules promise for normal, independent points; None without limits."""
    if not drawn.stream.phases or not drawn.points:
        return None
    between, until_found = _run_lengths(tuple(drawn.stream.phases[-1].rules))
    days = len({p.point.measured_at.date() for p in drawn.points})
    return FalseSignals(between, between / (len(drawn.points) / days), until_found)


@lru_cache(maxsize=64)
def _run_lengths(rules: tuple[str, ...]) -> tuple[float, float]:
    return float(shewhart(rules, 0.0)), float(shewhart(rules, 1.0))


def streams_at(session: Session, station: Station) -> list[Stream]:
    """The streams of a station, by name."""
    return list(session.scalars(select(Stream).where(Stream.station_id == station.id).order_by(Stream.name)))


def overview(session: Session, person: Person) -> list[StreamLine]:
    """All streams of the plant, in the order of the line."""
    streams = session.scalars(
        select(Stream)
        .join(Station, Stream.station_id == Station.id)
        .where(Station.plant_id == person.plant_id)
        .order_by(Station.position, Stream.name)
        .options(joinedload(Stream.station))
    ).all()
    points = _count_and_last(session, select(Point.stream_id, func.count(), func.max(Point.measured_at)))
    signals = _count_and_last(
        session,
        select(Point.stream_id, func.count(func.distinct(Point.id)), func.max(Point.measured_at)).join(
            Signal, Signal.point_id == Point.id
        ),
    )
    return [_line(stream, points.get(stream.id), signals.get(stream.id)) for stream in streams]


def _line(
    stream: Stream, points: tuple[int, datetime] | None, signals: tuple[int, datetime] | None
) -> StreamLine:
    count, last = points or (0, None)
    signalled, last_signal = signals or (0, None)
    return StreamLine(stream, count, last, bool(stream.phases), signalled, last_signal)


def _count_and_last(session: Session, query: Select[int, int, datetime]) -> dict[int, tuple[int, datetime]]:
    return {stream: (count, last) for stream, count, last in session.execute(query.group_by(Point.stream_id))}


def _rules(session: Session, shown: Sequence[Point]) -> dict[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    query = select(Signal.point_id, Signal.rule).where(Signal.point_id.in_([p.id for p in shown]))
    for point_id, rule in session.execute(query.order_by(Signal.rule)):
        found[point_id] = (*found.get(point_id, ()), rule)
    return found


def _mark(point: Point) -> str:
    """Building and mark of the panel, since buildings use the same marks; or the mark of the lot."""
    panel, lot = point.reading.panel, point.reading.lot
    if panel is not None:
        return f"{panel.building.code} {panel.mark}"
    return lot.mark if lot else ""
