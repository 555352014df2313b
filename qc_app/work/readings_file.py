"""Readings as a file: looked at row by row, then recorded in the order they were measured.

The same row again is the same reading and changes nothing: a reading is known by its number, or without one
by what it says. Corrections are not imported; they are made in the log, where they say why.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.plan.characteristic import Characteristic
from qc_app.plan.method import EntryRefused
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Person
from qc_app.refusal import Refusal, shortened
from qc_app.work.local_time import parse_time
from qc_app.work.record import (
    NewReading,
    judge_entries,
    record,
    refuse_future,
    refuse_missing_instruments,
)
from qc_app.work.roles import Act, NotAllowed, may, require
from qc_app.work.said import refuse_long_note
from qc_app.work.setup import local_zone
from qc_app.work.sheet import (
    CellRefused,
    Column,
    Examined,
    Row,
    Taken,
    check_columns,
    check_faults,
    examine_rows,
    in_column,
    rows_of,
)
from qc_app.work.shop_names import ShopNames
from qc_app.work.standing import Item

VALUES = ("value", "value_2", "value_3")
"""The columns of what was typed, in the order of the method's fields."""

READINGS_COLUMNS = (
    Column("reading_id", False, "UUID of the reading; empty: made from what the row says.", ""),
    Column("building", False, "Code of the building; needed for a panel.", "H1"),
    Column("mark", False, "Mark of the panel, or empty for a lot.", "R-01"),
    Column("lot", False, "Mark of the lot, or empty for a panel.", "LOT-1"),
    Column("station", True, "Station, by key or name.", "sheathing_fence"),
    Column("characteristic", True, "Characteristic, by key or name.", "squareness"),
    Column("place", False, "Where on it, if the plan names places.", "AB, bay 3, penetration P1"),
    Column(
        "value",
        True,
        "Length, percentage, diagonal AC, mass of the core, mass blown into the bay, or yes or no.",
        "25' 3 9/16\"",
    ),
    Column(
        "value_2",
        False,
        "Diagonal BD, depth of the core, setting of the blower, or count of faults.",
        "25' 3 9/16\"",
    ),
    Column(
        "value_3",
        False,
        "Tare of the core, if the scale was not zeroed; seconds of blowing; or places of the faults in "
        "thousandths along AB and across from corner A, such as 250,500; 810,120.",
        "12 g",
    ),
    Column("instruments", False, "Names of the instruments used, between semicolons.", "Tape 4"),
    Column(
        "measured_at",
        True,
        "Date and time in ISO 8601; without an offset it is the plant's local time.",
        "2026-03-02T09:30",
    ),
    Column("person", False, "Sign-in name of who measured; empty means whoever imports.", "wren"),
    Column("note", False, "At most 1000 characters.", "after rework"),
    Column("supersedes", False, "Empty, except in rows that the log exported.", ""),
)
"""What a file of readings holds. Other columns are passed over."""

_BY_CONTENT = UUID("6f1c2b54-3a0e-4f0b-9a57-0d3c1f6b8e21")
"""Namespace of numbers made from what a row says (RFC 9562, section 5.5); chosen at random."""

_LOOKED_UP_AT_ONCE = 500


@dataclass(frozen=True)
class Incoming:
    """A row that reads as a reading, by the person who measured."""

    row: Row
    person: Person
    reading: NewReading


@dataclass(frozen=True)
class ExaminedReadings(Examined):
    """What taking readings would do; ``good`` stand in the order they were measured."""

    good: tuple[Incoming, ...]


def examine_readings(
    session: Session, person: Person, name: str, content: bytes | Sequence[Row], now: datetime
) -> ExaminedReadings:
    """Looks at a file of readings and changes nothing.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not import, or the file as a whole cannot be read.
    """
    require(person, Act.IMPORT)
    rows = rows_of(name, content)
    check_columns(name, rows, READINGS_COLUMNS)
    shop, zone = ShopNames(session, person), local_zone(person.plant)
    good, bad = examine_rows(
        name,
        rows,
        read=lambda row: _incoming(row, shop, zone, person),
        key_of=lambda incoming: incoming.reading.uuid,
        stored_by=lambda uuids: _stored(session, uuids),
        agree=lambda same_number, stored: _check(same_number, stored, now),
    )
    good.sort(key=lambda incoming: incoming.reading.measured_at)
    return ExaminedReadings(name, tuple(good), len(rows) - len(good) - len(bad), tuple(bad))


def take_readings(
    session: Session, person: Person, name: str, content: bytes | Sequence[Row], now: datetime
) -> Taken:
    """Records the good rows of a file of readings, in the order they were measured.

    Raises
    ------
    NotAllowed, Refusal
        As ``examine_readings``; then nothing is recorded.
    """
    examined = examine_readings(session, person, name, content, now)
    for incoming in examined.good:
        record(session, incoming.person, incoming.reading, now)
    return Taken(len(examined.good), examined.unchanged, examined.bad)


def _incoming(row: Row, shop: ShopNames, zone: ZoneInfo, importer: Person) -> Incoming:
    check_faults(row, READINGS_COLUMNS)
    item = _item(row, shop)
    with in_column("station"):
        station = shop.station(row.values["station"])
    with in_column("characteristic"):
        characteristic = shop.characteristic(item, row.values["characteristic"])
    with in_column("instruments"):
        names = [name for name in row.text("instruments").split(";") if name.strip()]
        instruments = tuple(dict.fromkeys(shop.instrument(name) for name in names))
    with in_column("measured_at"):
        measured_at = parse_time(row.values["measured_at"], zone)
    place = _place(row, item, characteristic)
    entries = _entries(row, characteristic)
    reading = NewReading(
        uuid=_uuid(row, (station.key, characteristic.key, place, *entries.values()), item, measured_at),
        item=item,
        station=station,
        characteristic=characteristic.key,
        place=place,
        entries=entries,
        measured_at=measured_at,
        instruments=instruments,
        note=row.text("note"),
    )
    return Incoming(row, _person(row, shop, importer), reading)


