"""Whether readings and the events that tell of them say the same, both ways."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import chain as chained
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, Text, cast, func, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Lot, Panel
from qc_app.records.chain import ROWS_AT_ONCE, Link, from_json, time_text
from qc_app.records.control_plan import Characteristic, ControlPlan
from qc_app.records.photo import reading_photo
from qc_app.records.reading import Reading, reading_instrument
from qc_app.records.shop import Instrument, Station
from qc_app.work.check_record.compare import Sentences
from qc_app.work.check_record.place import Chain, Names

TELLING = ("reading recorded", "reading corrected")

FIELDS = (
    "panel",
    "mark",
    "person",
    "characteristic",
    "plan",
    "place",
    "entries",
    "amount",
    "verdict",
    "time",
    "received",
    "reason",
    "corrects",
    "photos",
    "station",
    "target",
    "lower",
    "upper",
    "standard_uncertainty",
    "instruments",
    "note",
    "tablet_number",
)
"""What both the table and the event say about a reading, in the words of a finding."""

ENTRIES, MEASURED, RECEIVED, INSTRUMENTS, PHOTOS = (
    FIELDS.index(field) for field in ("entries", "time", "received", "instruments", "photos")
)
BETWEEN = ";"
"""Stands between instruments, whose names may not hold it, and between photos."""


class _NotSaid:
    """What an older event does not say: the same as whatever the table has."""

    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, _other: object) -> bool:
        return True


NOT_SAID = _NotSaid()


class ReadingsCheck:
    """The readings of one chain. Each event about one is heard; then ``left`` has no event.

    Readings are stored in the order of their events, so both are read side by side, and a row is kept only
    while its event has not come.
    """

    def __init__(self, session: Session, chain: Chain, names: Names) -> None:
        self._sentences = Sentences(chain, names)
        self._rows = rows_of(session, chain)
        self._waiting: dict[str, Sequence[Any]] = {}

    def hear(self, link: Link) -> Iterable[str]:
        """What does not fit between an event about a reading and the reading."""
        uuid = link.facts["reading"].replace("-", "")
        row = self._row(uuid)
        told = _told(link)
        if row is None:
            return [self._sentences.missing(link, _words(uuid, told))]
        stored = _in_order(row)
        return () if told == stored else self._differences(link, uuid, told, stored)

    def _row(self, uuid: str) -> Sequence[Any] | None:
        if uuid in self._waiting:
            return self._waiting.pop(uuid)
        for row in self._rows:
            if row[-1] == uuid:
                return row
            self._waiting[row[-1]] = row
        return None

    def _differences(
        self, link: Link, uuid: str, told: Sequence[Any], stored: Sequence[Any]
    ) -> Iterator[str]:
        for difference in zip(FIELDS, told, stored, strict=True):
            if difference[1] != difference[2]:
                yield self._sentences.differs(link, _words(uuid, told), difference)

    def left(self) -> Iterator[str]:
        """What is in the table without an event that tells of it."""
        for row in chained(self._waiting.values(), self._rows):
            yield self._sentences.untold(_words(row[-1], row), row[0])


def _words(uuid: str, said: Sequence[Any]) -> str:
    check = f"{said[3]} {said[5]}".strip()
    return f"the reading {check} ({UUID(uuid)})"


def _told(link: Link) -> list[Any]:
    facts = link.facts
    get = facts.get
    instruments = get("instruments")
    return [
        link.panel_id,
        get("mark", NOT_SAID),
        link.person_id,
        get("characteristic", ""),
        get("plan", NOT_SAID),
        get("place", ""),
        get("entries", {}),
        get("amount", 0),
        get("verdict", ""),
        datetime.fromisoformat(facts["measured_at"]),
        link.at,
        get("reason", ""),
        get("corrects", "").replace("-", ""),
        BETWEEN.join(get("photos", ())),
        get("station", NOT_SAID),
        get("target", NOT_SAID),
        get("lower", NOT_SAID),
        get("upper", NOT_SAID),
        get("standard_uncertainty", NOT_SAID),
        NOT_SAID if instruments is None else BETWEEN.join(instruments),
        get("note", NOT_SAID),
        get("tablet_number", NOT_SAID if instruments is None or "tablet" in facts else None),
    ]


def _in_order(row: Sequence[Any]) -> list[Any]:
    """A row as an event would say it: entries and times read, instruments and photos sorted."""
    stored = list(row[:-1])
    stored[ENTRIES] = from_json(stored[ENTRIES])
    for time in (MEASURED, RECEIVED):
        stored[time] = datetime.fromisoformat(stored[time])
    for listed in (INSTRUMENTS, PHOTOS):
        if BETWEEN in stored[listed]:
            stored[listed] = BETWEEN.join(sorted(stored[listed].split(BETWEEN)))
    return stored


Query = Select[*tuple[Any, ...]]

# Columns of tables instead of attributes of classes, which would cost a third more time.
reading, characteristic, plan = Reading.__table__.c, Characteristic.__table__.c, ControlPlan.__table__.c
station, instrument = Station.__table__.c, Instrument.__table__.c
corrected = Reading.__table__.alias("corrected")


def rows_of(session: Session, chain: Chain) -> Iterator[Sequence[Any]]:
    """The readings of a chain in the order they were stored: their fields, and the UUID's 32 digits."""
    if chain.owner is None:
        return
    query = (_of_building if chain.owner is Building else _of_plant)(session, chain.owner_id)
    ordered = query.order_by(reading.id)
    with session.connection().execute(ordered, execution_options={"yield_per": ROWS_AT_ONCE}) as rows:
        yield from chained.from_iterable(rows.partitions())


