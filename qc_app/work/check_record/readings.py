"""Whether readings and the events that tell of them say the same, both ways."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Lot, Panel
from qc_app.records.chain import ROWS_AT_ONCE, Link
from qc_app.records.control_plan import Characteristic
from qc_app.records.photo import reading_photo
from qc_app.records.reading import Reading
from qc_app.work.check_record.place import Chain, Names, event_words

TELLING = ("reading recorded", "reading corrected")


class Said(NamedTuple):
    """What both the table and the event say about a reading; the field names are the words of a finding."""

    panel: int | None
    person: int | None
    characteristic: str
    place: str
    entries: dict[str, str]
    amount: int
    verdict: str
    time: datetime
    reason: str
    corrects: str | None
    photos: tuple[str, ...]


class ReadingsCheck:
    """The readings of one chain. Each event about one is ``hear``d; then ``left`` has no event."""

    def __init__(self, session: Session, chain: Chain, names: Names) -> None:
        self._chain, self._names = chain, names
        self._stored = _stored(session, chain)

    def hear(self, link: Link) -> Iterator[str]:
        """What does not fit between an event about a reading and the reading."""
        uuid = str(link.facts.get("reading"))
        stored = self._stored.pop(uuid, None)
        told = _told(link)
        if told == stored:
            return
        where = event_words(self._chain, link)
        if stored is None:
            yield f"{where}: the reading {uuid} that it tells of is not in the table."
            return
        for field, says, has in zip(Said._fields, told, stored, strict=True):
            if says != has:
                yield f"{where}: reading {uuid} has another {field}: {has} in the table, {says} in the event."

    def left(self) -> Iterator[str]:
        """What is in the table without an event that tells of it."""
        for uuid, said in self._stored.items():
            of = self._names.panel(said.panel) if said.panel else "a lot"
            check = f"{said.characteristic} {said.place}".strip()
            yield f"{self._chain.words}: no event tells of the reading {uuid} ({check} of {of})."


def _told(link: Link) -> Said:
    facts: dict[str, Any] = link.facts
    return Said(
        link.panel_id,
        link.person_id,
        facts.get("characteristic", ""),
        facts.get("place", ""),
        facts.get("entries", {}),
        facts.get("amount", 0),
        facts.get("verdict", ""),
        datetime.fromisoformat(facts["measured_at"]).astimezone(UTC),
        facts.get("reason", ""),
        facts.get("corrects"),
        tuple(facts.get("photos", ())),
    )


def _stored(session: Session, chain: Chain) -> dict[str, Said]:
    if chain.owner is None:
        return {}
    of_chain = _of_building if chain.owner is Building else _of_plant
    # Columns of tables instead of attributes of classes, which would cost a third more time.
    reading, characteristic = Reading.__table__, Characteristic.__table__
    corrected = reading.alias()
    query = (
        select(
            reading.c.id,
            reading.c.uuid,
            reading.c.panel_id,
            reading.c.person_id,
            characteristic.c.key,
            reading.c.place,
            reading.c.entries,
            reading.c.amount,
            reading.c.verdict,
            reading.c.measured_at,
            reading.c.reason,
            corrected.c.uuid,
        )
        .join(characteristic, reading.c.characteristic_id == characteristic.c.id)
        .outerjoin(corrected, reading.c.supersedes_id == corrected.c.id)
    )
    photos = _photos(session, of_chain, chain.owner_id)
    rows = session.execute(of_chain(query, chain.owner_id), execution_options={"yield_per": ROWS_AT_ONCE})
    return {str(row[1]): _said(tuple(row), photos.get(row[0], [])) for row in rows}


def _said(row: tuple[Any, ...], photos: list[str]) -> Said:
    corrects = str(row[-1]) if row[-1] else None
    return Said._make((*row[2:-1], corrects, tuple(photos)))


Query = Select[*tuple[Any, ...]]
OfChain = Callable[[Query, int], Query]


def _of_building(query: Query, building_id: int) -> Query:
    return query.join(Panel, Reading.panel_id == Panel.id).where(Panel.building_id == building_id)


def _of_plant(query: Query, plant_id: int) -> Query:
    return query.join(Lot, Reading.lot_id == Lot.id).where(Lot.plant_id == plant_id)


def _photos(session: Session, of_chain: OfChain, owner_id: int) -> dict[int, list[str]]:
    query = select(Reading.id, reading_photo.c.photo_sha256).join(
        reading_photo, reading_photo.c.reading_id == Reading.id
    )
    ordered = of_chain(query, owner_id).order_by(Reading.id, reading_photo.c.photo_sha256)
    found: dict[int, list[str]] = {}
    for row in session.execute(ordered):
        found.setdefault(row[0], []).append(row[1])
    return found
