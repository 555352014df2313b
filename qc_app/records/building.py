"""What the shop makes: buildings, their panels with bays and connectors, and lots of members."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.plan.penetration import Penetration as NominalPenetration
from qc_app.plan.subject import Bay as NominalBay
from qc_app.plan.subject import Subject
from qc_app.records.control_plan import ControlPlan
from qc_app.records.schema import Amount, Identity, Table
from qc_app.records.shop import Plant


class Building(Table):
    """One building on order; ``code`` is its short name in schedules."""

    __tablename__ = "building"
    __table_args__ = (UniqueConstraint("plant_id", "code"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    code: Mapped[str] = mapped_column(String(20))
    name: Mapped[str] = mapped_column(String(120))

    plant: Mapped[Plant] = relationship()


class Panel(Table):
    """One panel or loose assembly. Nominal sizes are in nanometres.

    ``waiting_at`` follows from the readings and is kept here only so that a station finds its panels at once;
    nobody types it. A panel made again for one that was scrapped has that one as its ``predecessor``.
    """

    __tablename__ = "panel"
    __table_args__ = (
        UniqueConstraint("building_id", "mark"),
        CheckConstraint("length > 0 AND width > 0 AND depth > 0", name="sizes_positive"),
        Index("uq_panel_predecessor", "predecessor_id", unique=True),
        Index("ix_panel_waiting", "waiting_at", "building_id", "raising_sequence"),
    )

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    building_id: Mapped[int] = mapped_column(ForeignKey("building.id"))
    control_plan_id: Mapped[int] = mapped_column(ForeignKey("control_plan.id"))
    mark: Mapped[str] = mapped_column(String(40))
    kind: Mapped[str] = mapped_column(String(40))
    length: Mapped[int] = mapped_column(Amount)
    width: Mapped[int] = mapped_column(Amount)
    depth: Mapped[int] = mapped_column(Amount)
    run: Mapped[str] = mapped_column(String(40))
    position: Mapped[int]
    raising_sequence: Mapped[int]
    waiting_at: Mapped[str | None] = mapped_column(String(40))
    load_id: Mapped[int | None] = mapped_column(ForeignKey("load.id"), index=True)
    predecessor_id: Mapped[int | None] = mapped_column(ForeignKey("panel.id"))
    scrapped_at: Mapped[datetime | None]

    building: Mapped[Building] = relationship()
    control_plan: Mapped[ControlPlan] = relationship()
    predecessor: Mapped["Panel | None"] = relationship(remote_side="Panel.id")
    bays: Mapped[list["Bay"]] = relationship(order_by="Bay.number", cascade="all, delete-orphan")
    connectors: Mapped[list["Connector"]] = relationship(
        order_by="Connector.number", cascade="all, delete-orphan"
    )
    penetrations: Mapped[list["Penetration"]] = relationship(
        order_by="Penetration.number", cascade="all, delete-orphan"
    )

    @property
    def subject(self) -> Subject:
        return Subject(
            mark=self.mark,
            kind=self.kind,
            serial=self.raising_sequence,
            length=self.length,
            width=self.width,
            depth=self.depth,
            bays=tuple(NominalBay(bay.number, bay.width, bay.depth) for bay in self.bays),
            connectors=tuple(connector.position for connector in self.connectors),
            penetrations=tuple(penetration.nominal for penetration in self.penetrations),
        )


class Bay(Table):
    """One bay of a panel: clear width between members and depth to fill, in nanometres."""

    __tablename__ = "bay"

    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    width: Mapped[int] = mapped_column(Amount)
    depth: Mapped[int] = mapped_column(Amount)


class Connector(Table):
    """A site connector: its nominal position from the datum edge, in nanometres."""

    __tablename__ = "connector"

    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    position: Mapped[int] = mapped_column(Amount)


class Penetration(Table):
    """A scheduled penetration: its mark, the face it goes through, and size and sleeve as the schedule says.

    ``along`` and ``across`` place its centre from corner A, along AB and towards D, in nanometres.
    """

    __tablename__ = "penetration"

    panel_id: Mapped[int] = mapped_column(ForeignKey("panel.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    mark: Mapped[str] = mapped_column(String(20))
    face: Mapped[str] = mapped_column(String(20))
    size: Mapped[str] = mapped_column(String(40))
    sleeve: Mapped[str] = mapped_column(String(60))
    along: Mapped[int | None] = mapped_column(Amount)
    across: Mapped[int | None] = mapped_column(Amount)

    @property
    def nominal(self) -> NominalPenetration:
        return NominalPenetration(self.mark, self.face, self.size, self.sleeve, self.along, self.across)


class Lot(Table):
    """A lot of pre-cut members of one nominal size, checked by sample when it comes in."""

    __tablename__ = "lot"
    __table_args__ = (
        UniqueConstraint("plant_id", "mark"),
        CheckConstraint("length > 0 AND width > 0 AND depth > 0", name="sizes_positive"),
    )

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    control_plan_id: Mapped[int] = mapped_column(ForeignKey("control_plan.id"))
    mark: Mapped[str] = mapped_column(String(40))
    kind: Mapped[str] = mapped_column(String(40))
    length: Mapped[int] = mapped_column(Amount)
    width: Mapped[int] = mapped_column(Amount)
    depth: Mapped[int] = mapped_column(Amount)
    waiting_at: Mapped[str | None] = mapped_column(String(40), index=True)

    plant: Mapped[Plant] = relationship()
    control_plan: Mapped[ControlPlan] = relationship()

    @property
    def subject(self) -> Subject:
        return Subject(self.mark, self.kind, 1, self.length, self.width, self.depth)
