"""Lots of material: what came in, and which panels each went into.

Lots of pre-cut members, which the shop cuts itself, are booked in with ``schedule``; both kinds are used here
by their mark, which is told apart throughout the plant.

Studs that came in wetter than the control plan lets members be are flagged, not refused: wood dries in the
shop, and the moisture before closing is checked on every panel. Using them raises a notice.
"""

from datetime import datetime
from uuid import UUID

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session, joinedload

from qc_app.phrase import phrase
from qc_app.plan.quantity import Quantity, format_amount
from qc_app.records.building import Lot, Panel
from qc_app.records.event import append_event
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.shop import Person, Station
from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal, shortened
from qc_app.work.find import NotFound, Visitor
from qc_app.work.notices import WET_LOT, raise_notice
from qc_app.work.roles import Act, require
from qc_app.work.said import refuse_long_note, storable
from qc_app.work.setup import plan_in_force

STUDS = "studs"
MATERIALS = {
    "sheathing": phrase("sheathing"),
    "cellulose": phrase("cellulose"),
    "tape": phrase("tape rolls"),
    "sealant": phrase("sealant"),
    STUDS: phrase("studs"),
}
"""What comes in by the lot."""

LONGEST_MARK = 40
LONGEST_SUPPLIER = 120

AnyLot = MaterialLot | Lot


def receive(
    session: Session,
    person: Person,
    mark: str,
    material: str,
    supplier: str,
    moisture: int | None,
    remark: str,
    now: datetime,
    *,
    at: datetime | None = None,
) -> MaterialLot:
    """Books in a lot as it arrived; ``moisture`` of studs in millionths of a percent.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the mark is empty or taken, there is no such material, studs come without their
        moisture, or a text is too long.
    """
    require(person, Act.BOOK_IN_LOTS)
    if material not in MATERIALS:
        raise Refusal("There is no material “{given}”.", about="material", given=shortened(material))
    refuse_mark(session, person.plant_id, mark)
    if material == STUDS and moisture is None:
        raise Refusal("Measure the moisture of studs when they come in.", about="moisture")
    if len(supplier) > LONGEST_SUPPLIER:
        raise Refusal(
            "A supplier's name has at most {most} characters.", about="supplier", most=LONGEST_SUPPLIER
        )
    refuse_long_note(remark)
    lot = MaterialLot(
        plant_id=person.plant_id,
        mark=storable(mark),
        material=material,
        supplier=storable(supplier),
        moisture=moisture,
        remark=storable(remark),
        received_at=at or now,
        received_by_id=person.id,
    )
    session.add(lot)
    facts = {
        "mark": lot.mark,
        "material": material,
        "supplier": lot.supplier,
        "moisture": moisture,
        "remark": lot.remark,
        "received_at": lot.received_at.isoformat(),
    }
    append_event(session, person.plant, "material received", facts, at=now, person=person)
    return lot


def use(
    session: Session,
    person: Person,
    uuid: UUID,
    mark: str,
    panel: Panel,
    station: Station,
    at: datetime,
    now: datetime,
    *,
    tablet: Tablet | None = None,
) -> LotUse:
    """Writes down that something of a lot went into a panel. The same UUID again returns what is stored.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, there is no such lot, the panel or station is another plant's, or the UUID was
        used for something else.
    """
    require(person, Act.RECORD)
    if {panel.building.plant_id, station.plant_id} != {person.plant_id}:
        raise Refusal("{mark} belongs to another plant.", mark=panel.mark)
    lot = lot_of_mark(session, person, mark)
    stored = session.scalars(select(LotUse).where(LotUse.uuid == uuid)).first()
    if stored is not None:
        return _same_again(stored, lot, panel)
    used = LotUse(uuid=uuid, panel_id=panel.id, station_id=station.id, person_id=person.id, at=at)
    used.material_lot_id = lot.id if isinstance(lot, MaterialLot) else None
    used.lot_id = lot.id if isinstance(lot, Lot) else None
    session.add(used)
    facts = {
        "use": str(uuid),
        "lot": lot.mark,
        "mark": panel.mark,
        "station": station.key,
        "used_at": at.isoformat(),
    }
    append_event(session, panel.building, "lot used", facts, at=now, person=person, panel_id=panel.id)
    _tell_if_wet(session, person, lot, panel, now, tablet)
    return used


def lot_of_mark(session: Session, visitor: Visitor, mark: str) -> AnyLot:
    """The lot of that mark, of material or of members, in capitals or not. Raises NotFound if none has it."""
    found = _of_mark(session, visitor.plant_id, mark)
    if found is None:
        raise NotFound(
            "There is no lot marked “{given}”. Check the mark, or book the lot in first.",
            given=shortened(mark.strip()),
        )
    return found


