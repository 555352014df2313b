"""Releasing a panel: letting it leave once every check on its route is proven."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.event import append_event
from qc_app.records.release import Release
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.roles import Act, require


def release(session: Session, person: Person, panel: Panel, now: datetime) -> Release:
    """Lets a panel leave.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel belongs to another plant, is released already, or a check on its
        route is still open.
    """
    require(person, Act.RELEASE)
    if panel.building.plant_id != person.plant_id:
        raise Refusal("{mark} belongs to another plant.", mark=panel.mark)
    if panel.waiting_at is not None:
        station = panel.control_plan.plan.station(panel.waiting_at).name
        raise Refusal("{mark} cannot leave: it still waits at {station}.", mark=panel.mark, station=station)
    if released(session, panel) is not None:
        raise Refusal("{mark} is released already.", mark=panel.mark)
    made = Release(panel_id=panel.id, person_id=person.id, released_at=now)
    session.add(made)
    facts = {"mark": panel.mark}
    append_event(session, panel.building, "panel released", facts, at=now, person=person, panel_id=panel.id)
    return made


def released(session: Session, panel: Panel) -> Release | None:
    """The newest release of a panel, if it was ever released."""
    return session.scalars(
        select(Release).where(Release.panel_id == panel.id).order_by(Release.id.desc()).limit(1)
    ).first()
