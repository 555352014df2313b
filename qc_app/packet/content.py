"""What a building's handover packet holds, gathered from the records."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from qc_app.packet.panel_acts import NOTHING, acts_by_panel
from qc_app.packet.panel_record import PanelRecord, panel_record
from qc_app.packet.reading_line import Scale, State
from qc_app.plan.quantity import Units
from qc_app.records.building import Building, Panel
from qc_app.records.control_plan import ControlPlan
from qc_app.records.reading import Reading


@dataclass(frozen=True)
class PlanUsed:
    """One version of the control plan that panels of this building were checked by."""

    name: str
    version: int
    in_force_from: datetime


@dataclass(frozen=True)
class StationCautions:
    """The cautions of one station that panels of this building pass."""

    station: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class BuildingPacket:
    """All that a packet says. Times are in the plant's time zone; panels are in raising sequence."""

    plant: str
    code: str
    name: str
    made_at: datetime
    time_zone: str
    units: Units
    plans: tuple[PlanUsed, ...]
    cautions: tuple[StationCautions, ...]
    panels: tuple[PanelRecord, ...]

    @property
    def proven(self) -> int:
        """Panels with every check proven within limits."""
        return sum(panel.is_proven for panel in self.panels)

    @property
    def open(self) -> int:
        """Panels not proven yet."""
        return len(self.panels) - self.proven

    @property
    def released(self) -> int:
        """Panels released, and not withdrawn since."""
        return sum(panel.acts.release is not None for panel in self.panels)

    @property
    def accepted(self) -> int:
        """Checks accepted by concession, over all panels."""
        return sum(panel.accepted for panel in self.panels)

    @property
    def by_kind(self) -> dict[str, int]:
        """Number of panels of each kind, in raising sequence of the first of each."""
        counts: dict[str, int] = defaultdict(int)
        for panel in self.panels:
            counts[panel.kind] += 1
        return dict(counts)

    @property
    def by_state(self) -> dict[State, int]:
        """Number of checks in each state, over all panels; each check counts once, by its newest reading."""
        return {state: sum(panel.count(state) for panel in self.panels) for state in State}

    @property
    def earlier(self) -> int:
        """Readings that were measured again or corrected."""
        return sum(len(check.earlier) for panel in self.panels for check in panel.checks)


def packet_content(session: Session, building: Building, now: datetime, verify: str = "") -> BuildingPacket:
    """The packet of a building as its records stand.

    ``now`` is an aware time; ``verify`` is the address behind which the hash of a release is put to ask
    whether it stands. Who may ask for it is the caller's business. The number of queries does not
    grow with the number of panels or readings.
    """
    plant = building.plant
    zone = ZoneInfo(plant.time_zone)
    scale = Scale(plant.units, zone)
    panels = _panels(session, building)
    readings = _readings_by_panel(session, building)
    acts = acts_by_panel(session, building, zone, verify)
    return BuildingPacket(
        plant=plant.name,
        code=building.code,
        name=building.name,
        made_at=now.astimezone(zone),
        time_zone=plant.time_zone,
        units=plant.units,
        plans=_plans(panels, zone),
        cautions=_cautions(panels),
        panels=tuple(
            panel_record(panel, readings[panel.id], scale, acts.get(panel.id, NOTHING)) for panel in panels
        ),
    )


def _panels(session: Session, building: Building) -> Sequence[Panel]:
    return session.scalars(
        select(Panel)
        .where(Panel.building_id == building.id, Panel.scrapped_at.is_(None))
        .order_by(Panel.raising_sequence, Panel.id)
        .options(
            selectinload(Panel.bays),
            selectinload(Panel.connectors),
            selectinload(Panel.penetrations),
            selectinload(Panel.control_plan),
            selectinload(Panel.predecessor),
        )
    ).all()


def _readings_by_panel(session: Session, building: Building) -> defaultdict[int, list[Reading]]:
    found: defaultdict[int, list[Reading]] = defaultdict(list)
    query = (
        select(Reading)
        .join(Panel, Reading.panel_id == Panel.id)
        .where(Panel.building_id == building.id)
        .order_by(Reading.measured_at, Reading.id)
        .options(
            selectinload(Reading.characteristic),
            selectinload(Reading.station),
            selectinload(Reading.person),
            selectinload(Reading.instruments),
            selectinload(Reading.photos),
        )
    )
    for reading in session.scalars(query):
        if reading.panel_id is not None:
            found[reading.panel_id].append(reading)
    return found


def _versions(panels: Iterable[Panel]) -> list[ControlPlan]:
    distinct = {panel.control_plan_id: panel.control_plan for panel in panels}
    return sorted(distinct.values(), key=lambda version: version.version)


def _plans(panels: Iterable[Panel], zone: tzinfo) -> tuple[PlanUsed, ...]:
    return tuple(
        PlanUsed(version.plan.name, version.version, version.in_force_from.astimezone(zone))
        for version in _versions(panels)
    )


def _cautions(panels: Sequence[Panel]) -> tuple[StationCautions, ...]:
    """Each caution once, under the stations that the building's panels pass, in the order of the plan."""
    passed = {
        (panel.control_plan_id, key)
        for panel in panels
        for key in panel.control_plan.plan.kind(panel.kind).route
    }
    said: dict[str, dict[str, None]] = {}
    for version in _versions(panels):
        for station in version.plan.stations:
            if station.cautions and (version.id, station.key) in passed:
                said.setdefault(station.name, {}).update(dict.fromkeys(station.cautions))
    return tuple(StationCautions(station, tuple(cautions)) for station, cautions in said.items())
