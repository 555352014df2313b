"""Nonconformities: opened by readings or people, decided, put right, closed (ISO 9001:2015, 8.7 and 10.2).

What counts is the reading that stands by time of measuring, whenever it came. A reading that stands outside
its limits opens a nonconformity. It closes when

- the reading was typed wrong and its correction conforms;
- a new reading conforms: at once where the plan has it put right ``here``, and only if it was measured after
  the shop lead decided rework or repair where it says ``lead``;
- it is accepted as it is, which the customer must have agreed to; or the panel is scrapped, and made again.

A panel moved to another control plan, whose limits a standing reading does not meet, opens one as well.
One that a person opened has no check of its own; once put right, somebody looks at it again and confirms.
"""

from collections.abc import Sequence
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import func, insert, or_, select
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from qc_app.measure.conformity import Verdict
from qc_app.phrase import phrase
from qc_app.plan.characteristic import PutRight
from qc_app.plan.place_marks import format_place_marks, parse_place_marks
from qc_app.plan.quantity import Quantity, format_amount, format_difference
from qc_app.records.building import Building, Panel
from qc_app.records.control_plan import Characteristic
from qc_app.records.event import append_event
from qc_app.records.nonconformity import Disposition, Nonconformity, nonconformity_link
from qc_app.records.photo import Photo
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.find import LARGEST_NUMBER, NotFound, Visitor, sees_building
from qc_app.work.hold import refuse_other_plant
from qc_app.work.released import released
from qc_app.work.remake import remake
from qc_app.work.roles import Act, require
from qc_app.work.said import reason_of, refuse_long_note, storable
from qc_app.work.standing import ACCEPT, decided_about, place_item

CORRECTED = "correction"
CONFIRMED = "confirmed"
"""Kind of the last entry about one that a person opened: looked at again and found right."""

LONGEST_NAME = 120


class Decision(StrEnum):
    """What may be decided about a nonconformity (ISO 9000:2015, 3.12.4 to 3.12.10)."""

    REWORK = "rework"
    REPAIR = "repair"
    ACCEPT = ACCEPT
    SCRAP = "scrap"


WORDS = {
    Decision.REWORK: phrase("rework"),
    Decision.REPAIR: phrase("repair"),
    Decision.ACCEPT: phrase("accept as it is"),
    Decision.SCRAP: phrase("scrap"),
    CONFIRMED: phrase("looked at again and found right"),
}

ACTS = {
    Decision.REWORK: Act.DECIDE_REWORK,
    Decision.REPAIR: Act.DECIDE_REWORK,
    Decision.ACCEPT: Act.DECIDE_CONCESSION,
    Decision.SCRAP: Act.DECIDE_CONCESSION,
}


class DecidedMeanwhile(Refusal):
    """Somebody else changed the nonconformity since the page was made; nothing was written."""


def open_by_reading(session: Session, reading: Reading, now: datetime) -> Nonconformity | None:
    """Opens a nonconformity if the reading that stands for this check is outside its limits.

    None where it conforms, is unclear or was accepted, where one is open for the check already, and for lots
    and scrapped panels.
    """
    panel = reading.panel
    if panel is None or panel.scrapped_at is not None:
        return None
    newest = _readings_left(session, reading)[-1]
    if newest.verdict != Verdict.OUTSIDE or newest.id in decided_about(session, panel).accepted:
        return None
    return _open_about(session, panel, newest, _what(newest), newest.person, now)


def open_by_move(
    session: Session, person: Person, panel: Panel, reading: Reading, now: datetime
) -> Nonconformity | None:
    """Opens a nonconformity about a reading that no longer proves its check, now that its panel was moved.

    None where one is open for the check already.
    """
    said = format_amount(reading.quantity, reading.amount, panel.building.plant.units)
    version = panel.control_plan.version
    what = f"{_check_name(reading)}: {said}, not proven under version {version} of the control plan."
    return _open_about(session, panel, reading, what, person, now)


