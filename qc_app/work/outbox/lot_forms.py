"""What the entries about lots of material do once they have come: one arrived, or one went into a panel."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.plan.quantity import Quantity, format_amount, parse_amount
from qc_app.records.material import MaterialLot
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.materials import is_wet, lot_in, moisture_limit, receive, use
from qc_app.work.outbox.answer import Sentence, sentence
from qc_app.work.outbox.batch import text, whole
from qc_app.work.outbox.occasion import LONGEST_KEY, LONGEST_TEXT, Occasion, Taken

WET = phrase(
    "Lot {lot} came in at {moisture}, and the limit is {limit}. Let it dry, and measure it before use."
)
WET_USED = phrase("Lot {lot} came in at {moisture}, and the limit is {limit}. The shop lead has been told.")
UNPROVEN = phrase("Lot {lot} has checks that are not within yet.")


def take_material(session: Session, on: Occasion, content: Mapping[str, Any]) -> Taken:
    """Books in a lot of material. Raises Refusal if it cannot be."""
    sent = {key: text(content.get(key, ""), key, LONGEST_TEXT) for key in ("mark", "supplier", "remark")}
    material = text(content.get("material"), "material", LONGEST_KEY)
    moisture = _moisture(text(content.get("moisture", ""), "moisture", LONGEST_KEY))
    lot = receive(
        session,
        on.author,
        sent["mark"],
        material,
        sent["supplier"],
        moisture,
        sent["remark"],
        on.now,
        at=on.entered_at,
    )
    return Taken(remarks=_if_wet(session, on, lot, WET))


def take_lot_use(session: Session, on: Occasion, content: Mapping[str, Any]) -> Taken:
    """Writes down that a lot went into a panel. Raises Refusal if it cannot be."""
    if text(content.get("item"), "item", LONGEST_KEY) != "panel":
        raise Refusal(phrase("Lots are used in panels."))
    panel = find.panel(session, on.author, whole(content.get("id"), "id"))
    station = find.station(session, on.author, text(content.get("station"), "station", LONGEST_KEY))
    mark = text(content.get("mark"), "mark", LONGEST_TEXT)
    used = use(session, on.author, on.uuid, mark, panel, station, on.entered_at, on.now, tablet=on.tablet)
    session.flush()
    lot = lot_in(used)
    if isinstance(lot, MaterialLot):
        return Taken(remarks=_if_wet(session, on, lot, WET_USED))
    return Taken(remarks=(sentence(UNPROVEN, lot=lot.mark),) if lot.waiting_at else ())


def _moisture(typed: str) -> int | None:
    try:
        return parse_amount(Quantity.MOISTURE, typed) if typed.strip() else None
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about="moisture", **refusal.facts) from refusal


def _if_wet(session: Session, on: Occasion, lot: MaterialLot, words: str) -> tuple[Sentence, ...]:
    limit = moisture_limit(session, on.author, on.now)
    if not is_wet(lot, limit):
        return ()
    facts = {"moisture": _percent(on.author, lot.moisture), "limit": _percent(on.author, limit)}
    return (sentence(words, lot=lot.mark, **facts),)


def _percent(person: Person, amount: int | None) -> str:
    return format_amount(Quantity.MOISTURE, amount or 0, person.plant.units)
