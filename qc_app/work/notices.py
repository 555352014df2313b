"""Notices: what the shop lead has to be told, until somebody has dealt with it."""

from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.records.tablet import Notice, Tablet
from qc_app.refusal import Refusal
from qc_app.work.find import NotFound, Visitor
from qc_app.work.roles import Act, require
from qc_app.work.said import refuse_long_note, storable

CLOCK = "clock"
GAP = "gap"
MEMORY = "memory"
AFTER_RELEASE = "after_release"
INSTRUMENT_OVERDUE = "instrument_overdue"
INSTRUMENT_DOUBTED = "instrument_doubted"
INSTRUMENT_FAILED = "instrument_failed"
RELEASED_IN_DOUBT = "released_in_doubt"
WET_LOT = "wet_lot"
RELEASE_WITHDRAWN = "release_withdrawn"
PACKET_OUTDATED = "packet_outdated"


def raise_notice(
    session: Session,
    plant_id: int,
    about: str,
    facts: dict[str, Any],
    now: datetime,
    *,
    tablet: Tablet | None = None,
    panel: Panel | None = None,
) -> None:
    """Adds a notice to those that are open."""
    session.add(
        Notice(
            plant_id=plant_id,
            about=about,
            facts={**facts, "tablet": tablet.name if tablet else ""},
            tablet_id=tablet.id if tablet else None,
            panel_id=panel.id if panel else None,
            raised_at=now,
            remark="",
        )
    )


def about_tablet(session: Session, tablet_id: int, about: str) -> list[Notice]:
    """All notices of one kind about a tablet, open and closed, oldest first."""
    return list(
        session.scalars(
            select(Notice).where(Notice.tablet_id == tablet_id, Notice.about == about).order_by(Notice.id)
        )
    )


def open_notices(session: Session, visitor: Visitor) -> list[Notice]:
    """The open notices of a plant, newest first."""
    return list(
        session.scalars(
            select(Notice)
            .where(Notice.plant_id == visitor.plant_id, Notice.closed_at.is_(None))
            .order_by(Notice.id.desc())
        )
    )


def count_open(session: Session, visitor: Visitor) -> int:
    """How many notices of a plant are open."""
    query = select(func.count()).where(Notice.plant_id == visitor.plant_id, Notice.closed_at.is_(None))
    return session.scalar(query) or 0


def settle(notice: Notice, now: datetime, **facts: str) -> None:
    """Closes a notice whose cause is gone, if nobody closed it before, and notes the facts."""
    notice.facts = {**notice.facts, **facts}
    notice.closed_at = notice.closed_at or now


def close_notice(session: Session, person: Person, notice_id: int, remark: str, now: datetime) -> Notice:
    """Closes a notice with a remark on what was done. One that is closed already stays as it is.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, there is no such notice in the plant, or the remark is empty or too long.
    """
    require(person, Act.CLOSE_NOTICES)
    notice = session.get(Notice, notice_id)
    if notice is None or notice.plant_id != person.plant_id:
        raise NotFound("There is no such notice in this plant.")
    if not remark.strip():
        raise Refusal("Say what was done or found; nothing was entered.", about="remark")
    refuse_long_note(remark)
    if notice.closed_at is None:
        notice.closed_at, notice.closed_by_id, notice.remark = now, person.id, storable(remark)
        facts = {"about": notice.about, "remark": notice.remark}
        append_event(
            session, person.plant, "notice closed", facts, at=now, person=person, panel_id=notice.panel_id
        )
    return notice
