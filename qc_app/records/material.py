"""Lots of material on arrival, and the panels each was used in."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint, Uuid
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.building import Lot, Panel
from qc_app.records.schema import Amount, Identity, Table
from qc_app.records.shop import Person, Station


class MaterialLot(Table):
    """A lot of sheathing, cellulose, tape, sealant or studs as it arrived.

    ``moisture`` is in millionths of a percent.
    """

    __tablename__ = "material_lot"
    __table_args__ = (UniqueConstraint("plant_id", "mark"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    mark: Mapped[str] = mapped_column(String(40))
    material: Mapped[str] = mapped_column(String(40))
    supplier: Mapped[str] = mapped_column(String(120), default="")
    moisture: Mapped[int | None] = mapped_column(Amount)
    remark: Mapped[str] = mapped_column(Text, default="")
    received_at: Mapped[datetime]
    received_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    received_by: Mapped[Person] = relationship()


class LotUse(Table):
    """Something of a lot went into a panel at a station. Append-only.

    ``uuid`` is made once, where it was scanned: sent twice, stored once.
    """

    __tablename__ = "lot_use"
    __table_args__ = (
        CheckConstraint("(material_lot_id IS NULL) <> (lot_id IS NULL)", name="material_or_members"),
        Index("ix_lot_use_panel", "panel_id"),
        Index("ix_lot_use_material", "material_lot_id"),
        Index("ix_lot_use_members", "lot_id"),
    )

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    uuid: Mapped[UUID] = mapped_column(Uuid, unique=True)
    material_lot_id: Mapped[int | None] = mapped_column(ForeignKey("material_lot.id"))
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"))
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]

    material_lot: Mapped[MaterialLot | None] = relationship()
    lot: Mapped[Lot | None] = relationship()
    panel: Mapped[Panel] = relationship()
    station: Mapped[Station] = relationship()
    person: Mapped[Person] = relationship()