def settle_by_reading(session: Session, reading: Reading, now: datetime) -> Nonconformity | None:
    """Closes the check's open nonconformity if the reading that stands conforms; gives the one it closed."""
    of_check = _of_check(session, reading) if reading.panel_id is not None else []
    one = next((one for one in of_check if one.closed_at is None), None)
    if one is None:
        return None
    left = _readings_left(session, reading)
    how = _settled_how(session, one, left) if left[-1].verdict == Verdict.WITHIN else None
    if how is not None:
        _close(session, one, how, now, left[-1].person, left[-1])
    return one if how is not None else None


def open_by_person(
    session: Session,
    person: Person,
    panel: Panel,
    what: str,
    places: str,
    photos: Sequence[str],
    now: datetime,
) -> Nonconformity:
    """Opens a nonconformity about something that no check of the plan asks for.

    ``places`` are marks on the drawing (``plan.place_marks``); ``photos`` are named by the SHA-256 of their
    bytes.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel belongs to another plant or was scrapped, nothing is said, a mark
        cannot be read, or a photo is not there.
    """
    require(person, Act.OPEN_NONCONFORMITY)
    refuse_other_plant(person, panel)
    if panel.scrapped_at is not None:
        raise Refusal("{mark} was scrapped already.", mark=panel.mark)
    said, marks = reason_of(what, "what"), format_place_marks(parse_place_marks(places))
    found = [session.get(Photo, name) for name in dict.fromkeys(photos)]
    shown = [photo for photo in found if photo is not None and photo.plant_id == person.plant_id]
    if len(shown) < len(found):
        raise Refusal("A photo has not come. Take it again.", about="photos")
    return _open(session, panel, person, now, what=said, places=marks, photos=shown)


def decide(
    session: Session,
    person: Person,
    nonconformity: Nonconformity,
    kind: str,
    reason: str,
    version: int,
    now: datetime,
    agreed_by: str = "",
) -> Disposition:
    """Writes down what is done about a nonconformity, by whom and why.

    Rework and repair ask for the measurement again. Accepting closes it, and says who agreed for the
    customer. Scrapping closes all that is open on the panel and schedules it again (``remake``). ``version``
    is that of the page on which it was decided.

    Raises
    ------
    NotAllowed, DecidedMeanwhile, Refusal
        If the person may not, somebody decided meanwhile, it is closed, no reason is given, or who agreed to
        accept it is not named; or if a panel to be scrapped is released.
    """
    decision = _decision(kind)
    require(person, ACTS[decision])
    refuse_other_plant(person, nonconformity.panel)
    _refuse_stale(nonconformity, version, WORDS[decision])
    _refuse_closed(nonconformity)
    said, agreed = reason_of(reason), _agreed(decision, agreed_by)
    disposition = _write(session, nonconformity, decision, said, person, now, agreed)
    if decision is Decision.ACCEPT:
        _close(session, nonconformity, ACCEPT, now, person, newest_reading(session, nonconformity))
        place_item(session, nonconformity.panel)
    elif decision is Decision.SCRAP:
        _scrap(session, nonconformity, person, now)
    return disposition


def confirm(
    session: Session, person: Person, nonconformity: Nonconformity, found: str, version: int, now: datetime
) -> Disposition:
    """Closes a nonconformity that a person opened, once what was decided is done and looked at again.

    Raises
    ------
    NotAllowed, DecidedMeanwhile, Refusal
        If the person may not, somebody changed it meanwhile, it is closed, nothing was decided yet, a check
        has to be measured again instead, or what was found is not said.
    """
    require(person, Act.DECIDE_REWORK)
    refuse_other_plant(person, nonconformity.panel)
    _refuse_stale(nonconformity, version, WORDS[CONFIRMED])
    _refuse_closed(nonconformity)
    if nonconformity.characteristic:
        raise Refusal("It closes when it is measured again and conforms, not by a word.")
    decided = nonconformity.dispositions[-1:]
    if not decided:
        raise Refusal("Decide first what is done: rework or repair.")
    said = reason_of(found, "found")
    confirmed = _write(session, nonconformity, CONFIRMED, said, person, now)
    _close(session, nonconformity, decided[0].kind, now, person, None)
    return confirmed


