"""The shop itself: plant, stations, people, their sign-ins, instruments."""

from collections.abc import Iterable
from datetime import date, datetime

from sqlalchemy import JSON, Boolean, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from qc_app.measure.length import Length
from qc_app.plan.quantity import Units
from qc_app.records.schema import Amount, Identity, Table


class Plant(Table):
    """One shop, with the way it writes its numbers and its local time zone."""

    __tablename__ = "plant"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    name: Mapped[str] = mapped_column(String(120), unique=True)
    system: Mapped[str] = mapped_column(String(10))
    denominator: Mapped[int]
    time_zone: Mapped[str] = mapped_column(String(60))

    @property
    def units(self) -> Units:
        return Units("metric" if self.system == "metric" else "imperial", self.denominator)


class Station(Table):
    """A place of work in a plant; ``key`` is its name in the control plan."""

    __tablename__ = "station"
    __table_args__ = (UniqueConstraint("plant_id", "key"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    key: Mapped[str] = mapped_column(String(40))
    name: Mapped[str] = mapped_column(String(80))
    position: Mapped[int]
    cautions: Mapped[list[str]] = mapped_column(JSON)


class Person(Table):
    """Somebody who signs in, under a name kept in small letters. Never deleted, since readings name them.

    ``pin_hash`` is of the short PIN that says who stands at an enrolled tablet; ``language`` is that of the
    pages there. A customer or a site crew lead sees the building ``building_id`` only.
    """

    __tablename__ = "person"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    name: Mapped[str] = mapped_column(String(120))
    sign_in_name: Mapped[str] = mapped_column(String(60), unique=True)
    role: Mapped[str] = mapped_column(String(20))
    password_hash: Mapped[str] = mapped_column(String(200))
    pin_hash: Mapped[str | None] = mapped_column(String(200))
    language: Mapped[str | None] = mapped_column(String(10))
    active: Mapped[bool] = mapped_column(Boolean, default=True)
    building_id: Mapped[int | None] = mapped_column(ForeignKey("building.id"))

    plant: Mapped[Plant] = relationship()


class SignIn(Table):
    """One signed-in browser. Holds the SHA-256 of its token, so that a copy of the table signs nobody in."""

    __tablename__ = "sign_in"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    began_at: Mapped[datetime]
    seen_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]

    person: Mapped[Person] = relationship()


class FailedSignIn(Table):
    """One wrong attempt, kept for the growing delay before the next."""

    __tablename__ = "failed_sign_in"

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    sign_in_name: Mapped[str] = mapped_column(String(60))
    address: Mapped[str] = mapped_column(String(60))
    at: Mapped[datetime] = mapped_column(index=True)


class Instrument(Table):
    """A tape, scale, core cutter or moisture meter. ``bore``: inside diameter of a cutter, in nanometres.

    ``standard_uncertainty`` of one reading is in the grains that ``plan.instrument`` names for its kind;
    where there is none, the control plan's applies. ``graduation`` is in the same grains. After ``due_on`` it
    must be calibrated again.
    """

    __tablename__ = "instrument"
    __table_args__ = (UniqueConstraint("plant_id", "name"),)

    id: Mapped[int] = mapped_column(Identity, primary_key=True)
    plant_id: Mapped[int] = mapped_column(ForeignKey("plant.id"))
    kind: Mapped[str] = mapped_column(String(40))
    name: Mapped[str] = mapped_column(String(80))
    bore: Mapped[int | None] = mapped_column(Amount)
    standard_uncertainty: Mapped[int | None] = mapped_column(Amount)
    accuracy_class: Mapped[str] = mapped_column(String(40), default="")
    graduation: Mapped[int | None] = mapped_column(Amount)
    certificate: Mapped[str] = mapped_column(String(120), default="")
    due_on: Mapped[date | None]
    active: Mapped[bool] = mapped_column(Boolean, default=True)


def bore_of(instruments: Iterable[Instrument]) -> Length | None:
    """The bore of the core cutter among these instruments, if there is one."""
    return next((Length.from_nanometres(i.bore) for i in instruments if i.bore), None)


class Secret(Table):
    """A key of this installation, such as the one that signs cookies; never shown, never logged."""

    __tablename__ = "secret"

    name: Mapped[str] = mapped_column(String(40), primary_key=True)
    value: Mapped[str] = mapped_column(String(200))