def _columns(session: Session, mark: ColumnElement[str]) -> Query:
    return (
        select(
            reading.panel_id,
            mark,
            reading.person_id,
            characteristic.key,
            plan.version,
            reading.place,
            cast(reading.entries, Text),
            reading.amount,
            reading.verdict,
            time_text(session, reading.measured_at),
            time_text(session, reading.received_at),
            reading.reason,
            func.coalesce(_digits(corrected.c.uuid), ""),
            _photos(),
            station.key,
            reading.target,
            reading.lower,
            reading.upper,
            reading.standard_uncertainty,
            _instruments(),
            reading.note,
            reading.tablet_id,
            _digits(reading.uuid),
        )
        .join(characteristic.id.table, reading.characteristic_id == characteristic.id)
        .join(plan.id.table, characteristic.control_plan_id == plan.id)
        .join(station.id.table, reading.station_id == station.id)
        .outerjoin(corrected, reading.supersedes_id == corrected.c.id)
    )


def _of_building(session: Session, building_id: int) -> Query:
    panel = Panel.__table__.c
    query = _columns(session, panel.mark).join(Panel.__table__, reading.panel_id == panel.id)
    return query.where(panel.building_id == building_id)


def _of_plant(session: Session, plant_id: int) -> Query:
    lot = Lot.__table__.c
    return (
        _columns(session, lot.mark)
        .join(Lot.__table__, reading.lot_id == lot.id)
        .where(lot.plant_id == plant_id)
    )


def _digits(uuid: ColumnElement[UUID]) -> ColumnElement[str]:
    """The 32 digits of a UUID, which SQLite keeps as text without dashes."""
    return func.replace(cast(uuid, Text), "-", "")


def _instruments() -> ColumnElement[str]:
    used = reading_instrument.c
    named = select(func.aggregate_strings(instrument.name, BETWEEN)).join(
        reading_instrument, used.instrument_id == instrument.id
    )
    return func.coalesce(named.where(used.reading_id == reading.id).scalar_subquery(), "")


def _photos() -> ColumnElement[str]:
    shown = reading_photo.c
    named = select(func.aggregate_strings(shown.photo_sha256, BETWEEN))
    return func.coalesce(named.where(shown.reading_id == reading.id).scalar_subquery(), "")
