"""Making a scrapped panel again."""

from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.records.building import Bay, Connector, Panel, Penetration
from qc_app.records.event import append_event
from qc_app.records.release import Load
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.as_scheduled import panel_as_scheduled
from qc_app.work.standing import place_item

LONGEST_MARK = 40


def remake(session: Session, person: Person, panel: Panel, now: datetime) -> Panel:
    """Schedules a panel of the same size in place of one that was scrapped, under the same control plan.

    It takes the scrapped panel's place in the raising sequence and on a load that has not left.

    Raises
    ------
    Refusal
        If the panel was not scrapped, or is made again already.
    """
    if panel.scrapped_at is None:
        raise Refusal("{mark} was not scrapped.", mark=panel.mark)
    again = successor(session, panel)
    if again is not None:
        raise Refusal("{mark} is made again already, as {again}.", mark=panel.mark, again=again.mark)
    made = _like(panel, _next_mark(session, panel))
    load = _take_place_on_load(session, panel, made)
    session.add(made)
    place_item(session, made)
    facts = {**panel_as_scheduled(made), "predecessor": panel.mark, "load": load}
    append_event(session, panel.building, "panel made again", facts, at=now, person=person, panel_id=made.id)
    return made


def successor(session: Session, panel: Panel) -> Panel | None:
    """The panel made again for this one, if there is one."""
    return session.scalars(select(Panel).where(Panel.predecessor_id == panel.id)).first()


def _like(panel: Panel, mark: str) -> Panel:
    kept = ("control_plan_id", "kind", "length", "width", "depth", "run", "position", "raising_sequence")
    return Panel(
        building=panel.building,
        mark=mark,
        predecessor=panel,
        bays=[Bay(number=b.number, width=b.width, depth=b.depth) for b in panel.bays],
        connectors=[Connector(number=c.number, position=c.position) for c in panel.connectors],
        penetrations=[_penetration(p) for p in panel.penetrations],
        **{name: getattr(panel, name) for name in kept},
    )


def _penetration(like: Penetration) -> Penetration:
    kept = ("number", "mark", "face", "size", "sleeve", "along", "across")
    return Penetration(**{name: getattr(like, name) for name in kept})


def _next_mark(session: Session, panel: Panel) -> str:
    """The mark of the first panel made, and which making this is: ``R-01`` is made again as ``R-01-2``."""
    first, making = panel, 2
    while first.predecessor is not None:
        first, making = first.predecessor, making + 1
    while _is_taken(session, panel, mark := f"{first.mark[: LONGEST_MARK - 4]}-{making}"):
        making += 1
    return mark


def _is_taken(session: Session, panel: Panel, mark: str) -> bool:
    same = select(Panel.id).where(
        Panel.building_id == panel.building_id, func.lower(Panel.mark) == func.lower(mark)
    )
    return session.scalar(same) is not None


def _take_place_on_load(session: Session, panel: Panel, made: Panel) -> int | None:
    """The number of the load that it now is on; None where the scrapped panel was on none, or has left."""
    load = session.get(Load, panel.load_id) if panel.load_id is not None else None
    if load is None or load.released_at is not None:
        return None
    made.load_id, panel.load_id = load.id, None
    return load.number
