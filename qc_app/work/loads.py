"""Loads: which panels leave on which truck, in which order, and when a truck may leave."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.records.building import Building, Panel
from qc_app.records.event import append_event
from qc_app.records.release import Load
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.find import LARGEST_NUMBER, NotFound, Visitor, sees_building
from qc_app.work.outbox.answer import Sentence, sentence
from qc_app.work.roles import Act, require
from qc_app.work.state import FREE, PanelState, missing_for_release, state_of, states_of

CAUTIONS = (
    phrase(
        "This page says what is proven and what goes on which load. It is no loading plan: the qualified "
        "rigger, the licensed engineer, the carrier and the local code decide."
    ),
    phrase("Nobody under a panel or between panel and truck while it is lifted or set down."),
    phrase("Stack level on bearers that stand one above the other; keep the load low and even on the truck."),
    phrase(
        "What is raised first is loaded last, on top. Where weight or balance asks for another order, the "
        "rigger changes it, and the site is told."
    ),
    phrase(
        "Panels stay strapped to stack and truck until the gear is attached; straps are looked over first."
    ),
    phrase("Walk round the load before it leaves, and again after the first few miles."),
)
"""Usual cautions for stacking, lifting and lashing loads. Common practice, from memory."""


@dataclass(frozen=True)
class LoadLine:
    """One panel of a load, and what keeps it from leaving; nothing where it may."""

    state: PanelState
    missing: tuple[Sentence, ...]

    @property
    def panel(self) -> Panel:
        return self.state.panel

    @property
    def may_leave(self) -> bool:
        return self.state.released is not None and not self.missing


class NotAllReleased(Refusal):
    """A load cannot leave yet: ``lines`` are the panels that keep it."""

    def __init__(self, load: Load, lines: Sequence[LoadLine]) -> None:
        self.lines = lines
        marks = ", ".join(line.panel.mark for line in lines)
        super().__init__(
            "Load {number} cannot leave: not released, or held since, are {marks}.",
            number=load.number,
            marks=marks,
        )


def plan_load(
    session: Session,
    person: Person,
    building: Building,
    panels: Sequence[Panel],
    leaves_on: date | None,
    now: datetime,
) -> Load:
    """Adds a load to a building and puts panels on it.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the building belongs to another plant, or a panel cannot go on it.
    """
    require(person, Act.PLAN_LOADS)
    _refuse_other_plant(person, building)
    newest = session.scalar(select(func.max(Load.number)).where(Load.building_id == building.id))
    load = Load(building=building, number=(newest or 0) + 1, leaves_on=leaves_on)
    session.add(load)
    session.flush()
    facts = {"load": load.number, "leaves_on": leaves_on.isoformat() if leaves_on else None}
    _log(session, load, "load planned", facts, now, person)
    for panel in panels:
        put_on_load(session, person, load, panel, now)
    return load


def put_on_load(session: Session, person: Person, load: Load, panel: Panel, now: datetime) -> None:
    """Puts a panel on a load that has not left.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel is of another building, was scrapped, is on a load already or left
        the shop; or the load is released.
    """
    require(person, Act.PLAN_LOADS)
    _refuse_other_plant(person, load.building)
    _refuse_released(load)
    if panel.building_id != load.building_id:
        raise Refusal("{mark} belongs to another building.", mark=panel.mark)
    _refuse_gone(session, panel, now)
    if panel.load_id is not None:
        on = session.get_one(Load, panel.load_id)
        raise Refusal("{mark} is on load {number} already.", mark=panel.mark, number=on.number)
    panel.load_id = load.id
    facts = {"load": load.number, "mark": panel.mark}
    _log(session, load, "panel put on load", facts, now, person, panel.id)


def take_off(session: Session, person: Person, panel: Panel, now: datetime) -> None:
    """Takes a panel off its load, if that has not left.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel belongs to another plant or is on no load; or the load is released.
    """
    require(person, Act.PLAN_LOADS)
    _refuse_other_plant(person, panel.building)
    if panel.load_id is None:
        raise Refusal("{mark} is on no load.", mark=panel.mark)
    load = session.get_one(Load, panel.load_id)
    _refuse_released(load)
    panel.load_id = None
    facts = {"load": load.number, "mark": panel.mark}
    _log(session, load, "panel taken off load", facts, now, person, panel.id)


def release_load(session: Session, person: Person, load: Load, now: datetime) -> Load:
    """Lets a load leave: each of its panels is released, and nothing has come up since.

    Raises
    ------
    NotAllowed, NotAllReleased, Refusal
        If the person may not; a panel keeps it; nothing is on it; or it belongs to another plant or is
        released already.
    """
    require(person, Act.RELEASE)
    _refuse_other_plant(person, load.building)
    _refuse_released(load)
    lines = lines_of(session, load, now)
    if not lines:
        raise Refusal("Nothing is on load {number}.", number=load.number)
    kept = [line for line in lines if not line.may_leave]
    if kept:
        raise NotAllReleased(load, kept)
    load.released_at, load.released_by = now, person
    marks = " ".join(line.panel.mark for line in lines)
    _log(session, load, "load released", {"load": load.number, "panels": marks}, now, person)
    return load


def loads_of(session: Session, building: Building) -> list[Load]:
    """The loads of a building, in the order they are wanted on site."""
    return list(session.scalars(select(Load).where(Load.building_id == building.id).order_by(Load.number)))


def lines_of(session: Session, load: Load, now: datetime) -> list[LoadLine]:
    """The panels of a load in the order they are loaded: what is raised last comes first."""
    on_it = select(Panel).where(Panel.load_id == load.id)
    ordered = on_it.order_by(Panel.raising_sequence.desc(), Panel.id.desc())
    return [_line(session, panel, now) for panel in session.scalars(ordered)]


def free_to_go(session: Session, building: Building, now: datetime) -> list[PanelState]:
    """The panels of a building of which all is proven and nothing open, but which nobody has released."""
    return [state for state in states_of(session, building, now) if state.standing == FREE]


def on_no_load(session: Session, building: Building) -> list[Panel]:
    """The panels of a building that are on no load yet, in raising order; scrapped ones are left out."""
    query = select(Panel).where(
        Panel.building_id == building.id, Panel.load_id.is_(None), Panel.scrapped_at.is_(None)
    )
    return list(session.scalars(query.order_by(Panel.raising_sequence, Panel.id)))


def load(session: Session, visitor: Visitor, load_id: int) -> Load:
    """The load with that number. Raises NotFound if the visitor sees none."""
    found = session.get(Load, load_id) if load_id <= LARGEST_NUMBER else None
    if found is None or not sees_building(visitor, found.building):
        raise NotFound("There is no such load in this plant.")
    return found


def _line(session: Session, panel: Panel, now: datetime) -> LoadLine:
    state = state_of(session, panel, now)
    if state.released is not None:
        return LoadLine(state, tuple(held.sentence for held in state.holds))
    missing = missing_for_release(session, panel, now)
    unreleased = sentence(phrase("All is proven. Release it."))
    return LoadLine(state, tuple(missing) or (unreleased,))


def _refuse_released(load: Load) -> None:
    if load.released_at is not None:
        raise Refusal("Load {number} is released already.", number=load.number)


def _refuse_gone(session: Session, panel: Panel, now: datetime) -> None:
    if panel.scrapped_at is not None:
        raise Refusal("{mark} was scrapped.", mark=panel.mark)
    state = state_of(session, panel, now)
    if state.set_at is not None:
        raise Refusal("{mark} is set already.", mark=panel.mark)


def _refuse_other_plant(person: Person, building: Building) -> None:
    if building.plant_id != person.plant_id:
        raise Refusal("Building {code} belongs to another plant.", code=building.code)


def _log(
    session: Session,
    load: Load,
    what: str,
    facts: dict[str, Any],
    now: datetime,
    person: Person,
    panel_id: int | None = None,
) -> None:
    append_event(session, load.building, what, facts, at=now, person=person, panel_id=panel_id)