def explain(
    session: Session,
    person: Person,
    nonconformity: Nonconformity,
    cause: str,
    correction: str,
    version: int,
    now: datetime,
) -> None:
    """Writes down what caused it and what is changed so that it does not come again; open or closed.

    Raises
    ------
    NotAllowed, DecidedMeanwhile, Refusal
        If the person may not, somebody changed it meanwhile, or neither is said.
    """
    require(person, Act.DECIDE_REWORK)
    refuse_other_plant(person, nonconformity.panel)
    _refuse_stale(nonconformity, version, cause or correction)
    if not (cause.strip() or correction.strip()):
        raise Refusal("Say what caused it, or what is changed; nothing was entered.", about="cause")
    refuse_long_note(cause, "cause")
    refuse_long_note(correction, "correction")
    nonconformity.cause, nonconformity.correction = storable(cause), storable(correction)
    flag_modified(nonconformity, "cause")
    facts = {"cause": nonconformity.cause, "correction": nonconformity.correction}
    _log(session, nonconformity, "nonconformity explained", facts, now, person)


def link(session: Session, person: Person, one: Nonconformity, other: Nonconformity, now: datetime) -> None:
    """Says that two nonconformities have to do with each other. Said again, nothing changes.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, one belongs to another plant, or it is the same one.
    """
    require(person, Act.DECIDE_REWORK)
    for each in (one, other):
        refuse_other_plant(person, each.panel)
    if one.id == other.id:
        raise Refusal("A nonconformity is not linked to itself.", about="other")
    if _link(session, one, other):
        facts = {"other": other.number, "building of other": other.building.code}
        _log(session, one, "nonconformities linked", facts, now, person)


def find_one(session: Session, visitor: Visitor, number: int) -> Nonconformity:
    """The nonconformity with that row number. Raises NotFound if the visitor sees none."""
    found = session.get(Nonconformity, number) if number <= LARGEST_NUMBER else None
    if found is None or not sees_building(visitor, found.building):
        raise NotFound("There is no such nonconformity in this plant.")
    return found


def by_number(session: Session, building: Building, number: int) -> Nonconformity:
    """The nonconformity of a building with that number. Raises NotFound if it has none."""
    query = select(Nonconformity).where(
        Nonconformity.building_id == building.id, Nonconformity.number == number
    )
    found = session.scalars(query).first() if number <= LARGEST_NUMBER else None
    if found is None:
        raise NotFound(
            "There is no nonconformity {number} in building {building}.",
            number=number,
            building=building.code,
        )
    return found


def open_ones(session: Session, visitor: Visitor) -> list[Nonconformity]:
    """All open ones of a plant, oldest first."""
    return list(
        session.scalars(
            select(Nonconformity)
            .join(Building, Nonconformity.building_id == Building.id)
            .where(Building.plant_id == visitor.plant_id, Nonconformity.closed_at.is_(None))
            .order_by(Nonconformity.opened_at, Nonconformity.id)
        )
    )


def of_panel(session: Session, panel: Panel) -> list[Nonconformity]:
    """All of a panel, open and closed, in order of their numbers."""
    return list(
        session.scalars(
            select(Nonconformity).where(Nonconformity.panel_id == panel.id).order_by(Nonconformity.number)
        )
    )


def linked(session: Session, one: Nonconformity) -> list[Nonconformity]:
    """Those linked to this one, in order of their numbers."""
    links = nonconformity_link.c
    pairs = session.execute(
        select(links.one_id, links.other_id).where(or_(links.one_id == one.id, links.other_id == one.id))
    )
    ids = {number for pair in pairs for number in pair} - {one.id}
    return list(
        session.scalars(select(Nonconformity).where(Nonconformity.id.in_(ids)).order_by(Nonconformity.id))
    )


def readings_about(session: Session, one: Nonconformity) -> list[Reading]:
    """All readings of its check in the order they were measured; none where a person opened it."""
    if not one.characteristic:
        return []
    opening = session.get_one(Reading, one.reading_id)
    return _readings(session, opening)


def newest_reading(session: Session, one: Nonconformity) -> Reading | None:
    """The reading that stands for its check; None where a person opened it."""
    readings = readings_about(session, one)
    return _left(readings)[-1] if readings else None


