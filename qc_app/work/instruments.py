"""The shop's instruments (ISO 9001:2015, 7.1.5): adding, changing and taking them out of use."""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.length import Length
from qc_app.plan.instrument import INSTRUMENT_KINDS
from qc_app.plan.permitted_error import check_class
from qc_app.records.event import append_event
from qc_app.records.shop import Instrument, Person
from qc_app.refusal import Refusal, shortened
from qc_app.work.find import NotFound
from qc_app.work.roles import Act, require

LONGEST_CERTIFICATE = 120
LONGEST_REASON = 1000


@dataclass(frozen=True)
class Details:
    """What is known of an instrument's accuracy, and until when; amounts in grains.

    Without a ``standard_uncertainty`` of its own the control plan's applies to its readings.
    """

    standard_uncertainty: int | None = None
    accuracy_class: str = ""
    graduation: int | None = None
    certificate: str = ""
    due_on: date | None = None


def add_instrument(
    session: Session,
    by: Person,
    kind: str,
    name: str,
    bore: Length | None,
    now: datetime,
    details: Details | None = None,
) -> Instrument:
    """Adds an instrument. ``bore`` is the inside diameter of a core cutter, which needs one.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, the kind is unknown, the name is empty or taken, the bore is missing, or the
        details cannot be those of such an instrument.
    """
    require(by, Act.KEEP_SHOP)
    if kind not in INSTRUMENT_KINDS:
        raise Refusal("There is no kind of instrument “{given}”.", given=shortened(kind))
    _check_name(session, by, name)
    if (kind == "core_cutter") != (bore is not None):
        raise Refusal("A core cutter needs its inside diameter, and nothing else has one.")
    known = details or Details()
    _check_details(kind, known)
    instrument = Instrument(
        plant_id=by.plant_id,
        kind=kind,
        name=name.strip(),
        bore=bore.nanometres if bore else None,
        **asdict(known),
    )
    session.add(instrument)
    facts = {"kind": kind, "name": instrument.name, "bore": instrument.bore, **_told(known)}
    append_event(session, by.plant, "instrument added", facts, at=now, person=by)
    return instrument


def change_instrument(
    session: Session, by: Person, instrument: Instrument, details: Details, now: datetime
) -> None:
    """Writes down anew what is known of an instrument, as after a calibration.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If ``by`` may not, it is another plant's, or the details cannot be those of such an instrument.
    """
    require(by, Act.KEEP_SHOP)
    refuse_elsewhere(by, instrument)
    _check_details(instrument.kind, details)
    for key, value in asdict(details).items():
        setattr(instrument, key, value)
    facts = {"name": instrument.name, **_told(details)}
    append_event(session, by.plant, "instrument changed", facts, at=now, person=by)


def retire_instrument(
    session: Session, by: Person, instrument: Instrument, reason: str, now: datetime
) -> None:
    """Takes an instrument out of use for good; what was read with it stays.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If ``by`` may not, it is another plant's or out of use already, or no reason is given.
    """
    require(by, Act.KEEP_SHOP)
    refuse_elsewhere(by, instrument)
    if not reason.strip() or len(reason) > LONGEST_REASON:
        raise Refusal("Say in a few words why it is taken out of use.", about="reason")
    if not instrument.active:
        raise Refusal("{name} is out of use already.", name=instrument.name)
    instrument.active = False
    facts = {"name": instrument.name, "reason": reason.strip().replace("\0", "\ufffd")}
    append_event(session, by.plant, "instrument taken out of use", facts, at=now, person=by)


def instrument_of(session: Session, by: Person, number: int) -> Instrument:
    """The instrument with that number, in use or not. Raises NotFound outside the person's plant."""
    found = session.get(Instrument, number) if number < 2**63 else None
    if found is None:
        raise NotFound("There is no such instrument in this plant.")
    refuse_elsewhere(by, found)
    return found


def refuse_elsewhere(by: Person, instrument: Instrument) -> None:
    """Raises NotFound for an instrument of another plant."""
    if instrument.plant_id != by.plant_id:
        raise NotFound("There is no such instrument in this plant.")


def _check_name(session: Session, by: Person, name: str) -> None:
    if not name.strip() or len(name) > 80:
        raise Refusal(
            "An instrument needs a name of 1 to 80 characters. Given: “{given}”.",
            about="name",
            given=shortened(name),
        )
    if ";" in name:
        raise Refusal("A semicolon separates instruments in files, so no name may hold one.", about="name")
    taken = select(Instrument.id).where(Instrument.plant_id == by.plant_id, Instrument.name == name.strip())
    if session.scalar(taken):
        raise Refusal("There is an instrument “{given}” already.", about="name", given=name.strip())


def _check_details(kind: str, details: Details) -> None:
    check_class(kind, details.accuracy_class, details.graduation)
    for key in ("standard_uncertainty", "graduation"):
        amount = getattr(details, key)
        if amount is not None and amount <= 0:
            raise Refusal("It must be more than zero.", about=key)
    if len(details.certificate) > LONGEST_CERTIFICATE:
        raise Refusal(
            "The name of a certificate has at most {most} characters.",
            about="certificate",
            most=LONGEST_CERTIFICATE,
        )


def _told(details: Details) -> dict[str, Any]:
    """The details as an event holds them."""
    known = {key: value for key, value in asdict(details).items() if value not in (None, "")}
    return {key: value.isoformat() if isinstance(value, date) else value for key, value in known.items()}
