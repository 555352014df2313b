"""Putting panels on hold for what their own readings do not say, and lifting that again."""

from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.chart import Point, Signal
from qc_app.records.event import append_event
from qc_app.records.hold import Hold
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Person
from qc_app.refusal import Refusal
from qc_app.work.find import NotFound, Visitor, sees_building
from qc_app.work.roles import Act, require
from qc_app.work.said import reason_of

PERSON, SIGNAL, INSTRUMENT = "person", "signal", "instrument"


def place_hold(session: Session, person: Person, panel: Panel, reason: str, now: datetime) -> Hold:
    """Puts a panel on hold until somebody lifts that.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel belongs to another plant or was scrapped, or no reason is given.
    """
    require(person, Act.HOLD)
    refuse_other_plant(person, panel)
    if panel.scrapped_at is not None:
        raise Refusal("{mark} was scrapped; there is nothing to hold.", mark=panel.mark)
    return _place(session, panel, PERSON, {}, reason_of(reason), now, person)


def lift_hold(session: Session, person: Person, hold: Hold, reason: str, now: datetime) -> Hold:
    """Lifts a hold. The panel's own readings hold it on, if they do.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel belongs to another plant, no reason is given, or it is lifted.
    """
    require(person, Act.LIFT_HOLD)
    refuse_other_plant(person, hold.panel)
    said = reason_of(reason)
    if hold.lifted_at is not None:
        raise Refusal(
            "{name} has lifted this hold meanwhile: “{said}”.",
            name=hold.lifted_by.name if hold.lifted_by else "?",
            said=hold.lift_reason,
        )
    hold.lifted_at, hold.lifted_by_id, hold.lift_reason = now, person.id, said
    facts = {
        "mark": hold.panel.mark,
        "why": hold.why,
        "held": hold.reason,
        "placed_at": hold.placed_at.isoformat(),
        "reason": said,
    }
    _log(session, hold.panel, "hold lifted", facts, now, person)
    return hold


def hold_by_signal(session: Session, reading: Reading, now: datetime) -> list[Hold]:
    """Holds each panel whose point completes a signal on the chart that this reading belongs to.

    Each signal holds once: what was lifted stays lifted. A reading that came late may complete signals at
    later points, so all signals found just now are looked at.
    """
    stream_id = session.scalar(select(Point.stream_id).where(Point.reading_id == reading.id))
    if stream_id is None:
        return []
    found = session.scalars(
        select(Signal)
        .join(Point, Signal.point_id == Point.id)
        .where(Point.stream_id == stream_id, Signal.found_at == now)
        .order_by(Point.measured_at, Point.reading_id, Signal.rule)
    )
    placed = [_hold_signal(session, signal, now) for signal in found]
    return [hold for hold in placed if hold is not None]


def hold_by_instrument(session: Session, panel: Panel, instrument: Instrument, now: datetime) -> Hold | None:
    """Holds a panel measured with an instrument that was found wrong; None where that holds it already."""
    facts = {"instrument": instrument.name}
    if panel.scrapped_at is not None or any(h.facts == facts for h in holds_in_force(session, panel)):
        return None
    reason = f"Measured with {instrument.name}, which was found wrong."
    return _place(session, panel, INSTRUMENT, facts, reason, now, None)


def holds_in_force(session: Session, panel: Panel) -> list[Hold]:
    """The panel's holds that nobody has lifted, oldest first."""
    return list(
        session.scalars(
            select(Hold).where(Hold.panel_id == panel.id, Hold.lifted_at.is_(None)).order_by(Hold.id)
        )
    )


def hold(session: Session, visitor: Visitor, hold_id: int) -> Hold:
    """The hold with that number. Raises NotFound if the visitor sees none."""
    found = session.get(Hold, hold_id)
    if found is None or not sees_building(visitor, found.panel.building):
        raise NotFound("There is no such hold in this plant.")
    return found


def refuse_other_plant(person: Person, panel: Panel) -> None:
    """Raises Refusal if the panel belongs to another plant."""
    if panel.building.plant_id != person.plant_id:
        raise Refusal("{mark} belongs to another plant.", mark=panel.mark)


def _hold_signal(session: Session, signal: Signal, now: datetime) -> Hold | None:
    reading, stream = signal.point.reading, signal.point.stream
    panel = reading.panel
    if panel is None or panel.scrapped_at is not None:
        return None
    facts = {"chart": stream.name, "rule": signal.rule, "reading": str(reading.uuid)}
    known = session.scalars(select(Hold).where(Hold.panel_id == panel.id, Hold.why == SIGNAL))
    if any(hold.facts == facts for hold in known):
        return None
    return _place(session, panel, SIGNAL, facts, f"Signal on the chart {stream.name}.", now, None)


def _place(
    session: Session,
    panel: Panel,
    why: str,
    facts: dict[str, Any],
    reason: str,
    now: datetime,
    person: Person | None,
) -> Hold:
    placed = Hold(
        panel=panel,
        why=why,
        facts=facts,
        reason=reason,
        placed_at=now,
        placed_by_id=person.id if person else None,
        lift_reason="",
    )
    session.add(placed)
    told = {**facts, "mark": panel.mark, "why": why, "reason": reason}
    _log(session, panel, "panel put on hold", told, now, person)
    return placed


def _log(
    session: Session, panel: Panel, what: str, facts: dict[str, Any], now: datetime, person: Person | None
) -> None:
    append_event(session, panel.building, what, facts, at=now, person=person, panel_id=panel.id)
