"""Control charts: placing points, freezing limits, finding signals.

A stream's chart shows each panel as it was first measured at a place; measuring again after a repair proves
the panel but says nothing new about the process. A correction takes the place of the reading it corrects.

Every run rule looks at a window of its last few points only. So when a point is added, even one measured
days ago on a tablet that was out of reach, only the points from it to one window later can change, and what
is kept always equals what working out the whole stream would give.
"""

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby

from sqlalchemy import delete, literal, select, tuple_
from sqlalchemy.orm import Session

from qc_app.plan.characteristic import Characteristic
from qc_app.plan.quantity import Quantity
from qc_app.records import control_plan
from qc_app.records.chart import Phase, Point, Signal, Stream
from qc_app.records.event import append_event
from qc_app.records.reading import Reading
from qc_app.records.schema import UtcTime
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.spc.patterns import LONGEST_WINDOW, find
from qc_app.spc.phases import check_base
from qc_app.work.roles import Act, require
from qc_app.work.setup import plan_in_force

FEWEST_BASE_POINTS = 20
"""Points a base period needs before its limits mean anything (common practice: 20 to 25)."""


class BaseDoubted(Refusal):
    """Something speaks against freezing limits from a base; ``reservations`` are plain sentences."""

    def __init__(self, reservations: Sequence[str]) -> None:
        self.reservations = tuple(reservations)
        super().__init__("Before limits are frozen from this period: {said}", said=" ".join(reservations))


def add_point(
    session: Session, reading: Reading, characteristic: Characteristic, now: datetime
) -> Point | None:
    """Gives a reading its point, unless an earlier reading of the same check already has one.

    A correction takes the point of the reading it corrects. Returns None when the chart stays as it is.
    """
    stream = _stream(session, reading, characteristic)
    shown = _point_of_same_check(session, reading)
    if shown is not None:
        if not _takes_place_of(reading, shown):
            return None
        _remove(session, shown, now)
    point = Point(
        stream_id=stream.id,
        reading_id=reading.id,
        measured_at=reading.measured_at,
        deviation=reading.deviation,
    )
    session.add(point)
    session.flush()
    _refresh_signals(session, stream, *_window(session, point), now)
    return point


def freeze_limits(
    session: Session,
    person: Person,
    stream: Stream,
    base: tuple[datetime, datetime],
    reason: str,
    now: datetime,
    despite: bool = False,
) -> Phase:
    """Freezes control limits from the points of a base period; they hold from its first day on.

    The run rules watched are those of the control plan in force, and stay with the limits. ``despite`` says
    that whoever freezes them knows what speaks against this base.

    Raises
    ------
    BaseDoubted
        If something speaks against the base (``spc.phases``).
    NotAllowed, Refusal
        If the person may not, the chart belongs to another plant, no reason is given, the period holds too
        few points or points that do not vary, or another phase begins at the same time.
    """
    require(person, Act.FREEZE_LIMITS)
    if stream.station.plant_id != person.plant_id:
        raise Refusal("{name} belongs to another plant.", name=stream.name)
    if not reason.strip():
        raise Refusal("Say why the limits are set from this period; nothing was entered.")
    begins_at, ends_at = base
    if any(phase.begins_at == begins_at for phase in stream.phases):
        raise Refusal("Limits that begin at this time are frozen already. Choose another first day.")
    values = [p.deviation for p in points(session, stream) if begins_at <= p.measured_at <= ends_at]
    if len(values) < FEWEST_BASE_POINTS:
        raise Refusal(
            "A base period needs at least {fewest} points; this one has {given}.",
            fewest=FEWEST_BASE_POINTS,
            given=len(values),
        )
    check = check_base(values)
    if check.reservations and not despite:
        raise BaseDoubted(check.reservations)
    limits, rules = check.chart, plan_in_force(session, person.plant, now).plan.rules
    phase = Phase(
        begins_at=begins_at,
        base_ends_at=ends_at,
        points=len(values),
        centre=float(limits.centre),
        sigma=float(limits.sigma),
        rules=list(rules),
        reason=reason.strip(),
        person_id=person.id,
        frozen_at=now,
    )
    stream.phases.append(phase)
    session.flush()
    session.expire(stream, ["phases"])  # to have them in order of time again
    facts = {
        "chart": stream.name,
        "station": stream.station.key,
        "begins_at": begins_at.isoformat(),
        "base_ends_at": ends_at.isoformat(),
        "points": phase.points,
        "centre": repr(phase.centre),
        "sigma": repr(phase.sigma),
        "reason": phase.reason,
        "rules": phase.rules,
        "reservations": list(check.reservations),
    }
    append_event(session, person.plant, "control limits frozen", facts, at=now, person=person)
    _refresh_signals(session, stream, [], points(session, stream), now)
    return phase


