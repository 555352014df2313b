"""Readings as workers hand them in."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID, uuid4

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.work import find
from qc_app.work.record import NewReading, record
from qc_app.work.setup import adopt_plan, default_document
from qc_app.work.standing import place_item
from tests.conftest import NOW, Cast, stage


@pytest.fixture
def shop(sqlite_database: Database) -> Cast:
    """The cast on stage where the kind of database makes no difference."""
    return stage(sqlite_database)


@dataclass(frozen=True)
class Said:
    """What somebody hands in about a panel or lot of the cast; edge AB on target where not said otherwise."""

    characteristic: str = "edge_length"
    place: str = "AB"
    entries: dict[str, str] = field(default_factory=lambda: {"length": "24'"})
    at: datetime = NOW
    of: str = "panel"
    station: str = "sheathing_fence"
    who: str = "worker"
    instruments: tuple[str, ...] = ("tape",)
    note: str = ""
    uuid: UUID = field(default_factory=uuid4)

    def new(self, session: Session, cast: Cast) -> NewReading:
        """The same, with everything looked up."""
        worker = cast.person(session, "worker")
        look_up = find.lot if self.of == "lot" else find.panel
        return NewReading(
            self.uuid,
            look_up(session, worker, getattr(cast, self.of)),
            find.station(session, worker, self.station),
            self.characteristic,
            self.place,
            self.entries,
            self.at,
            tuple(find.instruments(session, worker, self.instruments)),
            self.note,
        )

    def record(self, session: Session, cast: Cast, now: datetime = NOW) -> Reading:
        """Hands it in."""
        return record(session, cast.person(session, self.who), self.new(session, cast), now)


def adopt_changed(session: Session, cast: Cast, *changes: tuple[str, str]) -> None:
    """Adopts the default plan with something written otherwise, for all panels of the building."""
    document, manager = default_document(), cast.person(session, "manager")
    for written, instead in changes:
        assert written in document
        document = document.replace(written, instead, 1)
    version = adopt_plan(session, manager.plant, document, "Trial.", manager, NOW - timedelta(minutes=1))
    for panel in session.scalars(select(Panel).where(Panel.building_id == cast.building)):
        panel.control_plan = version
        place_item(session, panel)


def guard_edges(session: Session, cast: Cast) -> None:
    """Has the edges of panels judged with a guard band inside their limits (JCGM 106, 8.3.2)."""
    written = 'key = "edge_length"\n'
    adopt_changed(session, cast, (written, f'{written}decision_rule = "guarded_acceptance"\n'))


def check(characteristic: str, station: str, passed: str = "yes", **more: object) -> Said:
    """What somebody hands in about a check."""
    entries = {"passed": passed} | ({"faults": "1"} if passed == "no" else {})
    return Said(characteristic, "", entries, station=station, instruments=(), **more)  # type: ignore[arg-type]


def member(number: int, sixty_fourths: int = 0, at: datetime = NOW, uuid: UUID | None = None) -> Said:
    """The length of a member of the lot, so many 64ths of an inch from its 8 ft."""
    return Said(
        "member_length",
        f"member {number}",
        {"length": f"{96 + sixty_fourths / 64} in"},
        at,
        of="lot",
        station="framing",
        uuid=uuid or uuid4(),
    )
