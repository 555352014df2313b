"""Everything of a plant by the name a file gives it, each kind read from the database once."""

from collections.abc import Iterable, Mapping
from functools import cached_property, lru_cache
from typing import Protocol, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from qc_app.plan.characteristic import Characteristic
from qc_app.records.building import Building, Lot, Panel
from qc_app.records.shop import Instrument, Person, Station
from qc_app.refusal import shortened
from qc_app.work.find import NotFound
from qc_app.work.sheet import normalised
from qc_app.work.standing import Item


class Keyed(Protocol):
    """Something with a key and a name to show."""

    @property
    def key(self) -> str: ...

    @property
    def name(self) -> str: ...


K = TypeVar("K", bound=Keyed)
V = TypeVar("V")


class ShopNames:
    """Looks names up in the plant of a person; each raises NotFound where there is none of that name."""

    def __init__(self, session: Session, person: Person) -> None:
        self._session = session
        self._plant_id = person.plant_id
        self._panels = lru_cache(maxsize=None)(self._panels_of)

    def building(self, code: str) -> Building:
        """The building of that code, in capitals or not."""
        return _named(self._buildings, code, "building")

    def panel(self, building: Building, mark: str) -> Panel:
        """The panel of that mark in a building, in capitals or not."""
        return _named(self._panels(building.id), mark, f"panel in building {building.code}")

    def lot(self, mark: str) -> Lot:
        """The lot of that mark."""
        return _named(self._lots, mark, "lot")

    def instrument(self, name: str) -> Instrument:
        """The instrument of that name, in use or not: readings may be older."""
        return _named(self._instruments, name, "instrument")

    def station(self, given: str) -> Station:
        """The station of that key or name."""
        return _keyed(self._stations, given, "station")

    def person(self, sign_in_name: str) -> Person:
        """Who signs in by that name."""
        return _named(self._people, sign_in_name, "person")

    def characteristic(self, item: Item, given: str) -> Characteristic:
        """The characteristic of that key or name which the item's plan checks on its kind."""
        of_plan = item.control_plan.plan.characteristics
        return _keyed((c for c in of_plan if c.kind == item.kind), given, "characteristic of this kind")

    @cached_property
    def _buildings(self) -> Mapping[str, Building]:
        found = self._session.scalars(select(Building).where(Building.plant_id == self._plant_id))
        return {building.code.lower(): building for building in found}

    def _panels_of(self, building_id: int) -> Mapping[str, Panel]:
        found = self._session.scalars(
            select(Panel)
            .where(Panel.building_id == building_id)
            .options(
                selectinload(Panel.bays), selectinload(Panel.connectors), selectinload(Panel.penetrations)
            )
        )
        return {panel.mark.lower(): panel for panel in found}

    @cached_property
    def _lots(self) -> Mapping[str, Lot]:
        found = self._session.scalars(select(Lot).where(Lot.plant_id == self._plant_id))
        return {lot.mark.lower(): lot for lot in found}

    @cached_property
    def _instruments(self) -> Mapping[str, Instrument]:
        found = self._session.scalars(select(Instrument).where(Instrument.plant_id == self._plant_id))
        return {instrument.name.lower(): instrument for instrument in found}

    @cached_property
    def _stations(self) -> list[Station]:
        return list(self._session.scalars(select(Station).where(Station.plant_id == self._plant_id)))

    @cached_property
    def _people(self) -> Mapping[str, Person]:
        found = self._session.scalars(select(Person).where(Person.plant_id == self._plant_id))
        return {person.sign_in_name: person for person in found}


def _named(known: Mapping[str, V], given: str, what: str) -> V:
    found = known.get(given.strip().lower())
    if found is None:
        raise NotFound("There is no {what} “{given}” in this plant.", what=what, given=shortened(given))
    return found


def _keyed(known: Iterable[K], given: str, what: str) -> K:
    wanted = normalised(given)
    for candidate in known:
        if wanted in (candidate.key, normalised(candidate.name)):
            return candidate
    raise NotFound("There is no {what} “{given}” in this plant.", what=what, given=shortened(given))