def _settled_how(session: Session, one: Nonconformity, left: Sequence[Reading]) -> str | None:
    """How it closes now that the newest reading conforms; None while the shop lead has to decide first."""
    opening = session.get_one(Reading, one.reading_id)
    if left[-1] is opening:
        return None
    is_still_wrong = opening in left or any(
        r.verdict == Verdict.OUTSIDE and r.measured_at >= opening.measured_at for r in left
    )
    if not is_still_wrong:
        return CORRECTED
    plan, decided = one.panel.control_plan.plan, one.dispositions[-1] if one.dispositions else None
    is_here = plan.puts_right(one.panel.kind, one.characteristic) is PutRight.HERE
    if decided is None:
        return Decision.REWORK if is_here else None
    return decided.kind if is_here or left[-1].measured_at >= decided.at else None


def _readings(session: Session, like: Reading) -> list[Reading]:
    """All readings of the same check of a panel, in the order they were measured."""
    same = (Characteristic.key == like.characteristic.key, Reading.place == like.place)
    query = (
        select(Reading)
        .join(Characteristic, Reading.characteristic_id == Characteristic.id)
        .where(Reading.panel_id == like.panel_id, *same)
        .order_by(Reading.measured_at, Reading.id)
    )
    return list(session.scalars(query))


def _left(readings: Sequence[Reading]) -> list[Reading]:
    """Those that were not corrected."""
    superseded = {reading.supersedes_id for reading in readings}
    return [reading for reading in readings if reading.id not in superseded]


def _readings_left(session: Session, reading: Reading) -> list[Reading]:
    return _left(_readings(session, reading))


def _of_check(session: Session, reading: Reading) -> list[Nonconformity]:
    """Those about this check, in order of their numbers."""
    return list(
        session.scalars(
            select(Nonconformity)
            .where(
                Nonconformity.panel_id == reading.panel_id,
                Nonconformity.characteristic == reading.characteristic.key,
                Nonconformity.place == reading.place,
            )
            .order_by(Nonconformity.number)
        )
    )


def _what(reading: Reading) -> str:
    """What a reading says is wrong, in the shop's units."""
    assert reading.panel is not None, "nonconformities are of panels"  # noqa: S101
    units, quantity = reading.panel.building.plant.units, reading.quantity
    name = _check_name(reading)
    said = format_amount(quantity, reading.amount, units)
    if quantity is Quantity.COUNT:
        said += " fault" if reading.amount == 1 else " faults"
    if reading.target is None or quantity is Quantity.COUNT:
        return f"{name}: {said}, outside its limits."
    by = format_difference(quantity, reading.deviation, units)
    return f"{name}: {said}, {by} from target, outside its limits."


def _check_name(reading: Reading) -> str:
    name = reading.characteristic.name
    return f"{name}, {reading.place}" if reading.place else name


def _open_about(
    session: Session, panel: Panel, reading: Reading, what: str, by: Person, now: datetime
) -> Nonconformity | None:
    """Opens one about the check of a reading, linked with the one before; None where one is open already."""
    before = _of_check(session, reading)
    if any(one.closed_at is None for one in before):
        return None
    check = {"characteristic": reading.characteristic.key, "place": reading.place}
    opened = _open(session, panel, by, now, what=what, reading_id=reading.id, **check)
    if before:
        _link(session, before[-1], opened)
    return opened


def _open(
    session: Session, panel: Panel, by: Person, now: datetime, *, what: str, **more: Any
) -> Nonconformity:
    newest = select(func.max(Nonconformity.number)).where(Nonconformity.building_id == panel.building_id)
    opened = Nonconformity(
        building=panel.building,
        number=(session.scalar(newest) or 0) + 1,
        panel=panel,
        what=what,
        opened_at=now,
        opened_by_id=by.id,
        **more,
    )
    session.add(opened)
    session.flush()
    facts = {"what": what}
    if opened.reading_id is not None:
        facts |= {
            "characteristic": opened.characteristic,
            "place": opened.place,
            "reading": str(session.get_one(Reading, opened.reading_id).uuid),
        }
    if opened.places:
        facts["places"] = opened.places
    if opened.photos:
        facts["photos"] = " ".join(sorted(photo.sha256 for photo in opened.photos))
    _log(session, opened, "nonconformity opened", facts, now, by)
    return opened


