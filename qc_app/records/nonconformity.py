"""Nonconformities of panels, and what was decided about them (ISO 9001:2015, 8.7)."""

from datetime import datetime

from sqlalchemy import Column, ForeignKey, String, Text, UniqueConstraint
from sqlalchemy import Table as CoreTable
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.building import Building, Panel
from qc_app.records.photo import Photo
from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person

nonconformity_link = CoreTable(
    "nonconformity_link",
    Table.metadata,
    Column("one_id", ForeignKey("nonconformity.id"), primary_key=True),
    Column("other_id", ForeignKey("nonconformity.id"), primary_key=True),
)

nonconformity_photo = CoreTable(
    "nonconformity_photo",
    Table.metadata,
    Column("nonconformity_id", ForeignKey("nonconformity.id"), primary_key=True),
    Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True),
)


class Nonconformity(Table):
    """One requirement that a panel does not meet, numbered within its building.

    A reading opens one with its characteristic and place; a person may open one about anything else. It is
    open while ``closed_at`` is empty. ``places`` marks where on the panel, as thousandths from corner A
    (``plan.place_marks``). ``version`` counts changes, so that two people cannot decide past each other.
    """

    __tablename__ = "nonconformity"
    __table_args__ = (UniqueConstraint("building_id", "number"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    building_id: Mapped[int] = mapped_column(ForeignKey("building.id"))
    number: Mapped[int]
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    characteristic: Mapped[str] = mapped_column(String(40), default="")
    place: Mapped[str] = mapped_column(String(40), default="")
    reading_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"))
    what: Mapped[str] = mapped_column(Text)
    places: Mapped[str] = mapped_column(Text, default="")
    opened_at: Mapped[datetime]
    opened_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    cause: Mapped[str] = mapped_column(Text, default="")
    correction: Mapped[str] = mapped_column(Text, default="")
    closed_at: Mapped[datetime | None]
    closed_how: Mapped[str | None] = mapped_column(String(20))
    closed_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    closing_reading_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"))
    version: Mapped[int] = mapped_column()

    building: Mapped[Building] = relationship()
    panel: Mapped[Panel] = relationship()
    opened_by: Mapped[Person] = relationship(foreign_keys=[opened_by_id])
    closed_by: Mapped[Person | None] = relationship(foreign_keys=[closed_by_id])
    photos: Mapped[list[Photo]] = relationship(secondary=nonconformity_photo)
    dispositions: Mapped[list["Disposition"]] = relationship(
        order_by="Disposition.id", back_populates="nonconformity"
    )

    __mapper_args__ = {"version_id_col": version}  # noqa: RUF012 (SQLAlchemy reads it from the class)


class Disposition(Table):
    """A decision about a nonconformity: rework, repair, accept as it is, or scrap.

    Append-only; the last one counts. ``agreed_by`` names who agreed for the customer to accept it as it is.
    """

    __tablename__ = "disposition"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    nonconformity_id: Mapped[int] = mapped_column(ForeignKey("nonconformity.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    reason: Mapped[str] = mapped_column(Text)
    agreed_by: Mapped[str] = mapped_column(String(120), default="")

    nonconformity: Mapped[Nonconformity] = relationship(back_populates="dispositions")
    person: Mapped[Person] = relationship()