def _item(row: Row, shop: ShopNames) -> Item:
    mark, lot = row.text("mark"), row.text("lot")
    with in_column("lot" if lot else "mark"):
        if bool(mark) == bool(lot):
            raise Refusal("Name either the mark of a panel or a lot.")
        if lot:
            return shop.lot(lot)
    with in_column("building"):
        building = shop.building(row.text("building"))
    with in_column("mark"):
        return shop.panel(building, mark)


def _place(row: Row, item: Item, characteristic: Characteristic) -> str:
    """The place as the plan writes it, in capitals or not; refused if the item has no such place."""
    given = row.text("place")
    subject = item.subject
    same = [place for place in characteristic.possible_places(subject) if place.lower() == given.lower()]
    with in_column("place"):
        characteristic.requirement(subject, same[0] if same else shortened(given))
    return same[0]


def _entries(row: Row, characteristic: Characteristic) -> dict[str, str]:
    fields = characteristic.method.fields
    for column in VALUES[len(fields) :]:
        if row.text(column):
            refusal = Refusal("{name} takes nothing here.", name=characteristic.name)
            raise CellRefused(column, refusal)
    texts = {field.key: row.text(column) for field, column in zip(fields, VALUES, strict=False)}
    return {key: text for key, text in texts.items() if text}


def _person(row: Row, shop: ShopNames, importer: Person) -> Person:
    sign_in_name = row.text("person")
    with in_column("person"):
        person = shop.person(sign_in_name) if sign_in_name else importer
        if not may(person, Act.RECORD):
            raise NotAllowed("{name} may not {act}.", name=person.name, act=Act.RECORD.value)
    return person


def _uuid(row: Row, said: tuple[str, ...], item: Item, measured_at: datetime) -> UUID:
    given = row.text("reading_id")
    if not given:
        # the panel or lot stands for its plant
        words = (type(item).__name__, str(item.id), *said, measured_at.isoformat())
        return uuid5(_BY_CONTENT, "\n".join(words))
    try:
        return UUID(given)
    except ValueError as error:
        refusal = Refusal("This is no UUID: “{given}”.", given=shortened(given))
        raise CellRefused("reading_id", refusal) from error


def _stored(session: Session, uuids: Iterable[UUID]) -> dict[UUID, Reading]:
    wanted = list(uuids)
    found: dict[UUID, Reading] = {}
    for start in range(0, len(wanted), _LOOKED_UP_AT_ONCE):
        some = wanted[start : start + _LOOKED_UP_AT_ONCE]
        found |= {r.uuid: r for r in session.scalars(select(Reading).where(Reading.uuid.in_(some)))}
    return found


def _check(same_number: Sequence[Incoming], stored: Reading | None, now: datetime) -> None:
    first = same_number[0]
    if any(_content(incoming.reading) != _content(first.reading) for incoming in same_number):
        rows = ", ".join(str(incoming.row.number) for incoming in same_number)
        refusal = Refusal("Rows {rows} are different readings under one number.", rows=rows)
        raise CellRefused("reading_id", refusal)
    if stored is None:
        _check_new(first, now)
    elif not _is_same(first.reading, stored):
        refusal = Refusal("A reading of this number is here already, and says something else.")
        raise CellRefused("reading_id", refusal)


def _content(reading: NewReading) -> tuple[object, ...]:
    return (
        reading.item,
        reading.station,
        reading.characteristic,
        reading.place,
        reading.entries,
        reading.measured_at,
    )


def _is_same(reading: NewReading, stored: Reading) -> bool:
    """Whether a stored reading says what the row says; a spreadsheet may have made 14.0 into 14."""
    what = (stored.panel or stored.lot, stored.station, stored.characteristic.key, stored.place)
    said = (reading.item, reading.station, reading.characteristic, reading.place)
    if (*what, stored.measured_at) != (*said, reading.measured_at):
        return False
    return reading.entries == stored.entries or _amount(reading, stored.instruments) == stored.amount


def _check_new(incoming: Incoming, now: datetime) -> None:
    """Everything that recording would refuse, found before."""
    reading = incoming.reading
    with in_column("supersedes"):
        if incoming.row.text("supersedes"):
            raise Refusal("A correction is not imported. Make it in the log, where it says why.")
    with in_column("measured_at"):
        refuse_future(reading, now)
    with in_column("note"):
        refuse_long_note(reading.note)
    with in_column("instruments"):
        refuse_missing_instruments(_characteristic(reading), reading.instruments)
    _amount(reading, reading.instruments)


def _amount(reading: NewReading, instruments: Iterable[Instrument]) -> int:
    """What the entries amount to, measured with these instruments."""
    try:
        return judge_entries(replace(reading, instruments=tuple(instruments))).outcome.amount
    except EntryRefused as refused:
        keys = [field.key for field in _characteristic(reading).method.fields]
        raise CellRefused(VALUES[keys.index(str(refused.about))], refused) from refused
    except Refusal as refusal:
        raise CellRefused("station", refusal) from refusal


def _characteristic(reading: NewReading) -> Characteristic:
    return reading.item.control_plan.plan.characteristic(reading.item.kind, reading.characteristic)
