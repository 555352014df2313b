"""Letting panels leave: releases and their withdrawals, loads, and what happened on the way."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.building import Building, Panel
from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person


class Release(Table):
    """Somebody let a panel leave. Append-only.

    ``snapshot`` is what the record said then, in canonical form (RFC 8785), and ``sha256`` of those bytes.
    """

    __tablename__ = "release"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    released_at: Mapped[datetime]
    snapshot: Mapped[str | None] = mapped_column(Text)
    sha256: Mapped[str | None] = mapped_column(String(64))

    panel: Mapped[Panel] = relationship()
    person: Mapped[Person] = relationship()
    withdrawal: Mapped["ReleaseWithdrawal | None"] = relationship(back_populates="release")


class ReleaseWithdrawal(Table):
    """A release taken back, with the reason. Append-only."""

    __tablename__ = "release_withdrawal"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    release_id: Mapped[int] = mapped_column(ForeignKey("release.id"), unique=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    reason: Mapped[str] = mapped_column(Text)

    release: Mapped[Release] = relationship(back_populates="withdrawal")
    person: Mapped[Person] = relationship()


class Load(Table):
    """One truck: panels of a building that leave together, numbered in the order they are wanted on site."""

    __tablename__ = "load"
    __table_args__ = (UniqueConstraint("building_id", "number"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    building_id: Mapped[int] = mapped_column(ForeignKey("building.id"))
    number: Mapped[int]
    leaves_on: Mapped[date | None]
    released_at: Mapped[datetime | None]
    released_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))

    building: Mapped[Building] = relationship()
    released_by: Mapped[Person | None] = relationship()
    panels: Mapped[list[Panel]] = relationship(
        order_by="Panel.raising_sequence", foreign_keys="Panel.load_id", viewonly=True
    )


class Passage(Table):
    """A released panel was loaded, or set on site. Append-only."""

    __tablename__ = "passage"
    __table_args__ = (Index("ix_passage_panel", "panel_id", "at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"))
    what: Mapped[str] = mapped_column(String(20))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    remark: Mapped[str] = mapped_column(Text, default="")

    person: Mapped[Person] = relationship()


class PacketCopy(Table):
    """A handover packet that somebody took, so that they can be told when a release in it is withdrawn."""

    __tablename__ = "packet_copy"
    __table_args__ = (Index("ix_packet_copy_building", "building_id", "made_at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    building_id: Mapped[int] = mapped_column(ForeignKey("building.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    made_at: Mapped[datetime]
    sha256: Mapped[str] = mapped_column(String(64))

    person: Mapped[Person] = relationship()
