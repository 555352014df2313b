"""Files handed in for import, kept as they came."""

from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.records.schema import Identity, Table
from qc_app.records.shop import Person


class Upload(Table):
    """One file as uploaded, and whether its good rows were taken."""

    __tablename__ = "upload"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    what: Mapped[str] = mapped_column(String(20))
    name: Mapped[str] = mapped_column(String(200))
    sha256: Mapped[str] = mapped_column(String(64))
    content: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
    uploaded_at: Mapped[datetime]
    taken_at: Mapped[datetime | None]

    person: Mapped[Person] = relationship()
