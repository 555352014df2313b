"""Buildings, panels and lots coming onto the schedule."""

from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.measure.length import Length
from qc_app.plan.penetration import Penetration as NominalPenetration
from qc_app.plan.penetration import check_penetrations
from qc_app.plan.subject import Bay as NominalBay
from qc_app.records.building import Bay, Building, Connector, Lot, Panel, Penetration
from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.refusal import Refusal, shortened
from qc_app.work.as_scheduled import lot_as_booked_in, panel_as_scheduled
from qc_app.work.materials import refuse_mark
from qc_app.work.roles import Act, require
from qc_app.work.setup import plan_in_force
from qc_app.work.standing import place_item


@dataclass(frozen=True)
class NewPanel:
    """A panel as a schedule describes it; sizes and positions in nanometres."""

    mark: str
    kind: str
    length: int
    width: int
    depth: int
    run: str
    position: int
    raising_sequence: int
    bays: tuple[NominalBay, ...] = ()
    connectors: tuple[int, ...] = ()
    penetrations: tuple[NominalPenetration, ...] = ()


def add_building(session: Session, by: Person, code: str, name: str, now: datetime) -> Building:
    """Adds a building; its code must be new in the plant."""
    require(by, Act.IMPORT)
    if not code.strip() or len(code) > 20:
        raise Refusal("A building's code has 1 to 20 characters. Given: “{given}”.", given=shortened(code))
    same = select(Building.id).where(
        Building.plant_id == by.plant_id, func.lower(Building.code) == func.lower(code.strip())
    )
    if session.scalar(same):
        raise Refusal("There is a building “{given}” already.", given=code.strip())
    building = Building(plant_id=by.plant_id, code=code.strip(), name=name.strip()[:120] or code.strip())
    session.add(building)
    facts = {"code": building.code, "name": building.name}
    append_event(session, by.plant, "building added", facts, at=now, person=by)
    return building


def add_panel(session: Session, by: Person, building: Building, new: NewPanel, now: datetime) -> Panel:
    """Adds a panel under the control plan in force.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the mark is taken in this building, the kind is unknown, a size is not above
        zero, or a penetration cannot be one of such a panel.
    """
    require(by, Act.IMPORT)
    check_panel(session, building, new, now)
    panel = Panel(
        building=building,
        control_plan=plan_in_force(session, building.plant, now),
        mark=new.mark.strip(),
        kind=new.kind,
        length=new.length,
        width=new.width,
        depth=new.depth,
        run=new.run,
        position=new.position,
        raising_sequence=new.raising_sequence,
        bays=[Bay(number=b.number, width=b.width, depth=b.depth) for b in new.bays],
        connectors=[Connector(number=n, position=at) for n, at in enumerate(new.connectors, 1)],
        penetrations=[Penetration(number=n, **asdict(p)) for n, p in enumerate(new.penetrations, 1)],
    )
    session.add(panel)
    place_item(session, panel)
    append_event(
        session,
        building,
        "panel scheduled",
        panel_as_scheduled(panel),
        at=now,
        person=by,
        panel_id=panel.id,
    )
    return panel


def check_panel(session: Session, building: Building, new: NewPanel, now: datetime) -> None:
    """Raises Refusal if the panel cannot be added to the building."""
    if not new.mark.strip() or len(new.mark) > 40:
        raise Refusal("A panel mark has 1 to 40 characters. Given: “{given}”.", given=shortened(new.mark))
    same = select(Panel.id).where(
        Panel.building_id == building.id, func.lower(Panel.mark) == func.lower(new.mark.strip())
    )
    if session.scalar(same):
        raise Refusal(
            "Building {building} has a panel marked “{given}” already.",
            building=building.code,
            given=new.mark,
        )
    kind = plan_in_force(session, building.plant, now).plan.kind(new.kind)
    if kind.is_lot:
        raise Refusal("“{given}” is a kind of lot, not of panel.", given=kind.name)
    if min(new.length, new.width, new.depth) <= 0:
        raise Refusal("Length, width and depth of panel {mark} must be above zero.", mark=new.mark)
    check_penetrations(new.penetrations, new.length, new.width)


def book_in_lot(
    session: Session, by: Person, kind: str, mark: str, size: tuple[Length, Length, Length], now: datetime
) -> Lot:
    """Books in a lot of pre-cut members of one nominal length, width and depth.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the kind is none of lots, the mark is empty or taken, or a size is not
        above zero.
    """
    require(by, Act.BOOK_IN_LOTS)
    refuse_mark(session, by.plant_id, mark)
    plan = plan_in_force(session, by.plant, now)
    if not plan.plan.kind(kind).is_lot:
        raise Refusal("“{given}” is a kind of panel, not of lot.", given=plan.plan.kind(kind).name)
    length, width, depth = (part.nanometres for part in size)
    if min(length, width, depth) <= 0:
        raise Refusal("Length, width and depth of a member must be above zero.")
    lot = Lot(
        plant_id=by.plant_id,
        control_plan=plan,
        mark=mark.strip(),
        kind=kind,
        length=length,
        width=width,
        depth=depth,
    )
    session.add(lot)
    place_item(session, lot)
    append_event(session, by.plant, "lot booked in", lot_as_booked_in(lot), at=now, person=by)
    return lot
