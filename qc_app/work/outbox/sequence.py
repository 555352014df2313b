"""What a tablet's batch says about the tablet: whether its clock is right, and whether entries were lost."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import islice
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.records.tablet import OutboxEntry, Tablet
from qc_app.work.notices import CLOCK, GAP, MEMORY, about_tablet, raise_notice, settle
from qc_app.work.outbox.batch import Batch, Entry

CLOCK_MAY_BE_OFF = timedelta(minutes=2)
MOST_TOLD = 50
"""How many missing numbers are told at a time."""


def skew(batch: Batch, now: datetime) -> timedelta:
    """How far the tablet's clock is ahead of ours; nothing where that is too little to matter."""
    ahead = batch.clock - now if batch.clock is not None else timedelta()
    return ahead if abs(ahead) > CLOCK_MAY_BE_OFF else timedelta()


def highest(session: Session, outbox: UUID) -> int:
    """The highest number received from an outbox."""
    query = select(func.max(OutboxEntry.sequence)).where(OutboxEntry.outbox == outbox)
    return session.scalar(query) or 0


def missing(session: Session, outbox: UUID, below: int, most: int = MOST_TOLD) -> list[int]:
    """The lowest numbers up to ``below`` that have not come."""
    up_to = OutboxEntry.outbox == outbox, OutboxEntry.sequence <= below
    if session.scalar(select(func.count()).select_from(OutboxEntry).where(*up_to)) == below:
        return []
    received = session.scalars(select(OutboxEntry.sequence).where(*up_to).order_by(OutboxEntry.sequence))
    return list(islice(_between(received.all(), below), most))


def meet(session: Session, tablet: Tablet, batch: Batch, now: datetime) -> None:
    """Notes that a tablet was seen, and what its clock and its memory say."""
    tablet.seen_at = now
    _watch_clock(session, tablet, batch, now)
    if tablet.outbox != batch.outbox:
        if tablet.outbox is not None and tablet.written > 0:
            _tell_of_lost_memory(session, tablet, batch, now)
        tablet.outbox, tablet.written = batch.outbox, 0
    numbers = [entry.sequence for entry in batch.entries if isinstance(entry, Entry)]
    tablet.written = max(tablet.written, batch.written, *numbers)


def watch_gaps(
    session: Session, tablet: Tablet, outbox: UUID, before: int, came: set[int], now: datetime
) -> None:
    """Tells of numbers that stay away although higher ones came in an earlier batch, and when they come.

    ``before`` is the highest number that had come before this batch, and ``came`` the numbers in it, whatever
    was answered: an entry that waits for something is not lost. A tablet sends what waits the oldest first,
    so below the lowest in a batch nothing is missed; an empty one says that nothing waits.
    """
    told = [n for n in about_tablet(session, tablet.id, GAP) if n.facts["outbox"] == str(outbox)]
    known = {number for notice in told for number in notice.facts["numbers"]}
    for notice in told:
        if "came_at" not in notice.facts and not _still_missing(session, outbox, notice.facts["numbers"]):
            settle(notice, now, came_at=now.isoformat())
    lowest = min(came, default=0)
    lost = [n for n in missing(session, outbox, before) if n > lowest and n not in came | known]
    if lost:
        facts = {"outbox": str(outbox), "numbers": lost}
        raise_notice(session, tablet.plant_id, GAP, facts, now, tablet=tablet)


def _still_missing(session: Session, outbox: UUID, numbers: Sequence[int]) -> bool:
    query = select(func.count()).where(OutboxEntry.outbox == outbox, OutboxEntry.sequence.in_(numbers))
    return (session.scalar(query) or 0) < len(numbers)


def _between(received: Sequence[int], below: int) -> Iterator[int]:
    following = 1
    for number in (*received, below + 1):
        yield from range(following, number)
        following = number + 1


def _watch_clock(session: Session, tablet: Tablet, batch: Batch, now: datetime) -> None:
    wrong = [n for n in about_tablet(session, tablet.id, CLOCK) if "right_at" not in n.facts]
    ahead = skew(batch, now)
    if ahead and not wrong:
        minutes = round(ahead / timedelta(minutes=1))
        raise_notice(session, tablet.plant_id, CLOCK, {"minutes": minutes}, now, tablet=tablet)
    for notice in wrong if not ahead else ():
        settle(notice, now, right_at=now.isoformat())


def _tell_of_lost_memory(session: Session, tablet: Tablet, batch: Batch, now: datetime) -> None:
    told = {notice.facts["outbox"] for notice in about_tablet(session, tablet.id, MEMORY)}
    if tablet.outbox is not None and str(batch.outbox) not in told:
        facts = {
            "outbox": str(batch.outbox),
            "received": highest(session, tablet.outbox),
            "written": tablet.written,
        }
        raise_notice(session, tablet.plant_id, MEMORY, facts, now, tablet=tablet)
