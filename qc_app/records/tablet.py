"""Tablets of the shop, who signed in on them, and every entry their outboxes sent."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import JSON, ForeignKey, Index, String, Text, UniqueConstraint, Uuid
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person, Plant, Station


class Tablet(Table):
    """A tablet enrolled at a station.

    Holds only SHA-256 hashes: of the code that enrols it, used once, and of the credential it keeps.
    ``key_size`` is the side of a keypad key in CSS pixels, so that it is 20 mm on this tablet's glass.
    ``outbox`` numbers the tablet's present memory, ``written`` the entries it says it has written there.
    """

    __tablename__ = "tablet"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    name: Mapped[str] = mapped_column(String(80))
    key_size: Mapped[int]
    code_hash: Mapped[str | None] = mapped_column(String(64), unique=True)
    code_expires_at: Mapped[datetime | None]
    credential_hash: Mapped[str | None] = mapped_column(String(64), unique=True)
    enrolled_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
    seen_at: Mapped[datetime | None]
    outbox: Mapped[UUID | None] = mapped_column(Uuid)
    written: Mapped[int] = mapped_column(default=0)

    plant: Mapped[Plant] = relationship()
    station: Mapped[Station] = relationship()


class TabletSignIn(Table):
    """Somebody proved with a PIN that they were at a tablet; entries they make there are theirs."""

    __tablename__ = "tablet_sign_in"
    __table_args__ = (Index("ix_tablet_sign_in_who", "tablet_id", "person_id", "at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    tablet_id: Mapped[int] = mapped_column(ForeignKey("tablet.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]


class OutboxEntry(Table):
    """One entry as it came from an outbox, with the answer it got: sent again, it gets the same answer.

    ``outbox`` and ``sequence`` number it where it was typed, so that a missing one is noticed. ``tablet`` is
    empty where somebody signed in by password typed it in a browser that is no enrolled tablet.
    """

    __tablename__ = "outbox_entry"
    __table_args__ = (
        UniqueConstraint("outbox", "sequence"),
        Index("ix_outbox_entry_tablet", "tablet_id", "received_at"),
    )

    uuid: Mapped[UUID] = mapped_column(Uuid, primary_key=True)
    outbox: Mapped[UUID] = mapped_column(Uuid)
    sequence: Mapped[int]
    tablet_id: Mapped[int | None] = mapped_column(ForeignKey("tablet.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    form: Mapped[str] = mapped_column(String(40))
    content: Mapped[dict[str, Any]] = mapped_column(JSON)
    entered_at: Mapped[datetime]
    received_at: Mapped[datetime]
    kept: Mapped[bool]
    answer: Mapped[dict[str, Any]] = mapped_column(JSON)

    tablet: Mapped[Tablet | None] = relationship()
    person: Mapped[Person] = relationship()


class Notice(Table):
    """Something the shop lead has to be told, such as a reading that came after its panel was released."""

    __tablename__ = "notice"
    __table_args__ = (Index("ix_notice_open", "plant_id", "closed_at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    about: Mapped[str] = mapped_column(String(40))
    facts: Mapped[dict[str, Any]] = mapped_column(JSON)
    panel_id: Mapped[int | None] = mapped_column(ForeignKey("panel.id"))
    tablet_id: Mapped[int | None] = mapped_column(ForeignKey("tablet.id"))
    raised_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    closed_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    remark: Mapped[str] = mapped_column(Text, default="")

    tablet: Mapped[Tablet | None] = relationship()
