"""What a draft of the control plan would have made of readings already taken."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import NamedTuple

from sqlalchemy import Select, exists, func, select
from sqlalchemy.orm import Session, aliased, joinedload, selectinload

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.subject import Subject
from qc_app.records.building import Lot, Panel
from qc_app.records.control_plan import Characteristic
from qc_app.records.reading import Reading
from qc_app.records.shop import Person, Station
from qc_app.refusal import Refusal
from qc_app.work.rejudge import Rejudging
from qc_app.work.roles import Act, require

MOST_READINGS = 20_000
"""More would keep the page waiting for many seconds."""
USUAL_SPAN = timedelta(days=31)
AT_ONCE = 500
"""Panels looked up in one query."""


class Taken(NamedTuple):
    """What of a reading judging it again needs."""

    panel_id: int | None
    lot_id: int | None
    key: str
    name: str
    place: str
    amount: int
    standard_uncertainty: int | None
    verdict: str


@dataclass
class Tally:
    """How the readings of one characteristic were judged, and how they would have been."""

    key: str
    name: str
    was: Counter[str] = field(default_factory=Counter)
    would_be: Counter[str] = field(default_factory=Counter)
    changed: int = 0

    @property
    def readings(self) -> int:
        return self.was.total()


@dataclass(frozen=True)
class Preview:
    """What would have been. A panel counts as held if any of its readings in the span is not within."""

    since: datetime
    until: datetime
    tallies: tuple[Tally, ...]
    held_instead: tuple[Panel, ...]
    """Panels that were not held and would have been."""
    free_instead: tuple[Panel, ...]
    """Panels that were held and would not have been."""

    @cached_property
    def readings(self) -> int:
        return sum(tally.readings for tally in self.tallies)

    @cached_property
    def changed(self) -> int:
        return sum(tally.changed for tally in self.tallies)


def preview(session: Session, person: Person, plan: ControlPlan, since: datetime, until: datetime) -> Preview:
    """Judges by a plan what was measured in the plant in a span of time; corrected readings are left out.

    Each reading is judged with the uncertainty that is stored with it, and places that the plan does not have
    get no verdict.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the span ends before it begins, or it holds more than ``MOST_READINGS``.
    """
    require(person, Act.EDIT_PLAN)
    if until <= since:
        raise Refusal("The span ends before it begins.", about="until")
    query = _in_span(person.plant_id, since, until)
    count = session.scalar(select(func.count()).select_from(query.subquery())) or 0
    if count > MOST_READINGS:
        raise Refusal(
            "There are {given} readings in this span; at most {most} are judged at once. Choose a shorter "
            "one.",
            about="since",
            given=count,
            most=MOST_READINGS,
        )
    taken = [Taken(*row) for row in session.execute(query)]
    panels = _panels(session, {one.panel_id for one in taken if one.panel_id is not None})
    lots = _lots(session, {one.lot_id for one in taken if one.lot_id is not None})
    return _judged(taken, panels, lots, plan, since, until)


def _in_span(
    plant_id: int, since: datetime, until: datetime
) -> "Select[int | None, int | None, str, str, str, int, int | None, str]":
    corrected = aliased(Reading)
    return (
        select(
            Reading.panel_id,
            Reading.lot_id,
            Characteristic.key,
            Characteristic.name,
            Reading.place,
            Reading.amount,
            Reading.standard_uncertainty,
            Reading.verdict,
        )
        .join(Characteristic, Reading.characteristic_id == Characteristic.id)
        .join(Station, Reading.station_id == Station.id)
        .where(
            Station.plant_id == plant_id,
            Reading.measured_at >= since,
            Reading.measured_at < until,
            ~exists().where(corrected.supersedes_id == Reading.id),
        )
        .order_by(Station.position, Characteristic.id, Reading.id)
    )


def _panels(session: Session, numbers: set[int]) -> dict[int, Panel]:
    found: dict[int, Panel] = {}
    listed = sorted(numbers)
    for start in range(0, len(listed), AT_ONCE):
        query = (
            select(Panel)
            .where(Panel.id.in_(listed[start : start + AT_ONCE]))
            .options(
                joinedload(Panel.building),
                selectinload(Panel.bays),
                selectinload(Panel.connectors),
                selectinload(Panel.penetrations),
            )
        )
        found |= {panel.id: panel for panel in session.scalars(query)}
    return found


def _lots(session: Session, numbers: set[int]) -> dict[int, Lot]:
    return {lot.id: lot for lot in session.scalars(select(Lot).where(Lot.id.in_(numbers)))} if numbers else {}


def _judged(
    taken: Sequence[Taken],
    panels: dict[int, Panel],
    lots: dict[int, Lot],
    plan: ControlPlan,
    since: datetime,
    until: datetime,
) -> Preview:
    rejudging, tallies = Rejudging(plan), dict[str, Tally]()
    was_held, would_be_held = set[int](), set[int]()
    for one in taken:
        item = panels[one.panel_id] if one.panel_id is not None else lots[one.lot_id or 0]
        would_be = rejudging.verdict(
            item, _subject_of(item), (one.key, one.place), one.amount, one.standard_uncertainty
        )
        tally = tallies.setdefault(one.key, Tally(one.key, one.name))
        tally.was[one.verdict] += 1
        tally.would_be[would_be] += 1
        tally.changed += one.verdict != would_be
        if one.panel_id is not None:
            _note(was_held, one.panel_id, one.verdict)
            _note(would_be_held, one.panel_id, would_be)
    return Preview(
        since,
        until,
        tuple(tallies.values()),
        _sorted(panels[number] for number in would_be_held - was_held),
        _sorted(panels[number] for number in was_held - would_be_held),
    )


def _subject_of(item: Panel | Lot) -> Callable[[], Subject]:
    return lambda: item.subject


def _note(held: set[int], panel_id: int, verdict: str) -> None:
    if verdict in (Verdict.OUTSIDE, Verdict.UNCLEAR):
        held.add(panel_id)


def _sorted(panels: Iterable[Panel]) -> tuple[Panel, ...]:
    return tuple(sorted(panels, key=lambda panel: (panel.building.code, panel.raising_sequence)))
