"""The kinds of thing that several events tell of, with what their tables hold of each."""

import hashlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased, selectinload

from qc_app.records.building import Building, Lot, Panel
from qc_app.records.control_plan import ControlPlan
from qc_app.records.nonconformity import Nonconformity, nonconformity_photo
from qc_app.records.reading import Reading
from qc_app.records.release import Load
from qc_app.records.shop import Instrument, Person, Plant, Station
from qc_app.records.tablet import Tablet
from qc_app.work.as_scheduled import lot_as_booked_in, panel_as_scheduled
from qc_app.work.check_record.compare import row_of


@dataclass(frozen=True)
class Called:
    """How older events call a thing where newer ones have its key: by its name, or its row's number."""

    name: str | None = None
    number: int | None = None


Key = int | str | Called | None

UNKNOWN = object()
"""What an older event changed without saying what it is now."""


@dataclass(frozen=True)
class Row:
    """One thing as its table has it: its key in events, its name and number, and its fields."""

    key: Key
    name: str
    number: int
    values: Mapping[str, Any]
    panel: int | None = None

    def is_called(self, called: Called) -> bool:
        """Whether an older event means this one."""
        return called.name == self.name if called.number is None else called.number == self.number


@dataclass(frozen=True)
class Kind:
    """Whose chain tells of such things, and those of one building or plant.

    Some ``may_be_called_otherwise`` by now than an older event called them.
    """

    owner: type[Building] | type[Plant]
    stored: Callable[[Session, int], Iterable[Row]]
    may_be_called_otherwise: bool = False


def _plant(session: Session, plant_id: int) -> Iterator[Row]:
    plant = session.get_one(Plant, plant_id)
    values = {"plant": plant.name, "system": plant.system, "denominator": plant.denominator}
    yield Row(0, plant.name, plant.id, {**values, "time_zone": plant.time_zone})


def _people(session: Session, plant_id: int) -> Iterator[Row]:
    of_plant = select(Person, Building.code).outerjoin(Building, Person.building_id == Building.id)
    for person, code in session.execute(of_plant.where(Person.plant_id == plant_id).order_by(Person.id)):
        values = {"name": person.name, "role": person.role, "active": person.active, "building": code}
        yield Row(person.sign_in_name, person.name, person.id, row_of(values))


def _instruments(session: Session, plant_id: int) -> Iterator[Row]:
    fields = ("kind", "bore", "standard_uncertainty", "accuracy_class", "graduation", "certificate")
    for one in session.scalars(
        select(Instrument).where(Instrument.plant_id == plant_id).order_by(Instrument.id)
    ):
        values = {name: getattr(one, name) for name in (*fields, "due_on", "active")}
        yield Row(one.name, one.name, one.id, row_of(values))


def _buildings(session: Session, plant_id: int) -> Iterator[Row]:
    for one in session.scalars(select(Building).where(Building.plant_id == plant_id).order_by(Building.id)):
        yield Row(one.code, one.code, one.id, {"name": one.name})


def _lots(session: Session, plant_id: int) -> Iterator[Row]:
    for lot in session.scalars(select(Lot).where(Lot.plant_id == plant_id).order_by(Lot.id)):
        yield Row(lot.mark, lot.mark, lot.id, row_of(lot_as_booked_in(lot)))


def _plans(session: Session, plant_id: int) -> Iterator[Row]:
    of_plant = select(ControlPlan).where(ControlPlan.plant_id == plant_id).order_by(ControlPlan.version)
    for one in session.scalars(of_plant):
        sha256 = hashlib.sha256(one.document.encode()).hexdigest()
        values = {"reason": one.reason, "sha256": sha256, "in_force_from": one.in_force_from}
        yield Row(one.version, str(one.version), one.id, row_of(values))


def _tablets(session: Session, plant_id: int) -> Iterator[Row]:
    of_plant = select(Tablet, Station.key).join(Station, Tablet.station_id == Station.id)
    for tablet, station in session.execute(of_plant.where(Tablet.plant_id == plant_id).order_by(Tablet.id)):
        values = {
            "name": tablet.name,
            "station": station,
            "time it was enrolled": tablet.enrolled_at,
            "time it was revoked": tablet.revoked_at,
        }
        yield Row(tablet.id, tablet.name, tablet.id, row_of(values))


def _panels(session: Session, building_id: int) -> Iterator[Row]:
    query = (
        select(Panel, Load.number)
        .outerjoin(Load, Panel.load_id == Load.id)
        .where(Panel.building_id == building_id)
        .options(selectinload(Panel.bays), selectinload(Panel.connectors), selectinload(Panel.penetrations))
        .order_by(Panel.id)
    )
    for panel, load in session.execute(query):
        before = panel.predecessor.mark if panel.predecessor else None
        values = {"load": load, "time it was scrapped": panel.scrapped_at, "predecessor": before}
        yield Row(panel.id, panel.mark, panel.id, row_of(panel_as_scheduled(panel) | values))


def _loads(session: Session, building_id: int) -> Iterator[Row]:
    for load in session.scalars(select(Load).where(Load.building_id == building_id).order_by(Load.number)):
        values = {
            "leaves_on": load.leaves_on,
            "time it was released": load.released_at,
            "person who released it": load.released_by_id,
        }
        yield Row(load.number, str(load.number), load.id, row_of(values))


def _nonconformities(session: Session, building_id: int) -> Iterator[Row]:
    opening, closing = aliased(Reading), aliased(Reading)
    photos = _photos(session, building_id)
    query = (
        select(Nonconformity, opening.uuid, closing.uuid)
        .outerjoin(opening, Nonconformity.reading_id == opening.id)
        .outerjoin(closing, Nonconformity.closing_reading_id == closing.id)
        .where(Nonconformity.building_id == building_id)
        .order_by(Nonconformity.number)
    )
    for one, opened_by, closed_by in session.execute(query):
        values = {
            "panel": one.panel_id,
            "characteristic": one.characteristic,
            "place": one.place,
            "reading": opened_by,
            "text": one.what,
            "places": one.places,
            "photos": sorted(photos[one.id]),
            "time it was opened": one.opened_at,
            "person who opened it": one.opened_by_id,
            "cause": one.cause,
            "correction": one.correction,
            "time it was closed": one.closed_at,
            "person who closed it": one.closed_by_id,
            "way it was closed": one.closed_how,
            "reading that closed it": closed_by,
        }
        yield Row(one.number, str(one.number), one.id, row_of(values), one.panel_id)


def _photos(session: Session, building_id: int) -> Mapping[int, list[str]]:
    shown = nonconformity_photo.c
    query = select(shown.nonconformity_id, shown.photo_sha256).join(
        Nonconformity, shown.nonconformity_id == Nonconformity.id
    )
    found: dict[int, list[str]] = defaultdict(list)
    for number, sha256 in session.execute(query.where(Nonconformity.building_id == building_id)):
        found[number].append(sha256)
    return found


THINGS: Mapping[str, Kind] = {
    "plant": Kind(Plant, _plant),
    "person": Kind(Plant, _people),
    "instrument": Kind(Plant, _instruments),
    "building": Kind(Plant, _buildings),
    "lot": Kind(Plant, _lots),
    "control plan, version": Kind(Plant, _plans),
    "tablet": Kind(Plant, _tablets, may_be_called_otherwise=True),
    "panel": Kind(Building, _panels),
    "load": Kind(Building, _loads),
    "nonconformity": Kind(Building, _nonconformities),
}
"""By the word that findings call them."""
