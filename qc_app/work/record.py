"""Recording a reading: from what was typed to verdict, point, signals and the panel's place in the line."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.plan.characteristic import Characteristic, Requirement
from qc_app.plan.instrument import INSTRUMENT_WORDS
from qc_app.plan.method import Circumstances, EntryRefused, Outcome
from qc_app.records import control_plan
from qc_app.records.building import Lot, Panel
from qc_app.records.event import append_event
from qc_app.records.photo import Photo
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Person, Station, bore_of
from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal
from qc_app.work.hold import hold_by_signal
from qc_app.work.instrument_holds import hold_or_lift
from qc_app.work.instrument_trust import refuse_untrusted
from qc_app.work.nonconformity import open_by_reading, settle_by_reading
from qc_app.work.plan_versions import follow
from qc_app.work.roles import Act, require
from qc_app.work.said import refuse_long_note, storable
from qc_app.work.standing import Item, place_item
from qc_app.work.streams import add_point

CLOCK_AHEAD = timedelta(minutes=2)
"""How far ahead of ours the clock that timed a reading may be."""

LONGEST_ENTRY = 200


class NotYet(Refusal):
    """It cannot be taken yet, because something must come first; handed in again later, it can."""


@dataclass(frozen=True)
class NewReading:
    """What a worker hands in. ``uuid`` is made once, where it was typed: sent twice, stored once.

    A correction ``supersedes`` another reading for a ``reason``; ``photos`` are named by the SHA-256 of their
    bytes.
    """

    uuid: UUID
    item: Item
    station: Station
    characteristic: str
    place: str
    entries: Mapping[str, str]
    measured_at: datetime
    instruments: tuple[Instrument, ...] = ()
    note: str = ""
    supersedes: UUID | None = None
    reason: str = ""
    photos: tuple[str, ...] = ()
    tablet: Tablet | None = None


@dataclass(frozen=True)
class Judged:
    """What entries amount to against their requirement; not yet stored."""

    characteristic: Characteristic
    outcome: Outcome
    requirement: Requirement
    entries: dict[str, str] = field(default_factory=dict)


def judge_entries(new: NewReading) -> Judged:
    """Reads the entries and finds what they are judged against.

    Raises
    ------
    Refusal
        If the plan does not want this reading here, or an entry cannot be read (then it is an EntryRefused).
    """
    subject = new.item.subject
    characteristic = new.item.control_plan.plan.characteristic(subject.kind, new.characteristic)
    if characteristic.station != new.station.key:
        raise Refusal(
            "{name} is not measured at {station}.", name=characteristic.name, station=new.station.name
        )
    requirement = characteristic.requirement(subject, new.place)
    entries = _typed(characteristic, new.entries)
    circumstances = circumstances_of(new.item, new.place, new.instruments)
    return Judged(
        characteristic, characteristic.method.work_out(entries, circumstances), requirement, entries
    )


def record(session: Session, person: Person, new: NewReading, now: datetime) -> Reading:
    """Stores a reading with verdict, event, point and signals, and moves the item on.

    A panel's reading may also open a nonconformity or close one, or put the panel on hold.

    The same UUID again returns the reading stored the first time. A correction says what was read when the
    reading it supersedes was measured, so it takes that time.

    Raises
    ------
    NotYet
        If the reading it corrects, or one of its photos, has not come yet.
    NotAllowed, Refusal
        If the person may not, the item belongs to another plant, an instrument is missing or the plan takes
        no reading with one that is overdue or failed its check, the time lies in the future, the UUID was
        used for something else, a correction has no reason or is of something else, or the entries cannot be
        read. Nothing is stored.
    """
    require(person, Act.RECORD)
    _refuse_other_plant(person, new)
    stored = session.scalars(select(Reading).where(Reading.uuid == new.uuid)).first()
    if stored is not None:
        return _same_again(stored, new)
    refuse_future(new, now)
    follow(session, new.item, new.measured_at, now)
    refuse_long_note(new.note)
    corrected = corrected_by(session, new)
    judged = judge_entries(new)
    refuse_missing_instruments(judged.characteristic, new.instruments)
    measured_at = corrected.measured_at if corrected else new.measured_at
    refuse_untrusted(session, person.plant, judged.characteristic, new.instruments, measured_at)
    photos = _photos(session, person, new.photos)
    reading = _store(session, person, new, judged, photos, now, corrected)
    _log(session, person, new, reading, now)
    if judged.characteristic.charted:
        add_point(session, reading, judged.characteristic, now)
    if judged.characteristic.signal_holds:
        hold_by_signal(session, reading, now)
    settle_by_reading(session, reading, now)
    open_by_reading(session, reading, now)
    hold_or_lift(session, person, reading, now)
    place_item(session, new.item)
    return reading


def _typed(characteristic: Characteristic, entries: Mapping[str, str]) -> dict[str, str]:
    typed = {f.key: entries[f.key] for f in characteristic.method.fields if entries.get(f.key, "").strip()}
    for key, text in typed.items():
        if len(text) > LONGEST_ENTRY:
            refusal = Refusal(
                "An entry has at most {most} characters; this one has {length}.",
                most=LONGEST_ENTRY,
                length=len(text),
            )
            raise EntryRefused(key, refusal)
    return typed


def circumstances_of(item: Item, place: str, instruments: Iterable[Instrument]) -> Circumstances:
    """What a reading's amount depends on besides its entries."""
    used = list(instruments)
    own = {i.kind: i.standard_uncertainty for i in used if i.standard_uncertainty}
    return Circumstances(item.subject, place, bore_of(used), {**item.control_plan.plan.uncertainties, **own})


