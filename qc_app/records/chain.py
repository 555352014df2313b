"""Walking a chain of events from its beginning, however long it is."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.event import BEGINNING, Event, expected_hash

ROWS_AT_ONCE = 5_000


class Link(NamedTuple):
    """One event as a bare row: a million of them would be slow as objects."""

    chain: str
    number: int
    at: datetime
    person_id: int | None
    panel_id: int | None
    what: str
    facts: dict[str, Any]
    previous_hash: str
    hash: str


def links(session: Session, chain: str) -> Iterator[Link]:
    """The events of a chain in order, read a few thousand at a time."""
    # Columns of the table instead of attributes of the class, which would cost a third more time.
    column = Event.__table__.c
    query = select(*(column[name] for name in Link._fields))
    with session.execute(
        query.where(column.chain == chain).order_by(column.number),
        execution_options={"yield_per": ROWS_AT_ONCE},
    ) as rows:  # closed as well where the reader stops at the first break
        yield from map(Link._make, rows)


def what_differs(link: Link, before: Link | None) -> str | None:
    """Why an event does not follow from the one before it, in words; None where it does."""
    number = before.number + 1 if before else 1
    if link.number != number:
        return f"number {number} is missing before it"
    if link.previous_hash != (before.hash if before else BEGINNING):
        return "it does not hold the hash of the event before it"
    if link.hash != expected_hash(link):
        return "what it says does not give its hash"
    return None
