"""Checking instruments against a reference, at the start of a shift or when they are calibrated.

A tape against a bar, a scale empty and with a check weight, a moisture meter against its check block, a
cutter's bore against a caliper. One that is found wrong puts every reading since its last good check in
doubt (ISO 9001:2015, 7.1.5.2).
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.plan.instrument import format_error
from qc_app.plan.permitted_error import Step, permitted_error, permitted_steps
from qc_app.records.building import Panel
from qc_app.records.event import append_event
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Person, Plant
from qc_app.records.tablet import Notice, Tablet
from qc_app.refusal import Refusal
from qc_app.work.instrument_holds import hold_panels, settle_all
from qc_app.work.instrument_trust import Doubt, Trust, doubts_about, window_around
from qc_app.work.instruments import refuse_elsewhere
from qc_app.work.notices import (
    INSTRUMENT_DOUBTED,
    INSTRUMENT_FAILED,
    INSTRUMENT_OVERDUE,
    RELEASED_IN_DOUBT,
    raise_notice,
)
from qc_app.work.record import CLOCK_AHEAD
from qc_app.work.released import released
from qc_app.work.roles import Act, require
from qc_app.work.said import refuse_long_note, storable
from qc_app.work.setup import plan_in_force

SHIFT = "shift"
CALIBRATION = "calibration"
OCCASIONS = {SHIFT: phrase("start of shift"), CALIBRATION: phrase("calibration")}


def check(
    session: Session,
    person: Person,
    instrument: Instrument,
    occasion: str,
    reference: int | None,
    read: int,
    remark: str,
    now: datetime,
    *,
    at: datetime | None = None,
) -> InstrumentCheck:
    """Writes down what an instrument read at a reference, and whether that passes; both in grains.

    A core cutter's reference is the bore it is said to have, and ``read`` what the caliper says. ``at`` is
    when it was made, where that was before ``now``.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, it is another plant's, there is no such occasion, the reference is missing or
        cannot be one, the time has not come yet, or the remark is too long.
    """
    require(person, Act.RECORD)
    refuse_elsewhere(person, instrument)
    against = _reference(instrument, reference)
    permitted = permitted_error(steps_of(session, instrument, now), against)
    passed = abs(read - against) <= permitted
    made = _new(person, instrument, occasion, remark, at or now, now)
    made.reference, made.read, made.permitted, made.passed = against, read, permitted, passed
    return _store(session, person, instrument, made, now)


def found_wrong(
    session: Session,
    person: Person,
    instrument: Instrument,
    reason: str,
    now: datetime,
    *,
    at: datetime | None = None,
) -> InstrumentCheck:
    """Somebody found an instrument wrong without measuring, as one that was dropped or bent.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, it is another plant's, or no reason is given.
    """
    require(person, Act.RECORD)
    refuse_elsewhere(person, instrument)
    if not reason.strip():
        raise Refusal("Say what is wrong with it; nothing was entered.", about="reason")
    made = _new(person, instrument, SHIFT, reason, at or now, now)
    made.passed = False
    return _store(session, person, instrument, made, now)


def steps_of(session: Session, instrument: Instrument, now: datetime) -> tuple[Step, ...]:
    """How far off an instrument may be: by its class, its graduation, or the control plan in force."""
    own = instrument.standard_uncertainty
    usual = 0 if own else _of_plan(session, instrument, now)
    return permitted_steps(instrument.kind, instrument.accuracy_class, instrument.graduation, own or usual)


def checks_of(session: Session, instrument: Instrument, most: int = 50) -> list[InstrumentCheck]:
    """The newest checks of an instrument, newest first."""
    return list(
        session.scalars(
            select(InstrumentCheck)
            .where(InstrumentCheck.instrument_id == instrument.id)
            .order_by(InstrumentCheck.at.desc(), InstrumentCheck.id.desc())
            .limit(most)
        )
    )


def flag(
    session: Session, readings: Iterable[Reading], now: datetime, tablet: Tablet | None = None
) -> list[Doubt]:
    """Tells the shop lead of readings taken with instruments that were overdue or had failed.

    One open notice for each instrument and reason is enough. Returns what is doubted, each once.
    """
    found: dict[tuple[int, Trust], Doubt] = {}
    for reading in readings:
        plant = reading.person.plant
        for doubt in doubts_about(session, plant, reading.instruments, reading.measured_at):
            found.setdefault((doubt.instrument.id, doubt.why), doubt)
    for doubt in found.values():
        about = INSTRUMENT_OVERDUE if doubt.why is Trust.OVERDUE else INSTRUMENT_DOUBTED
        facts = {"instrument": doubt.instrument.name, "since": doubt.since}
        _tell_once(session, doubt.instrument, about, facts, now, tablet=tablet)
    return list(found.values())


def _reference(instrument: Instrument, given: int | None) -> int:
    against = instrument.bore if instrument.kind == "core_cutter" else given
    least = 0 if instrument.kind in ("scale", "moisture_meter") else 1
    if against is None or against < least:
        raise Refusal("Enter what the reference says it is.", about="reference")
    return against


def _of_plan(session: Session, instrument: Instrument, now: datetime) -> int:
    uncertainties = plan_in_force(
        session, session.get_one(Plant, instrument.plant_id), now
    ).plan.uncertainties
    return uncertainties.get(instrument.kind, 0)


def _new(
    person: Person, instrument: Instrument, occasion: str, remark: str, at: datetime, now: datetime
) -> InstrumentCheck:
    if occasion not in OCCASIONS:
        raise Refusal("An instrument is checked at a shift's start or at its calibration.", about="occasion")
    if at > now + CLOCK_AHEAD:
        raise Refusal("The check's time, {given}, has not come yet.", given=at.isoformat())
    refuse_long_note(remark)
    return InstrumentCheck(
        instrument_id=instrument.id,
        person_id=person.id,
        at=at,
        occasion=occasion,
        remark=storable(remark),
    )


def _store(
    session: Session, person: Person, instrument: Instrument, made: InstrumentCheck, now: datetime
) -> InstrumentCheck:
    session.add(made)
    session.flush()
    facts: dict[str, Any] = {
        "instrument": instrument.name,
        "occasion": made.occasion,
        "reference": made.reference,
        "read": made.read,
        "permitted": made.permitted,
        "passed": "yes" if made.passed else "no",
        "remark": made.remark,
        "at": made.at.isoformat(),
    }
    what = "instrument checked" if made.read is not None else "instrument found wrong"
    append_event(session, person.plant, what, facts, at=now, person=person)
    if made.passed:
        settle_all(session, person, instrument, now)
    else:
        _follow_up(session, person, instrument, made, now)
    return made


def _follow_up(
    session: Session, person: Person, instrument: Instrument, failed: InstrumentCheck, now: datetime
) -> None:
    """Holds what rests on the instrument, and tells of it and of what is released already."""
    window = window_around(session, instrument.id, failed.at)
    panels = hold_panels(session, instrument, window, now)
    facts = {"instrument": instrument.name, "by": _off(person, instrument, failed), "panels": len(panels)}
    _tell_once(session, instrument, INSTRUMENT_FAILED, facts, now)
    for panel in panels:
        if released(session, panel) is not None:
            _tell_of_released(session, instrument, panel, now)


def _tell_of_released(session: Session, instrument: Instrument, panel: Panel, now: datetime) -> None:
    facts = {"instrument": instrument.name, "mark": panel.mark, "building": panel.building.code}
    _tell_once(session, instrument, RELEASED_IN_DOUBT, facts, now, panel=panel)


def _off(person: Person, instrument: Instrument, failed: InstrumentCheck) -> str:
    if failed.read is None or failed.reference is None:
        return failed.remark
    return format_error(instrument.kind, failed.read - failed.reference, person.plant.units)


def _tell_once(
    session: Session,
    instrument: Instrument,
    about: str,
    facts: dict[str, Any],
    now: datetime,
    *,
    panel: Panel | None = None,
    tablet: Tablet | None = None,
) -> None:
    """Raises a notice unless one like it is open: a day's readings with one tape need no more."""
    query = select(Notice).where(
        Notice.plant_id == instrument.plant_id, Notice.about == about, Notice.closed_at.is_(None)
    )
    same = [n for n in session.scalars(query) if n.facts.get("instrument") == instrument.name]
    if any(n.panel_id == (panel.id if panel else None) for n in same):
        return
    raise_notice(session, instrument.plant_id, about, facts, now, panel=panel, tablet=tablet)
