"""The event log: append-only, each event holding the hash of the one before it in its chain.

There is one chain for each building and one for the plant's own affairs.
"""

import hashlib
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, ForeignKey, Index, String, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from qc_app.records.building import Building
from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person, Plant

BEGINNING = "0" * 64
"""What the first event of a chain holds as the hash before it."""


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
        content = {
            "at": self.at.astimezone(UTC).isoformat(),
            "chain": self.chain,
            "facts": self.facts,
            "number": self.number,
            "panel": self.panel_id,
            "person": self.person_id,
            "previous": self.previous_hash,
            "what": self.what,
        }
        text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()


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
