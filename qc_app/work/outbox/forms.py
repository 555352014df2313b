"""What each form of entry does once it has come: readings are recorded, lots booked in, undone ones kept."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.measure.length import Length, parse_length
from qc_app.phrase import phrase
from qc_app.plan.quantity import Quantity, Units, format_amount, format_difference
from qc_app.records.building import Panel
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.refusal import Refusal, shortened
from qc_app.work import find
from qc_app.work.history import outcome_of
from qc_app.work.instrument_checks import flag
from qc_app.work.instrument_trust import FLAGGING_WORDS
from qc_app.work.notices import AFTER_RELEASE, raise_notice
from qc_app.work.outbox.answer import ReadingAnswer, Reason, Sentence, sentence
from qc_app.work.outbox.batch import listed, mapping, text, uuid, whole
from qc_app.work.outbox.instrument_form import take_instrument_check
from qc_app.work.outbox.lot_forms import take_lot_use, take_material
from qc_app.work.outbox.occasion import LONGEST_KEY, LONGEST_TEXT, Occasion, Taken, instrument_of
from qc_app.work.record import NewReading, NotYet, record
from qc_app.work.released import released
from qc_app.work.schedule import book_in_lot
from qc_app.work.setup import local_zone
from qc_app.work.standing import Item
from qc_app.work.state import state_of

MOST_READINGS = 40
MOST_PHOTOS = 10
MOST_INSTRUMENTS = 20
MOST_FIELDS = 20

WORDS = {
    Verdict.WITHIN: (phrase("Within: {by} from target."), phrase("Within: {amount}.")),
    Verdict.OUTSIDE: (phrase("Outside: {by} from target."), phrase("Outside: {amount}.")),
    Verdict.UNCLEAR: (phrase("Unclear: {by} from target."), phrase("Unclear: {amount}.")),
}


class Unrecordable(Exception):
    """Nothing of an entry can be recorded, for these reasons."""

    def __init__(self, reasons: list[Reason]) -> None:
        self.reasons = tuple(reasons)
        super().__init__(*(reason.sentence.words for reason in reasons))


@dataclass(frozen=True)
class SentReading:
    """One reading of an entry as it was sent."""

    uuid: UUID
    characteristic: str
    place: str
    entries: dict[str, str]
    supersedes: UUID | None
    photos: tuple[str, ...]
    verdict: str | None


def take_readings(session: Session, on: Occasion, content: Mapping[str, Any]) -> Taken:
    """Records all readings of an entry, or none.

    Raises
    ------
    NotYet, Unrecordable, Refusal
        If something must come first; a reading cannot be recorded; or the entry as a whole cannot be read.
    """
    sent = [_reading(given) for given in listed(content.get("readings"), "readings", MOST_READINGS)]
    if not sent:
        raise Refusal(phrase("This entry holds no reading."))
    item = _item(session, on, content)
    template = _template(session, on, content, item)
    recorded = _record_all(session, on, [_new(template, reading) for reading in sent])
    units = on.author.plant.units
    remarks = [
        *_plan_remarks(content, item),
        *_release_remarks(session, on, item, recorded),
        *_instrument_remarks(session, on, recorded),
    ]
    for reading, told in zip(recorded, sent, strict=True):
        remarks += _reading_remarks(item, reading, told)
    each_once = tuple(said for n, said in enumerate(remarks) if said not in remarks[:n])
    return Taken(tuple(_told(reading, units) for reading in recorded), each_once)


def take_lot(session: Session, on: Occasion, content: Mapping[str, Any]) -> Taken:
    """Books in a lot. Raises Refusal if it cannot be."""
    kind, mark = (text(content.get(key), key, LONGEST_TEXT) for key in ("kind", "mark"))
    length, width, depth = (_length(content, key) for key in ("length", "width", "depth"))
    book_in_lot(session, on.author, kind, mark, (length, width, depth), on.now)
    return Taken()


def take_undone(_session: Session, _on: Occasion, _content: Mapping[str, Any]) -> Taken:
    """Nothing: it was undone before it was sent, and is kept so that its number is not missed."""
    return Taken()


FORMS = {
    "readings": take_readings,
    "lot": take_lot,
    "material": take_material,
    "lot_use": take_lot_use,
    "instrument_check": take_instrument_check,
    "undone": take_undone,
}


def _reading(given: Any) -> SentReading:
    sent = mapping(given, "reading")
    entries = mapping(sent.get("entries"), "entries")
    if len(entries) > MOST_FIELDS:
        raise Refusal(phrase("A reading has at most {most} fields."), most=MOST_FIELDS)
    supersedes, verdict = sent.get("supersedes"), sent.get("verdict")
    return SentReading(
        uuid(sent.get("uuid"), "uuid"),
        text(sent.get("characteristic"), "characteristic", LONGEST_KEY),
        text(sent.get("place"), "place", LONGEST_KEY),
        {text(k, "field", LONGEST_KEY): text(v, k[:40], LONGEST_TEXT) for k, v in entries.items()},
        uuid(supersedes, "supersedes") if supersedes is not None else None,
        tuple(text(p, "photo", 64) for p in listed(sent.get("photos", []), "photos", MOST_PHOTOS)),
        text(verdict, "verdict", LONGEST_KEY) if verdict is not None else None,
    )


def _item(session: Session, on: Occasion, content: Mapping[str, Any]) -> Item:
    number = whole(content.get("id"), "id")
    match text(content.get("item"), "item", LONGEST_KEY):
        case "panel":
            return find.panel(session, on.author, number)
        case "lot":
            return find.lot(session, on.author, number)
        case other:
            raise Refusal(phrase("Readings are of a panel or a lot, not of “{given}”."), given=other)


def _template(session: Session, on: Occasion, content: Mapping[str, Any], item: Item) -> NewReading:
    """What all readings of an entry have in common."""
    numbers = listed(content.get("instruments", []), "instruments", MOST_INSTRUMENTS)
    return NewReading(
        uuid=UUID(int=0),
        item=item,
        station=find.station(session, on.author, text(content.get("station"), "station", LONGEST_KEY)),
        characteristic="",
        place="",
        entries={},
        measured_at=on.entered_at,
        instruments=tuple(instrument_of(session, on, n) for n in dict.fromkeys(numbers)),
        note=text(content.get("note", ""), "note", LONGEST_TEXT),
        reason=text(content.get("reason", ""), "reason", LONGEST_TEXT),
        tablet=on.tablet,
    )


def _new(template: NewReading, sent: SentReading) -> NewReading:
    return replace(
        template,
        uuid=sent.uuid,
        characteristic=sent.characteristic,
        place=sent.place,
        entries=sent.entries,
        supersedes=sent.supersedes,
        photos=sent.photos,
    )


def _record_all(session: Session, on: Occasion, new: list[NewReading]) -> list[Reading]:
    recorded, reasons = [], []
    for reading in new:
        try:
            recorded.append(record(session, on.author, reading, on.now))
        except NotYet:
            raise
        except Refusal as refusal:
            reasons.append(Reason.of(refusal, reading.uuid))
    if reasons:
        raise Unrecordable(reasons)
    return recorded


def _length(content: Mapping[str, Any], key: str) -> Length:
    try:
        return parse_length(text(content.get(key), key, LONGEST_TEXT))
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about=key, **refusal.facts) from refusal


def _told(reading: Reading, units: Units) -> ReadingAnswer:
    with_target, without = WORDS[Verdict(reading.verdict)]
    if reading.target is None or reading.quantity is Quantity.COUNT:
        said = sentence(without, amount=format_amount(reading.quantity, reading.amount, units))
    else:
        said = sentence(with_target, by=format_difference(reading.quantity, reading.deviation, units))
    return ReadingAnswer(str(reading.uuid), reading.characteristic.key, reading.place, reading.verdict, said)


def _plan_remarks(content: Mapping[str, Any], item: Item) -> list[Sentence]:
    if whole(content.get("plan"), "plan") == item.control_plan_id:
        return []
    words = phrase("The control plan for {mark} changed meanwhile; this was judged by version {version}.")
    return [sentence(words, mark=item.mark, version=item.control_plan.version)]


def _release_remarks(session: Session, on: Occasion, item: Item, recorded: list[Reading]) -> list[Sentence]:
    release = released(session, item) if isinstance(item, Panel) else None
    if release is None or not isinstance(item, Panel):
        return []
    holds = state_of(session, item, on.now).holds
    at = release.released_at.astimezone(local_zone(item.building.plant)).strftime("%Y-%m-%d %H:%M")
    facts = {
        "mark": item.mark,
        "building": item.building.code,
        "released": at,
        "readings": [str(reading.uuid) for reading in recorded],
        "held": [asdict(held.sentence) for held in holds],
        "nonconformities": [held.what.number for held in holds if isinstance(held.what, Nonconformity)],
    }
    raise_notice(session, item.building.plant_id, AFTER_RELEASE, facts, on.now, tablet=on.tablet, panel=item)
    words = phrase("{mark} was released at {at}; the shop lead has been told.")
    if holds:
        words = phrase("{mark} was released at {at} and is held now; the shop lead has been told.")
    return [sentence(words, mark=item.mark, at=at)]


def _instrument_remarks(session: Session, on: Occasion, recorded: list[Reading]) -> list[Sentence]:
    return [
        sentence(FLAGGING_WORDS[doubt.why], gauge=doubt.instrument.name, since=doubt.since)
        for doubt in flag(session, recorded, on.now, on.tablet)
    ]


def _reading_remarks(item: Item, reading: Reading, sent: SentReading) -> list[Sentence]:
    remarks = []
    if sent.verdict is not None and sent.verdict != reading.verdict:
        words = phrase("{name} {place}: this tablet said {said}, but by the control plan it is {verdict}.")
        if not reading.place:
            words = phrase("{name}: this tablet said {said}, but by the control plan it is {verdict}.")
        remarks.append(
            sentence(
                words,
                name=reading.characteristic.name,
                place=reading.place,
                said=shortened(sent.verdict),
                verdict=reading.verdict,
            )
        )
    advice = outcome_of(reading, item).advice
    return [*remarks, sentence(advice)] if advice else remarks
