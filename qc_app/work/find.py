"""Finding what somebody names. Each look-up stays inside the visitor's own plant.

A customer and a site crew lead find their own building and its panels, and nothing of the shop.
"""

from typing import TypeVar

from sqlalchemy import ColumnElement, func, select, true
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Lot, Panel
from qc_app.records.chart import Stream
from qc_app.records.schema import Table
from qc_app.records.shop import Instrument, Person, Station
from qc_app.records.tablet import Tablet
from qc_app.records.upload import Upload
from qc_app.refusal import Refusal, shortened
from qc_app.work.roles import OF_ONE_BUILDING

T = TypeVar("T", bound=Table)

Visitor = Person | Tablet
"""Who looks: somebody signed in, or a tablet at its station, whoever stands before it."""

LARGEST_NUMBER = 2**63 - 1
"""The largest row number that a database can be asked for."""


class NotFound(Refusal):
    """There is no such thing in this plant."""


def sees_shop(visitor: Visitor) -> bool:
    """Whether the visitor sees the whole plant, rather than one building."""
    return isinstance(visitor, Tablet) or visitor.role not in OF_ONE_BUILDING


def sees_building(visitor: Visitor, building: Building) -> bool:
    """Whether a building is the visitor's own, or one of the plant where they see all of it."""
    if building.plant_id != visitor.plant_id:
        return False
    return isinstance(visitor, Tablet) or sees_shop(visitor) or building.id == visitor.building_id


def of_shop(visitor: Visitor, plant_id: int) -> bool:
    """Whether something of a plant that belongs to no building is there for the visitor."""
    return sees_shop(visitor) and plant_id == visitor.plant_id


def _plant(visitor: Visitor) -> int | None:
    """The plant whose things of no building the visitor finds, if any."""
    return visitor.plant_id if sees_shop(visitor) else None


def _own(visitor: Visitor) -> ColumnElement[bool]:
    """What narrows a query over buildings to those that the visitor sees."""
    if isinstance(visitor, Tablet) or sees_shop(visitor):
        return true()
    return Building.id == visitor.building_id


def _numbered(session: Session, table: type[T], number: int) -> T | None:
    return session.get(table, number) if number <= LARGEST_NUMBER else None


def station(session: Session, visitor: Visitor, key: str) -> Station:
    """The station with that key."""
    found = session.scalars(
        select(Station).where(Station.plant_id == _plant(visitor), Station.key == key)
    ).first()
    if found is None:
        raise NotFound("There is no station “{given}” in this plant.", given=shortened(key))
    return found


def stations(session: Session, visitor: Visitor) -> list[Station]:
    """All stations, in the order of the line."""
    return list(
        session.scalars(select(Station).where(Station.plant_id == _plant(visitor)).order_by(Station.position))
    )


def building(session: Session, visitor: Visitor, building_id: int) -> Building:
    """The building with that number."""
    found = _numbered(session, Building, building_id)
    if found is None or not sees_building(visitor, found):
        raise NotFound("There is no such building in this plant.")
    return found


def buildings(session: Session, visitor: Visitor) -> list[Building]:
    """All buildings, newest first."""
    return list(
        session.scalars(
            select(Building)
            .where(Building.plant_id == visitor.plant_id, _own(visitor))
            .order_by(Building.id.desc())
        )
    )


def building_by_code(session: Session, visitor: Visitor, code: str) -> Building:
    """The building with that code, in capitals or not."""
    found = session.scalars(
        select(Building).where(
            Building.plant_id == visitor.plant_id,
            _own(visitor),
            func.lower(Building.code) == func.lower(code.strip()),
        )
    ).first()
    if found is None:
        raise NotFound("There is no building “{given}” in this plant.", given=shortened(code))
    return found


def panel(session: Session, visitor: Visitor, panel_id: int) -> Panel:
    """The panel with that number."""
    found = _numbered(session, Panel, panel_id)
    if found is None or not sees_building(visitor, found.building):
        raise NotFound("There is no such panel in this plant.")
    return found


def panel_by_mark(session: Session, building: Building, mark: str) -> Panel:
    """The panel of a building with that mark, in capitals or not."""
    found = session.scalars(
        select(Panel).where(
            Panel.building_id == building.id, func.lower(Panel.mark) == func.lower(mark.strip())
        )
    ).first()
    if found is None:
        raise NotFound(
            "There is no panel marked “{given}” in building {building}.",
            given=shortened(mark),
            building=building.code,
        )
    return found


def lot(session: Session, visitor: Visitor, lot_id: int) -> Lot:
    """The lot with that number."""
    found = _numbered(session, Lot, lot_id)
    if found is None or not of_shop(visitor, found.plant_id):
        raise NotFound("There is no such lot in this plant.")
    return found


def stream(session: Session, visitor: Visitor, stream_id: int) -> Stream:
    """The stream with that number."""
    found = _numbered(session, Stream, stream_id)
    if found is None or not of_shop(visitor, found.station.plant_id):
        raise NotFound("There is no such chart in this plant.")
    return found


def instruments(session: Session, visitor: Visitor, kinds: tuple[str, ...] | None = None) -> list[Instrument]:
    """The instruments in use, all or of the given kinds, by kind and name."""
    query = select(Instrument).where(Instrument.plant_id == _plant(visitor), Instrument.active)
    if kinds is not None:
        query = query.where(Instrument.kind.in_(kinds))
    return list(session.scalars(query.order_by(Instrument.kind, Instrument.name)))


def people(session: Session, visitor: Visitor) -> list[Person]:
    """Everybody of the plant, by name."""
    return list(
        session.scalars(select(Person).where(Person.plant_id == _plant(visitor)).order_by(Person.name))
    )


def upload(session: Session, visitor: Visitor, upload_id: int) -> Upload:
    """The upload with that number."""
    found = _numbered(session, Upload, upload_id)
    if found is None or not of_shop(visitor, found.person.plant_id):
        raise NotFound("There is no such file in this plant.")
    return found


def tablet(session: Session, visitor: Visitor, tablet_id: int) -> Tablet:
    """The tablet with that number."""
    found = _numbered(session, Tablet, tablet_id)
    if found is None or not of_shop(visitor, found.plant_id):
        raise NotFound("There is no such tablet in this plant.")
    return found


def person(session: Session, visitor: Visitor, person_id: int) -> Person:
    """The person with that number."""
    found = _numbered(session, Person, person_id)
    if found is None or not of_shop(visitor, found.plant_id):
        raise NotFound("There is no such person in this plant.")
    return found
