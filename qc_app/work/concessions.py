"""Concessions: what a panel keeps because it was agreed to accept it as it is (ISO 9000:2015, 3.12.5)."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from qc_app.records.building import Panel
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.work.standing import ACCEPT


@dataclass(frozen=True)
class Concession:
    """What is not as specified, and the decision to accept it."""

    nonconformity: Nonconformity
    decision: Disposition


def concessions_of(session: Session, panel_ids: Collection[int]) -> dict[int, tuple[Concession, ...]]:
    """The concessions of some panels, by panel, in the order of their numbers."""
    newest = select(func.max(Disposition.id)).group_by(Disposition.nonconformity_id)
    decisions = session.scalars(
        select(Disposition)
        .join(Nonconformity)
        .where(
            Nonconformity.panel_id.in_(panel_ids),
            Nonconformity.closed_how == ACCEPT,
            Disposition.id.in_(newest),
        )
        .order_by(Nonconformity.number)
        .options(joinedload(Disposition.nonconformity))
    )
    found: dict[int, tuple[Concession, ...]] = {}
    for decision in decisions:
        panel_id = decision.nonconformity.panel_id
        concession = Concession(decision.nonconformity, decision)
        found[panel_id] = (*found.get(panel_id, ()), concession)
    return found


def concessions_in(session: Session, building_id: int) -> dict[int, tuple[Concession, ...]]:
    """The concessions of all panels of a building, by panel."""
    panels = select(Panel.id).where(Panel.building_id == building_id)
    return concessions_of(session, session.scalars(panels).all())
