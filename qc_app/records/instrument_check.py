"""Checks of instruments against a reference (ISO 9001:2015, 7.1.5)."""

from datetime import datetime

from sqlalchemy import Boolean, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.schema import Amount, Identity, Table
from qc_app.records.shop import Instrument, Person


class InstrumentCheck(Table):
    """One check of an instrument: what the reference is, what was read, and whether it passed. Append-only.

    ``occasion`` is ``shift`` or ``calibration``. Amounts are in the grains that ``plan.instrument`` names for
    the kind; they are empty where it was found wrong without measuring, as one that was dropped.
    """

    __tablename__ = "instrument_check"
    __table_args__ = (Index("ix_instrument_check_when", "instrument_id", "at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    instrument_id: Mapped[int] = mapped_column(ForeignKey("instrument.id"))
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]
    occasion: Mapped[str] = mapped_column(String(20))
    reference: Mapped[int | None] = mapped_column(Amount)
    read: Mapped[int | None] = mapped_column(Amount)
    permitted: Mapped[int | None] = mapped_column(Amount)
    passed: Mapped[bool] = mapped_column(Boolean)
    remark: Mapped[str] = mapped_column(Text, default="")

    instrument: Mapped[Instrument] = relationship()
    person: Mapped[Person] = relationship()
