"""Released panels."""

from datetime import datetime

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.building import Panel
from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person


class Release(Table):
    """Somebody let a panel leave."""

    __tablename__ = "release"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), index=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    released_at: Mapped[datetime]

    panel: Mapped[Panel] = relationship()
    person: Mapped[Person] = relationship()
