"""For the crew that sets the panels: what is raised next, and what is known of it."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.plan.quantity import Quantity
from qc_app.records.building import Building, Panel
from qc_app.records.reading import Reading
from qc_app.records.release import Load
from qc_app.work.concessions import Concession, concessions_of
from qc_app.work.standing import readings_of, standing
from qc_app.work.state import PanelState, states_of

CAUTIONS = (
    phrase(
        "This page is information, never a rigging plan. A qualified rigger plans each lift; the licensed "
        "engineer, the makers of the gear and the local code go before anything said here."
    ),
    phrase(
        "A competent person looks over slings and gear before each shift and while they are used; what is "
        "damaged is taken away."
    ),
    phrase(
        "Grabs, hooks and clamps made for these panels carry the load they are safe for, and were tested "
        "beforehand to 125 % of it."
    ),
    phrase("Nobody under a panel or within its fall. Tag lines; no lift in wind that turns it."),
    phrase("It hangs tilted: land it and rig it again."),
    phrase("Straps of the stack stay until the gear is attached; braces stay until the panel is fixed."),
)
"""Usual cautions for lifting panels.

Gear inspected, marked and tested: 29 CFR 1926.251(a)(1), (a)(4) and (a)(6). The others are common practice.
"""


@dataclass(frozen=True)
class Stack:
    """Where a panel lies on its load: counted from the first to be raised, which is loaded last, on top."""

    load: Load
    place: int
    panels: int


@dataclass(frozen=True)
class SitePanel:
    """One panel as the crew needs it: lengths as measured, what was accepted as it is, its load."""

    state: PanelState
    kind: str
    lengths: tuple[Reading, ...]
    concessions: tuple[Concession, ...]
    stack: Stack | None

    @property
    def panel(self) -> Panel:
        return self.state.panel

    @property
    def may_be_raised(self) -> bool:
        """Whether it was let out of the shop, and nothing has come up since."""
        return self.state.released is not None and not self.state.is_held


def raising_order(session: Session, building: Building, now: datetime) -> list[PanelState]:
    """All panels of a building that were not scrapped, in the order they are raised."""
    states = (state for state in states_of(session, building, now) if state.scrapped_at is None)
    return sorted(states, key=lambda state: (state.panel.raising_sequence, state.panel.id))


def site_panel(session: Session, state: PanelState) -> SitePanel:
    """What the crew needs to know of one panel."""
    panel = state.panel
    kind = panel.control_plan.plan.kind(panel.kind).name
    accepted = concessions_of(session, [panel.id]).get(panel.id, ())
    return SitePanel(state, kind, _lengths(session, panel), accepted, _stack(session, panel))


def _lengths(session: Session, panel: Panel) -> tuple[Reading, ...]:
    """The standing readings of lengths: edges, ends, diagonals, connectors."""
    newest = standing(readings_of(session, panel)).values()
    return tuple(r for r in newest if r.characteristic.quantity == Quantity.LENGTH)


def _stack(session: Session, panel: Panel) -> Stack | None:
    load = session.get(Load, panel.load_id) if panel.load_id else None
    if load is None:
        return None
    on_it = select(func.count()).where(Panel.load_id == load.id)
    before = on_it.where(Panel.raising_sequence < panel.raising_sequence)
    return Stack(load, (session.scalar(before) or 0) + 1, session.scalar(on_it) or 0)
