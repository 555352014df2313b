"""Streams of points for control charts, the phases that fix their limits, and the signals found.

Points and signals follow from readings and may be worked out again; phases are decisions and stay.
"""

from datetime import datetime

from sqlalchemy import JSON, Float, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.plan.quantity import Quantity
from qc_app.records.reading import Reading
from qc_app.records.schema import Amount, Identity, Table
from qc_app.records.shop import Person, Station


class Stream(Table):
    """One process watched: a characteristic at a station, apart for each edge or other fixed place."""

    __tablename__ = "stream"
    __table_args__ = (UniqueConstraint("station_id", "characteristic", "place"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    station_id: Mapped[int] = mapped_column(ForeignKey("station.id"))
    characteristic: Mapped[str] = mapped_column(String(40))
    place: Mapped[str] = mapped_column(String(40))
    name: Mapped[str] = mapped_column(String(120))
    quantity_name: Mapped[str] = mapped_column("quantity", String(20))

    station: Mapped[Station] = relationship()
    phases: Mapped[list["Phase"]] = relationship(order_by="Phase.begins_at", back_populates="stream")

    @property
    def quantity(self) -> Quantity:
        return Quantity(self.quantity_name)


class Phase(Table):
    """Limits frozen from a base period, with the reason. They hold from ``begins_at`` until the next phase.

    ``centre`` and ``sigma`` are in grains; they come from the points of the base period and stay as they were
    worked out, whatever arrives later. ``rules`` are the run rules watched under them.
    """

    __tablename__ = "phase"
    __table_args__ = (UniqueConstraint("stream_id", "begins_at"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    stream_id: Mapped[int] = mapped_column(ForeignKey("stream.id"))
    begins_at: Mapped[datetime]
    base_ends_at: Mapped[datetime]
    points: Mapped[int]
    centre: Mapped[float] = mapped_column(Float(53))
    sigma: Mapped[float] = mapped_column(Float(53))
    rules: Mapped[list[str]] = mapped_column(JSON)
    reason: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    frozen_at: Mapped[datetime]

    stream: Mapped[Stream] = relationship(back_populates="phases")
    person: Mapped[Person] = relationship()

    @property
    def lower(self) -> float:
        return self.centre - 3 * self.sigma

    @property
    def upper(self) -> float:
        return self.centre + 3 * self.sigma


class Point(Table):
    """One point of a stream: a reading's deviation from its target, in order of when it was measured."""

    __tablename__ = "point"
    __table_args__ = (Index("ix_point_order", "stream_id", "measured_at", "reading_id"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    stream_id: Mapped[int] = mapped_column(ForeignKey("stream.id"))
    reading_id: Mapped[int] = mapped_column(ForeignKey("reading.id"), unique=True)
    measured_at: Mapped[datetime]
    deviation: Mapped[int] = mapped_column(Amount)

    stream: Mapped[Stream] = relationship()
    reading: Mapped[Reading] = relationship()


class Signal(Table):
    """A run rule completed by a point under a phase's limits."""

    __tablename__ = "signal"
    __table_args__ = (UniqueConstraint("point_id", "rule"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    point_id: Mapped[int] = mapped_column(ForeignKey("point.id", ondelete="CASCADE"))
    phase_id: Mapped[int] = mapped_column(ForeignKey("phase.id"))
    rule: Mapped[str] = mapped_column(String(40))
    found_at: Mapped[datetime]

    point: Mapped[Point] = relationship()
    phase: Mapped[Phase] = relationship()