def _refuse_other_plant(person: Person, new: NewReading) -> None:
    plant = new.item.building.plant_id if isinstance(new.item, Panel) else new.item.plant_id
    if {plant, new.station.plant_id, *(i.plant_id for i in new.instruments)} != {person.plant_id}:
        raise Refusal("{mark} belongs to another plant.", mark=new.item.mark)


def corrected_by(session: Session, new: NewReading) -> Reading | None:
    """The reading that this one corrects, if it corrects one.

    Raises
    ------
    NotYet, Refusal
        If it has not come yet; or no reason is given, it is of something else, or it was corrected before.
    """
    if new.supersedes is None:
        return None
    if not new.reason.strip():
        raise Refusal("Say why the reading is corrected; nothing was entered.", about="reason")
    refuse_long_note(new.reason)
    corrected = session.scalars(select(Reading).where(Reading.uuid == new.supersedes)).first()
    if corrected is None:
        raise NotYet("The reading that this one corrects has not come yet.")
    if _check_of(corrected) != (type(new.item), new.item.id, new.characteristic, new.place):
        raise Refusal("A correction must be of the same check as the reading it corrects.")
    if session.scalar(select(Reading.id).where(Reading.supersedes_id == corrected.id)):
        raise Refusal("This reading was corrected already. Correct the newest one instead.")
    return corrected


def _check_of(reading: Reading) -> tuple[type[Item], int | None, str, str]:
    item = (Panel, reading.panel_id) if reading.panel_id is not None else (Lot, reading.lot_id)
    return *item, reading.characteristic.key, reading.place


def refuse_future(new: NewReading, now: datetime) -> None:
    """Raises Refusal if the reading's time has not come yet."""
    if new.measured_at > now + CLOCK_AHEAD:
        raise Refusal("The reading's time, {given}, has not come yet.", given=new.measured_at.isoformat())


def refuse_missing_instruments(characteristic: Characteristic, given: tuple[Instrument, ...]) -> None:
    """Raises Refusal if an instrument that the plan asks for is not named."""
    missing = sorted(set(characteristic.instruments) - {instrument.kind for instrument in given})
    if missing:
        raise Refusal(
            "{name} needs to say which {instrument} was used.",
            name=characteristic.name,
            instrument=INSTRUMENT_WORDS[missing[0]],
        )


