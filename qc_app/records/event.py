"""The event log: append-only, each event holding the hash of the one before it in its chain.

There is one chain for each building and one for the plant's own affairs.
"""

import hashlib
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any, Protocol

from sqlalchemy import JSON, ForeignKey, Index, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from qc_app.records.building import Building
from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person, Plant

BEGINNING = "0" * 64
"""What the first event of a chain holds as the hash before it."""


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


class Told(Protocol):
    """What an event says, whether it comes as an object or as a bare row."""

    @property
    def chain(self) -> str: ...
    @property
    def number(self) -> int: ...
    @property
    def at(self) -> datetime: ...
    @property
    def person_id(self) -> int | None: ...
    @property
    def panel_id(self) -> int | None: ...
    @property
    def what(self) -> str: ...
    @property
    def facts(self) -> dict[str, Any]: ...
    @property
    def previous_hash(self) -> str: ...


def expected_hash(event: Told) -> str:
    """SHA-256 over an event's canonical text, which includes the hash before it, in hexadecimal.

    The text is JSON with sorted keys and no spaces, in UTF-8. It stays as the first event was written, so
    that hashes stay too; for facts as they are that is the form of RFC 8785.
    """
    content = {
        "at": event.at.astimezone(UTC).isoformat(),
        "chain": event.chain,
        "facts": event.facts,
        "number": event.number,
        "panel": event.panel_id,
        "person": event.person_id,
        "previous": event.previous_hash,
        "what": event.what,
    }
    return hashlib.sha256(_CANONICAL.encode(content).encode()).hexdigest()


class Event(Table):
    """One thing that happened. ``facts`` holds text, whole numbers and null only."""

    __tablename__ = "event"
    __table_args__ = (
        Index("uq_event_chain", "chain", "number", unique=True),
        Index("ix_event_panel", "panel_id", "at"),
    )

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    chain: Mapped[str] = mapped_column(String(40))
    number: Mapped[int]
    at: Mapped[datetime]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    panel_id: Mapped[int | None] = mapped_column(ForeignKey("panel.id"))
    what: Mapped[str] = mapped_column(String(60))
    facts: Mapped[dict[str, Any]] = mapped_column(JSON)
    previous_hash: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64))

    person: Mapped[Person | None] = relationship()

    def expected_hash(self) -> str:
        """SHA-256 over the event's canonical text, which includes the hash before it."""
        return expected_hash(self)


def append_event(
    session: Session,
    where: Building | Plant,
    what: str,
    facts: dict[str, Any],
    *,
    at: datetime,
    person: Person | None,
    panel_id: int | None = None,
) -> Event:
    """Adds an event to the end of the building's or the plant's chain.

    The building or plant row is locked until the transaction ends, so that two writers cannot both add the
    same number.
    """
    session.flush()
    session.execute(select(type(where).id).where(type(where).id == where.id).with_for_update())
    chain = f"{where.__tablename__} {where.id}"
    last = session.scalars(
        select(Event).where(Event.chain == chain).order_by(Event.number.desc()).limit(1)
    ).first()
    event = Event(
        chain=chain,
        number=last.number + 1 if last else 1,
        at=at,
        person_id=person.id if person else None,
        panel_id=panel_id,
        what=what,
        facts=facts,
        previous_hash=last.hash if last else BEGINNING,
    )
    event.hash = event.expected_hash()
    session.add(event)
    session.flush()
    return event


def first_break(events: Iterable[Event]) -> Event | None:
    """The first event of a chain, given in order, that does not follow from the one before it."""
    previous, number = BEGINNING, 1
    for event in events:
        if (event.previous_hash, event.number, event.hash) != (previous, number, event.expected_hash()):
            return event
        previous, number = event.hash, number + 1
    return None
