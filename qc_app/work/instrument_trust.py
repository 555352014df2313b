"""Whether an instrument can be trusted at a moment: by its due date, and by the checks around it.

A reading is doubtful where the last check before it failed, and also where the next one after it did: the
instrument went wrong somewhere between two checks, and nobody can say when. Checks made at once, such as a
scale's zero and its check weight, count as one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import Select, and_, func, select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.plan.characteristic import Characteristic, Overdue
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.reading import Reading, reading_instrument
from qc_app.records.shop import Instrument, Plant
from qc_app.refusal import Refusal
from qc_app.work.setup import local_zone


class Trust(StrEnum):
    """How an instrument stands."""

    GOOD = "good"
    OVERDUE = "overdue"
    FAILED = "failed"


REFUSING_WORDS = {
    Trust.OVERDUE: phrase("{gauge} should have been calibrated by {since}. Measure with another one."),
    Trust.FAILED: phrase("{gauge} failed its check on {since}. Measure with another one."),
}
FLAGGING_WORDS = {
    Trust.OVERDUE: phrase("{gauge} should have been calibrated by {since}; the shop lead has been told."),
    Trust.FAILED: phrase(
        "{gauge} failed its check on {since}; the shop lead has been told. Measure again with another one."
    ),
}


@dataclass(frozen=True)
class Doubt:
    """An instrument that could not be trusted, why, and since when on the plant's clock."""

    instrument: Instrument
    why: Trust
    since: str


@dataclass(frozen=True)
class Window:
    """The time in which an instrument may have been wrong: from the last good check to the next good one."""

    since: datetime | None
    found_at: datetime
    until: datetime | None


def trust_of(
    session: Session, plant: Plant, instruments: Iterable[Instrument], at: datetime
) -> dict[int, Trust]:
    """How each instrument stands at a moment, by its number."""
    known = list(instruments)
    failed = _failed_before(session, [i.id for i in known], at)
    today = at.astimezone(local_zone(plant)).date()
    return {i.id: _trust(i.id in failed, i.due_on is not None and i.due_on < today) for i in known}


def doubts_about(
    session: Session, plant: Plant, instruments: Iterable[Instrument], at: datetime
) -> list[Doubt]:
    """The instruments that were known not to be trusted at a moment."""
    known = list(instruments)
    zone = local_zone(plant)
    today = at.astimezone(zone).date()
    failed = _failed_before(session, [i.id for i in known], at)
    doubts = [
        Doubt(i, Trust.FAILED, failed[i.id].astimezone(zone).strftime("%Y-%m-%d %H:%M"))
        for i in known
        if i.id in failed
    ]
    overdue = [i for i in known if i.id not in failed and i.due_on is not None and i.due_on < today]
    return doubts + [Doubt(i, Trust.OVERDUE, str(i.due_on)) for i in overdue]


def refuse_untrusted(
    session: Session,
    plant: Plant,
    characteristic: Characteristic,
    instruments: Sequence[Instrument],
    at: datetime,
) -> None:
    """Raises Refusal where the control plan takes no reading with an instrument that is overdue or failed."""
    if characteristic.overdue_instrument is not Overdue.REFUSE:
        return
    for doubt in doubts_about(session, plant, instruments, at):
        raise Refusal(REFUSING_WORDS[doubt.why], gauge=doubt.instrument.name, since=doubt.since)


def is_doubtful(session: Session, instrument_id: int, at: datetime) -> bool:
    """Whether a check just before or just after a moment found the instrument wrong."""
    return instrument_id in _failed_before(session, [instrument_id], at) or _failed_next(
        session, instrument_id, at
    )


def newest_window(session: Session, instrument_id: int) -> Window | None:
    """The time in doubt around the newest failed check; None where every check passed."""
    newest = _times(instrument_id, passed=False).order_by(InstrumentCheck.at.desc()).limit(1)
    found_at = session.scalar(newest)
    return window_around(session, instrument_id, found_at) if found_at else None


def window_around(session: Session, instrument_id: int, found_at: datetime) -> Window:
    """The time in doubt around a failed check."""
    failed = _times(instrument_id, passed=False)
    good = _times(instrument_id, passed=True).where(InstrumentCheck.at.not_in(failed))
    before = good.where(InstrumentCheck.at < found_at).order_by(InstrumentCheck.at.desc()).limit(1)
    after = good.where(InstrumentCheck.at > found_at).order_by(InstrumentCheck.at).limit(1)
    return Window(session.scalar(before), found_at, session.scalar(after))


def readings_in(session: Session, instrument_id: int, window: Window) -> list[Reading]:
    """Every reading taken with the instrument in that time, oldest first."""
    query = (
        select(Reading)
        .join(reading_instrument, reading_instrument.c.reading_id == Reading.id)
        .where(reading_instrument.c.instrument_id == instrument_id)
        .order_by(Reading.measured_at, Reading.id)
    )
    if window.since is not None:
        query = query.where(Reading.measured_at >= window.since)
    if window.until is not None:
        query = query.where(Reading.measured_at < window.until)
    return list(session.scalars(query))


def _times(instrument_id: int, *, passed: bool) -> Select[datetime]:
    return select(InstrumentCheck.at).where(
        InstrumentCheck.instrument_id == instrument_id, InstrumentCheck.passed.is_(passed)
    )


def _trust(failed: bool, overdue: bool) -> Trust:
    return Trust.FAILED if failed else Trust.OVERDUE if overdue else Trust.GOOD


def _failed_before(session: Session, numbers: list[int], at: datetime) -> dict[int, datetime]:
    """Those whose last check up to a moment failed, and when that was."""
    last = (
        select(InstrumentCheck.instrument_id, func.max(InstrumentCheck.at).label("at"))
        .where(InstrumentCheck.instrument_id.in_(numbers), InstrumentCheck.at <= at)
        .group_by(InstrumentCheck.instrument_id)
        .subquery()
    )
    is_last = and_(InstrumentCheck.instrument_id == last.c.instrument_id, InstrumentCheck.at == last.c.at)
    query = select(InstrumentCheck.instrument_id, InstrumentCheck.at).join(last, is_last)
    found = session.execute(query.where(~InstrumentCheck.passed))
    return {row.instrument_id: row.at for row in found}


def _failed_next(session: Session, instrument_id: int, at: datetime) -> bool:
    following = select(func.min(InstrumentCheck.at)).where(
        InstrumentCheck.instrument_id == instrument_id, InstrumentCheck.at > at
    )
    query = select(InstrumentCheck.id).where(
        InstrumentCheck.instrument_id == instrument_id,
        InstrumentCheck.at == following.scalar_subquery(),
        ~InstrumentCheck.passed,
    )
    return session.scalar(query.limit(1)) is not None
