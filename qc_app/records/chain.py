"""Walking a chain of events from its beginning, however long it is."""

from collections.abc import Iterator
from datetime import datetime
from itertools import chain as chained
from json import JSONDecodeError, JSONDecoder
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Text, cast, literal, select
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
    # Columns of the table instead of attributes of the class, and text instead of values made from it by the
    # database's driver: each would cost a tenth more time.
    column = Event.__table__.c
    query = select(
        column.number,
        time_text(session, column.at),
        column.person_id,
        column.panel_id,
        column.what,
        cast(column.facts, Text),
        column.previous_hash,
        column.hash,
    )
    with session.connection().execute(
        query.where(column.chain == chain).order_by(column.number),
        execution_options={"yield_per": ROWS_AT_ONCE},
    ) as rows:  # closed as well where the reader stops at the first break
        for number, at, person, panel, what, facts, previous, own in chained.from_iterable(rows.partitions()):
            time = datetime.fromisoformat(at)
            yield Link._make((chain, number, time, person, panel, what, from_json(facts), previous, own))


def time_text(session: Session, time: ColumnElement[datetime]) -> ColumnElement[str]:
    """A stored time as text that ``datetime.fromisoformat`` reads, with its zone, which SQLite leaves out."""
    text = cast(time, Text)
    return text + literal("+00:00") if session.get_bind().dialect.name == "sqlite" else text


_raw_decode = JSONDecoder().raw_decode


def from_json(text: str) -> Any:
    """The value that a text holds, as this program writes it: with nothing before or after.

    Raises
    ------
    ValueError
        If it holds something else.
    """
    value, end = _raw_decode(text)
    if end != len(text):
        raise JSONDecodeError("Extra data", text, end)
    return value


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