def _photos(session: Session, person: Person, names: tuple[str, ...]) -> list[Photo]:
    photos = [session.get(Photo, name) for name in dict.fromkeys(names)]
    found = [photo for photo in photos if photo is not None and photo.plant_id == person.plant_id]
    if len(found) < len(photos):
        raise NotYet("A photo that belongs to this reading has not come yet.")
    return found


def _same_again(stored: Reading, new: NewReading) -> Reading:
    item_id = stored.panel_id if isinstance(new.item, Panel) else stored.lot_id
    sent = (new.item.id, new.characteristic, new.place)
    if (item_id, stored.characteristic.key, stored.place) != sent:
        raise Refusal(
            "This entry's number was used before for another reading ({place}).", place=stored.place
        )
    characteristic = stored.characteristic.control_plan.plan.characteristic(new.item.kind, new.characteristic)
    if stored.entries != _typed(characteristic, new.entries):
        raise Refusal("This entry is stored already, with other values. Open the check again and measure.")
    return stored


def _store(
    session: Session,
    person: Person,
    new: NewReading,
    judged: Judged,
    photos: list[Photo],
    now: datetime,
    corrected: Reading | None,
) -> Reading:
    characteristic_id = session.scalars(
        select(control_plan.Characteristic.id).where(
            control_plan.Characteristic.control_plan_id == new.item.control_plan_id,
            control_plan.Characteristic.kind == judged.characteristic.kind,
            control_plan.Characteristic.key == judged.characteristic.key,
        )
    ).one()
    amount, requirement = judged.outcome.amount, judged.requirement
    reading = Reading(
        uuid=new.uuid,
        panel_id=new.item.id if isinstance(new.item, Panel) else None,
        lot_id=new.item.id if isinstance(new.item, Lot) else None,
        characteristic_id=characteristic_id,
        station_id=new.station.id,
        person_id=person.id,
        place=new.place,
        entries=judged.entries,
        amount=amount,
        target=requirement.target,
        lower=requirement.lower,
        upper=requirement.upper,
        standard_uncertainty=judged.outcome.standard_uncertainty,
        verdict=requirement.verdict(amount, judged.outcome.standard_uncertainty).value,
        measured_at=corrected.measured_at if corrected else new.measured_at,
        received_at=now,
        note=storable(new.note),
        supersedes_id=corrected.id if corrected else None,
        reason=storable(new.reason) if corrected else "",
        tablet_id=new.tablet.id if new.tablet else None,
        instruments=list(new.instruments),
        photos=photos,
    )
    session.add(reading)
    session.flush()
    return reading


def _log(session: Session, person: Person, new: NewReading, reading: Reading, now: datetime) -> None:
    facts: dict[str, Any] = {
        "reading": str(reading.uuid),
        "mark": new.item.mark,
        "characteristic": new.characteristic,
        "place": reading.place,
        "entries": reading.entries,
        "amount": reading.amount,
        "verdict": reading.verdict,
        "measured_at": reading.measured_at.isoformat(),
        "station": new.station.key,
        "plan": new.item.control_plan.version,
        "target": reading.target,
        "lower": reading.lower,
        "upper": reading.upper,
        "standard_uncertainty": reading.standard_uncertainty,
        "instruments": sorted(instrument.name for instrument in new.instruments),
        "note": reading.note,
    }
    if new.photos:
        facts["photos"] = sorted(photo.sha256 for photo in reading.photos)
    if new.tablet is not None:
        facts |= {"tablet": new.tablet.name, "tablet_number": new.tablet.id}
    what = "reading recorded"
    if new.supersedes is not None:
        what = "reading corrected"
        facts |= {"corrects": str(new.supersedes), "reason": reading.reason}
    where = new.item.building if isinstance(new.item, Panel) else new.item.plant
    append_event(session, where, what, facts, at=now, person=person, panel_id=reading.panel_id)