def points(session: Session, stream: Stream) -> list[Point]:
    """All points of a stream in order of when they were measured."""
    return list(
        session.scalars(
            select(Point).where(Point.stream_id == stream.id).order_by(Point.measured_at, Point.reading_id)
        )
    )


def signals(session: Session, stream: Stream) -> list[Signal]:
    """All signals of a stream, oldest first."""
    return list(
        session.scalars(
            select(Signal)
            .join(Point, Signal.point_id == Point.id)
            .where(Point.stream_id == stream.id)
            .order_by(Point.measured_at, Point.reading_id, Signal.rule)
        )
    )


def phase_of(phases: Sequence[Phase], point: Point) -> Phase | None:
    """The phase whose limits hold when the point was measured; ``phases`` in order of time."""
    begun = [phase for phase in phases if phase.begins_at <= point.measured_at]
    return begun[-1] if begun else None


def _stream(session: Session, reading: Reading, characteristic: Characteristic) -> Stream:
    place = characteristic.stream_place(reading.place)
    found = session.scalars(
        select(Stream).where(
            Stream.station_id == reading.station_id,
            Stream.characteristic == characteristic.key,
            Stream.place == place,
        )
    ).first()
    if found is None:
        found = Stream(
            station_id=reading.station_id,
            characteristic=characteristic.key,
            place=place,
            name=f"{characteristic.name}, {place}" if place else characteristic.name,
            quantity_name=Quantity(characteristic.quantity).value,
        )
        session.add(found)
        session.flush()
    return found


def _point_of_same_check(session: Session, reading: Reading) -> Point | None:
    return session.scalars(
        select(Point)
        .join(Reading, Point.reading_id == Reading.id)
        .join(control_plan.Characteristic, Reading.characteristic_id == control_plan.Characteristic.id)
        .where(
            # By key: another reading of the panel may have been taken under another version of the plan.
            control_plan.Characteristic.key == reading.characteristic.key,
            Reading.place == reading.place,
            Reading.panel_id == reading.panel_id if reading.panel_id else Reading.lot_id == reading.lot_id,
        )
    ).first()


def _takes_place_of(reading: Reading, shown: Point) -> bool:
    if reading.supersedes_id is not None:
        return shown.reading_id == reading.supersedes_id
    return reading.measured_at < shown.measured_at


def _remove(session: Session, point: Point, now: datetime) -> None:
    before, (_, *after) = _window(session, point)
    session.execute(delete(Signal).where(Signal.point_id == point.id))
    session.delete(point)
    session.flush()
    _refresh_signals(session, point.stream, before, after, now)


def _window(session: Session, point: Point) -> tuple[list[Point], list[Point]]:
    """The points that a signal at this one looks back on, and this one with those that look back on it."""
    reach = LONGEST_WINDOW - 1
    place = tuple_(Point.measured_at, Point.reading_id)
    here = tuple_(literal(point.measured_at, UtcTime), literal(point.reading_id))
    of_stream = select(Point).where(Point.stream_id == point.stream_id)
    before = session.scalars(
        of_stream.where(place < here).order_by(Point.measured_at.desc(), Point.reading_id.desc()).limit(reach)
    )
    after = session.scalars(
        of_stream.where(place > here).order_by(Point.measured_at, Point.reading_id).limit(reach)
    )
    return [*before][::-1], [point, *after]


def _refresh_signals(
    session: Session, stream: Stream, before: Sequence[Point], changed: Sequence[Point], now: datetime
) -> None:
    """Brings the signals of the changed points up to date; ``before`` are those they look back on."""
    wanted = _signals_wanted(stream.phases, [*before, *changed])
    ids = {point.id for point in changed}
    stored = {
        (signal.point_id, signal.rule): signal
        for signal in session.scalars(select(Signal).where(Signal.point_id.in_(ids)))
    }
    for key, signal in stored.items():
        if wanted.get(key) != signal.phase_id:
            session.delete(signal)
    session.flush()
    session.add_all(
        Signal(point_id=point_id, rule=rule, phase_id=phase_id, found_at=now)
        for (point_id, rule), phase_id in wanted.items()
        if point_id in ids and ((point_id, rule) not in stored or stored[point_id, rule].phase_id != phase_id)
    )
    session.flush()


def _signals_wanted(phases: Sequence[Phase], listed: Sequence[Point]) -> dict[tuple[int, str], int]:
    """Phase of each signal these points make, by point and rule. No run goes across the start of a phase."""
    wanted = {}
    for phase, members in groupby(listed, key=lambda point: phase_of(phases, point)):
        if phase is None:
            continue
        judged = list(members)
        found = find([point.deviation for point in judged], phase.centre, phase.sigma, phase.rules)
        for rule, indexes in found.items():
            wanted.update({(judged[i].id, rule): phase.id for i in indexes})
    return wanted
