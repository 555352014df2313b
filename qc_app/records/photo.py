"""Photos: what they show is kept by content in a folder, what they belong to here."""

from datetime import datetime

from sqlalchemy import Column, ForeignKey, String
from sqlalchemy import Table as CoreTable
from sqlalchemy.orm import Mapped, mapped_column

from qc_app.records.schema import Table

reading_photo = CoreTable(
    "reading_photo",
    Table.metadata,
    Column("reading_id", ForeignKey("reading.id"), primary_key=True),
    Column("photo_sha256", ForeignKey("photo.sha256"), primary_key=True, index=True),
)


class Photo(Table):
    """One photo, named by the SHA-256 of its bytes; ``size`` in bytes, ``width`` and ``height`` in pixels."""

    __tablename__ = "photo"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    media_type: Mapped[str] = mapped_column(String(40))
    size: Mapped[int]
    width: Mapped[int]
    height: Mapped[int]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    received_at: Mapped[datetime]
