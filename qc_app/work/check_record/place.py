"""How a finding names the place where something does not fit. A terminal speaks English only."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.chain import Link
from qc_app.records.event import Event
from qc_app.records.shop import Person, Plant


@dataclass(frozen=True)
class Chain:
    """One chain: its name in the event log, whose it is, and the number of that building or plant.

    ``owner`` is Building or Plant; None where the log names one that does not exist.
    """

    name: str
    words: str
    owner: type[Building] | type[Plant] | None
    owner_id: int


@dataclass(frozen=True)
class Names:
    """Words for the numbers in the tables."""

    panels: Mapping[int, str]
    people: Mapping[int, str]

    def panel(self, panel_id: int | None) -> str:
        return self.panels.get(panel_id or 0, f"panel number {panel_id}")

    def person(self, person_id: int | None) -> str:
        return self.people.get(person_id or 0, f"person number {person_id}")


def names_of(session: Session) -> Names:
    """The marks of all panels and the names of all people."""
    panels = dict(iter(session.execute(select(Panel.id, Panel.mark))))
    people = dict(iter(session.execute(select(Person.id, Person.name))))
    return Names(panels, people)


def chains_of(session: Session) -> list[Chain]:
    """The chains of all plants and buildings, then any other that the event log names."""
    known = [
        Chain(f"plant {number}", f"plant {name}", Plant, number)
        for number, name in session.execute(select(Plant.id, Plant.name).order_by(Plant.id))
    ] + [
        Chain(f"building {number}", f"building {code}", Building, number)
        for number, code in session.execute(select(Building.id, Building.code).order_by(Building.id))
    ]
    named = {chain.name for chain in known}
    others = session.scalars(select(Event.chain).where(Event.chain.not_in(named)).distinct())
    return known + [Chain(name, f"chain “{name}”", None, 0) for name in sorted(others)]


def moment(at: datetime) -> str:
    """A time as findings write it."""
    return f"{at.astimezone(UTC):%d %b %Y %H:%M:%S} UTC"


def event_words(chain: Chain, link: Link, names: Names | None = None) -> str:
    """Which event of which chain; with ``names`` also about which panel."""
    panel = f", panel {names.panel(link.panel_id)}" if names and link.panel_id else ""
    return f"{chain.words}{panel}, event {link.number} ({moment(link.at)}, {link.what})"