def refuse_mark(session: Session, plant_id: int, mark: str) -> None:
    """Raises Refusal for a mark that no new lot of the plant can have."""
    if not mark.strip() or len(mark) > LONGEST_MARK:
        raise Refusal(
            "A lot mark has 1 to {most} characters. Given: “{given}”.",
            about="mark",
            most=LONGEST_MARK,
            given=shortened(mark),
        )
    if _of_mark(session, plant_id, mark) is not None:
        raise Refusal("There is a lot marked “{given}” already.", about="mark", given=mark.strip())


def moisture_limit(session: Session, person: Person, now: datetime) -> int | None:
    """What members may hold at most, by the control plan in force; None where it does not say.

    The strictest upper limit among the moistures that it checks on lots of members, or else on panels.
    """
    plan = plan_in_force(session, person.plant, now).plan
    wet = [c for c in plan.characteristics if c.quantity is Quantity.MOISTURE]
    of_lots = [c for c in wet if plan.kind(c.kind).is_lot]
    limits = [c.tolerance.upper for c in of_lots or wet if c.tolerance.upper is not None]
    return min(limits, default=None)


def is_wet(lot: AnyLot, limit: int | None) -> bool:
    """Whether studs came in wetter than the limit; exactly on it is within."""
    if not isinstance(lot, MaterialLot) or lot.material != STUDS:
        return False
    return limit is not None and lot.moisture is not None and lot.moisture > limit


def lots_of(session: Session, visitor: Visitor) -> list[MaterialLot]:
    """All lots of material of the plant, newest first."""
    return list(
        session.scalars(
            select(MaterialLot)
            .where(MaterialLot.plant_id == visitor.plant_id)
            .order_by(MaterialLot.received_at.desc(), MaterialLot.id.desc())
            .options(joinedload(MaterialLot.received_by))
        )
    )


def uses_of_lot(session: Session, lot: AnyLot) -> list[LotUse]:
    """Every use of a lot, in the order it was used."""
    column = LotUse.material_lot_id if isinstance(lot, MaterialLot) else LotUse.lot_id
    return _uses(session, column == lot.id)


def uses_of_panel(session: Session, panel: Panel) -> list[LotUse]:
    """Every lot used in a panel, in the order they were used."""
    return _uses(session, LotUse.panel_id == panel.id)


def lot_in(use_of: LotUse) -> AnyLot:
    """The lot of a use."""
    lot = use_of.material_lot or use_of.lot
    assert lot is not None, "the database wants one of them"  # noqa: S101
    return lot


def _uses(session: Session, which: ColumnElement[bool]) -> list[LotUse]:
    return list(
        session.scalars(
            select(LotUse)
            .where(which)
            .order_by(LotUse.at, LotUse.id)
            .options(
                joinedload(LotUse.material_lot),
                joinedload(LotUse.lot),
                joinedload(LotUse.panel).joinedload(Panel.building),
                joinedload(LotUse.station),
                joinedload(LotUse.person),
            )
        )
    )


def _of_mark(session: Session, plant_id: int, mark: str) -> AnyLot | None:
    wanted = func.lower(storable(mark))
    material = select(MaterialLot).where(
        MaterialLot.plant_id == plant_id, func.lower(MaterialLot.mark) == wanted
    )
    members = select(Lot).where(Lot.plant_id == plant_id, func.lower(Lot.mark) == wanted)
    return session.scalars(material).first() or session.scalars(members).first()


def _same_again(stored: LotUse, lot: AnyLot, panel: Panel) -> LotUse:
    if lot_in(stored) is not lot or stored.panel_id != panel.id:
        raise Refusal("This entry's number was used before for another lot. Scan it again.")
    return stored


def _tell_if_wet(
    session: Session, person: Person, lot: AnyLot, panel: Panel, now: datetime, tablet: Tablet | None
) -> None:
    limit = moisture_limit(session, person, now)
    if not is_wet(lot, limit):
        return
    facts = {
        "lot": lot.mark,
        "mark": panel.mark,
        "moisture": _percent(person, lot.moisture if isinstance(lot, MaterialLot) else None),
        "limit": _percent(person, limit),
    }
    raise_notice(session, person.plant_id, WET_LOT, facts, now, tablet=tablet, panel=panel)


def _percent(person: Person, amount: int | None) -> str:
    return format_amount(Quantity.MOISTURE, amount or 0, person.plant.units)
