"""The shop's instruments."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.length import Length
from qc_app.plan.instrument import INSTRUMENT_KINDS
from qc_app.records.event import append_event
from qc_app.records.shop import Instrument, Person
from qc_app.refusal import Refusal, shortened
from qc_app.work.roles import Act, require


def add_instrument(
    session: Session,
    by: Person,
    kind: str,
    name: str,
    bore: Length | None,
    now: datetime,
    standard_uncertainty: int | None = None,
) -> Instrument:
    """Adds an instrument. ``bore`` is the inside diameter of a core cutter, which needs one.

    ``standard_uncertainty`` of one reading, in grains, is left out where the control plan's applies.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, the kind is unknown, the name is empty or taken, or the bore is missing.
    """
    require(by, Act.KEEP_SHOP)
    if kind not in INSTRUMENT_KINDS:
        raise Refusal("There is no kind of instrument “{given}”.", given=shortened(kind))
    if not name.strip() or len(name) > 80:
        raise Refusal(
            "An instrument needs a name of 1 to 80 characters. Given: “{given}”.",
            about="name",
            given=shortened(name),
        )
    if ";" in name:
        raise Refusal("A semicolon separates instruments in files, so no name may hold one.", about="name")
    if (kind == "core_cutter") != (bore is not None):
        raise Refusal("A core cutter needs its inside diameter, and nothing else has one.")
    taken = select(Instrument.id).where(Instrument.plant_id == by.plant_id, Instrument.name == name.strip())
    if session.scalar(taken):
        raise Refusal("There is an instrument “{given}” already.", about="name", given=name.strip())
    instrument = Instrument(
        plant_id=by.plant_id,
        kind=kind,
        name=name.strip(),
        bore=bore.nanometres if bore else None,
        standard_uncertainty=standard_uncertainty,
    )
    session.add(instrument)
    append_event(
        session, by.plant, "instrument added", {"kind": kind, "name": instrument.name}, at=now, person=by
    )
    return instrument