def _close(
    session: Session, one: Nonconformity, how: str, now: datetime, by: Person, reading: Reading | None
) -> None:
    one.closed_at, one.closed_how, one.closed_by_id = now, str(how), by.id
    one.closing_reading_id = reading.id if reading else None
    facts = {"how": str(how), "reading": str(reading.uuid) if reading else None}
    _log(session, one, "nonconformity closed", facts, now, by)


def _write(
    session: Session,
    one: Nonconformity,
    kind: str,
    reason: str,
    person: Person,
    now: datetime,
    agreed_by: str = "",
) -> Disposition:
    written = Disposition(kind=str(kind), person=person, at=now, reason=reason, agreed_by=agreed_by)
    one.dispositions.append(written)
    flag_modified(one, "what")  # a decision counts as a change of what it is about
    facts = {"decision": str(kind), "reason": reason, "agreed by": agreed_by}
    _log(session, one, "nonconformity decided", facts, now, person)
    return written


def _scrap(session: Session, decided: Nonconformity, person: Person, now: datetime) -> None:
    panel = decided.panel
    if released(session, panel) is not None:
        raise Refusal(
            "{mark} is released. Withdraw the release first, then scrap the panel.", mark=panel.mark
        )
    panel.scrapped_at = now
    for one in of_panel(session, panel):
        if one.closed_at is None and one is not decided:
            reason = f"Scrapped for nonconformity {decided.number}."
            _write(session, one, Decision.SCRAP, reason, person, now)
        if one.closed_at is None:
            _close(session, one, Decision.SCRAP, now, person, newest_reading(session, one))
    place_item(session, panel)
    facts = {"mark": panel.mark, "nonconformity": decided.number}
    append_event(session, panel.building, "panel scrapped", facts, at=now, person=person, panel_id=panel.id)
    remake(session, person, panel, now)


def _decision(kind: str) -> Decision:
    if kind not in tuple(Decision):
        raise Refusal("Choose what is done: rework, repair, accept or scrap.", about="kind")
    return Decision(kind)


def _agreed(decision: Decision, agreed_by: str) -> str:
    if decision is not Decision.ACCEPT:
        return ""
    if not agreed_by.strip():
        raise Refusal("Say who agreed to it for the customer; nothing was entered.", about="agreed_by")
    if len(agreed_by) > LONGEST_NAME:
        raise Refusal("A name has at most {most} characters.", about="agreed_by", most=LONGEST_NAME)
    return storable(agreed_by)


def _refuse_stale(one: Nonconformity, version: int, yours: str) -> None:
    if one.version == version:
        return
    if one.dispositions and one.closed_how != CORRECTED:
        last = one.dispositions[-1]
        raise DecidedMeanwhile(
            "{name} has decided meanwhile: {said}, because “{reason}”. You chose: {what}. Nothing of yours "
            "is written; look at both and decide again.",
            name=last.person.name,
            said=WORDS.get(last.kind, last.kind),
            reason=last.reason,
            what=yours,
        )
    raise DecidedMeanwhile(
        "Nonconformity {number} was changed meanwhile. You chose: {what}. Nothing of yours is written; look "
        "at it and decide again.",
        number=one.number,
        what=yours,
    )


def _refuse_closed(one: Nonconformity) -> None:
    if one.closed_at is not None:
        raise Refusal("Nonconformity {number} is closed already.", number=one.number)


def _link(session: Session, one: Nonconformity, other: Nonconformity) -> bool:
    """Links two; False where they are linked already."""
    first, second = sorted((one.id, other.id))
    if session.get(Nonconformity, second) in linked(session, session.get_one(Nonconformity, first)):
        return False
    session.execute(insert(nonconformity_link).values(one_id=first, other_id=second))
    return True


def _log(
    session: Session, one: Nonconformity, what: str, facts: dict[str, Any], now: datetime, person: Person
) -> None:
    told = {"number": one.number, "mark": one.panel.mark, **facts}
    append_event(session, one.building, what, told, at=now, person=person, panel_id=one.panel_id)
