"""Versions of the control plan. A version never changes; a new one is added."""

from datetime import datetime
from functools import lru_cache

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app import plan
from qc_app.plan.document import read_plan
from qc_app.records.schema import Identity, Table


@lru_cache(maxsize=64)
def _read(document: str) -> "plan.control_plan.ControlPlan":
    return read_plan(document)


class ControlPlan(Table):
    """One version of a plant's control plan: the document as adopted, by whom, when, and why."""

    __tablename__ = "control_plan"
    __table_args__ = (UniqueConstraint("plant_id", "version"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    version: Mapped[int]
    document: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    in_force_from: Mapped[datetime]

    characteristics: Mapped[list["Characteristic"]] = relationship(back_populates="control_plan")

    @property
    def plan(self) -> "plan.control_plan.ControlPlan":
        """The document as read; the same text is read once."""
        return _read(self.document)


class Characteristic(Table):
    """One characteristic of one version for one kind of panel: what a reading refers to.

    What is to be measured, the target and the limits stand in the version's document.
    """

    __tablename__ = "characteristic"
    __table_args__ = (UniqueConstraint("control_plan_id", "kind", "key"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    control_plan_id: Mapped[int] = mapped_column(ForeignKey("control_plan.id"))
    kind: Mapped[str] = mapped_column(String(40))
    station: Mapped[str] = mapped_column(String(40))
    key: Mapped[str] = mapped_column(String(40))
    name: Mapped[str] = mapped_column(String(120))
    quantity: Mapped[str] = mapped_column(String(20))

    control_plan: Mapped[ControlPlan] = relationship(back_populates="characteristics")


class PlanDraft(Table):
    """A plant's next version while it is being written.

    ``revision`` counts saves: of two people who edit at once, the second is shown what the first saved.
    """

    __tablename__ = "plan_draft"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"), unique=True)
    based_on_id: Mapped[int] = mapped_column(ForeignKey("control_plan.id"))
    document: Mapped[str] = mapped_column(Text)
    edited_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    edited_at: Mapped[datetime]
    revision: Mapped[int] = mapped_column()

    based_on: Mapped[ControlPlan] = relationship()

    __mapper_args__ = {"version_id_col": revision}  # noqa: RUF012 (SQLAlchemy reads it from the class)
