"""Readings. Append-only: the database itself refuses to change or delete one."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import JSON, CheckConstraint, Column, ForeignKey, Index, String, Text, Uuid
from sqlalchemy import Table as CoreTable
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.measure.conformity import Verdict
from qc_app.plan.quantity import Quantity
from qc_app.records.building import Lot, Panel
from qc_app.records.control_plan import Characteristic
from qc_app.records.photo import Photo, reading_photo
from qc_app.records.schema import Amount, Identity, Table
from qc_app.records.shop import Instrument, Person, Station
from qc_app.records.tablet import Tablet

reading_instrument = CoreTable(
    "reading_instrument",
    Table.metadata,
    Column("reading_id", ForeignKey("reading.id"), primary_key=True),
    Column("instrument_id", ForeignKey("instrument.id"), primary_key=True, index=True),
)


class Reading(Table):
    """One reading of one characteristic at one place, with what it was judged against at the time.

    ``entries`` holds exactly what was typed, field by field. ``amount``, ``target``, ``lower``, ``upper`` and
    ``standard_uncertainty`` are in grains of the characteristic's quantity. A correction is a new reading
    that ``supersedes`` another, for a ``reason``.
    """

    __tablename__ = "reading"
    __table_args__ = (
        CheckConstraint("(panel_id IS NULL) <> (lot_id IS NULL)", name="panel_or_lot"),
        Index("ix_reading_panel", "panel_id", "measured_at"),
        Index("ix_reading_lot", "lot_id", "measured_at"),
    )

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    uuid: Mapped[UUID] = mapped_column(Uuid, unique=True)
    panel_id: Mapped[int | None] = mapped_column(ForeignKey("panel.id"))
    lot_id: Mapped[int | None] = mapped_column(ForeignKey("lot.id"))
    characteristic_id: Mapped[int] = mapped_column(ForeignKey("characteristic.id"), index=True)
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    place: Mapped[str] = mapped_column(String(40))
    entries: Mapped[dict[str, str]] = mapped_column(JSON)
    amount: Mapped[int] = mapped_column(Amount)
    target: Mapped[int | None] = mapped_column(Amount)
    lower: Mapped[int | None] = mapped_column(Amount)
    upper: Mapped[int | None] = mapped_column(Amount)
    standard_uncertainty: Mapped[int | None] = mapped_column(Amount)
    verdict: Mapped[str] = mapped_column(String(10))
    measured_at: Mapped[datetime]
    received_at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text, default="")
    supersedes_id: Mapped[int | None] = mapped_column(ForeignKey("reading.id"), unique=True)
    reason: Mapped[str] = mapped_column(Text, default="")
    tablet_id: Mapped[int | None] = mapped_column(ForeignKey("tablet.id"))

    panel: Mapped[Panel | None] = relationship()
    lot: Mapped[Lot | None] = relationship()
    characteristic: Mapped[Characteristic] = relationship()
    station: Mapped[Station] = relationship()
    person: Mapped[Person] = relationship()
    tablet: Mapped[Tablet | None] = relationship()
    instruments: Mapped[list[Instrument]] = relationship(secondary=reading_instrument)
    photos: Mapped[list[Photo]] = relationship(secondary=reading_photo)

    @property
    def quantity(self) -> Quantity:
        return Quantity(self.characteristic.quantity)

    @property
    def deviation(self) -> int:
        """From the target; from nothing where there is no target."""
        return self.amount - (self.target or 0)

    @property
    def is_within(self) -> bool:
        return self.verdict == Verdict.WITHIN
