"""What is proven of a building: panel by panel, for whoever it is built for."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from qc_app.measure.conformity import Verdict
from qc_app.records.building import Building, Panel
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.work.concessions import Concession, concessions_in
from qc_app.work.roles import Act, require
from qc_app.work.standing import decided, standing
from qc_app.work.state import PanelState, states_of


@dataclass(frozen=True)
class Proof:
    """One panel: where it stands, how many of its checks are proven, and what was accepted as it is."""

    state: PanelState
    kind: str
    proven: int
    due: int
    concessions: tuple[Concession, ...]

    @property
    def panel(self) -> Panel:
        return self.state.panel


def proof_of(session: Session, person: Person, building: Building, now: datetime) -> list[Proof]:
    """All panels of a building that were not scrapped, in raising order."""
    require(person, Act.FOLLOW_BUILDING)
    accepted = concessions_in(session, building.id)
    readings = _readings_in(session, building)
    states = sorted(states_of(session, building, now), key=lambda state: state.panel.raising_sequence)
    doubted = decided(session, [state.panel.id for state in states]).doubted
    return [
        _proof(state, readings.get(state.panel.id, ()), accepted.get(state.panel.id, ()), doubted)
        for state in states
        if state.scrapped_at is None
    ]


def _proof(
    state: PanelState, readings: Iterable[Reading], accepted: tuple[Concession, ...], doubted: Collection[int]
) -> Proof:
    panel, plan = state.panel, state.panel.control_plan.plan
    due = {
        (check.characteristic.key, check.place)
        for station in plan.kind(panel.kind).route
        for check in plan.checks(panel.subject, station)
    }
    newest = standing(readings).items()
    within = {key for key, one in newest if one.verdict == Verdict.WITHIN and one.id not in doubted}
    return Proof(state, plan.kind(panel.kind).name, len(due & within), len(due), accepted)


def _readings_in(session: Session, building: Building) -> dict[int, list[Reading]]:
    """The readings of all panels of a building, by panel, in the order they were measured."""
    found = session.scalars(
        select(Reading)
        .join(Panel, Reading.panel_id == Panel.id)
        .where(Panel.building_id == building.id)
        .order_by(Reading.panel_id, Reading.measured_at, Reading.id)
        .options(joinedload(Reading.characteristic))
    )
    return {panel_id: list(group) for panel_id, group in groupby(found, _panel_number)}


def _panel_number(reading: Reading) -> int:
    return reading.panel_id or 0
