"""Holds that do not follow from a panel's own readings: by a person, a chart, or a wrong instrument."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.building import Panel
from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person


class Hold(Table):
    """A panel that may not leave until somebody lifts this, with a reason.

    In force while ``lifted_at`` is empty. ``why`` is ``person``, ``signal`` or ``instrument``; ``facts`` say
    which chart or instrument.
    """

    __tablename__ = "hold"
    __table_args__ = (Index("ix_hold_panel", "panel_id", "lifted_at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"))
    why: Mapped[str] = mapped_column(String(20))
    facts: Mapped[dict[str, Any]] = mapped_column(JSON)
    reason: Mapped[str] = mapped_column(Text)
    placed_at: Mapped[datetime]
    placed_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    lifted_at: Mapped[datetime | None]
    lifted_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    lift_reason: Mapped[str] = mapped_column(Text, default="")

    panel: Mapped[Panel] = relationship()
    placed_by: Mapped[Person | None] = relationship(foreign_keys=[placed_by_id])
    lifted_by: Mapped[Person | None] = relationship(foreign_keys=[lifted_by_id])
