"""All readings of a plant as a table, a CSV file or an XLSX workbook.

Numbers are numbers in both files, in the shop's unit. CSV follows RFC 4180, in UTF-8 with a byte order mark;
text that a spreadsheet might run as a formula has an apostrophe in front, which importing takes away again.
In XLSX text is stored as text, which no program runs, so it needs none.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from io import BytesIO
from math import isnan
from typing import TYPE_CHECKING, Any

from sqlalchemy import Row as SelectedRow
from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session, aliased

from qc_app.plan.quantity import Quantity, Units, axis_unit, plotted
from qc_app.records.building import Building, Lot, Panel
from qc_app.records.control_plan import Characteristic, ControlPlan
from qc_app.records.photo import Photo, reading_photo
from qc_app.records.reading import Reading, reading_instrument
from qc_app.records.shop import Instrument, Person, Station
from qc_app.records.tablet import Tablet
from qc_app.work.cell import guarded, printable
from qc_app.work.delimited import BYTE_ORDER_MARK
from qc_app.work.find import NotFound
from qc_app.work.readings_file import VALUES
from qc_app.work.roles import Act, require
from qc_app.work.sheet import Column

if TYPE_CHECKING:
    import pandas as pd

EXPORT_COLUMNS = (
    Column("reading_id", True, "UUID of the reading.", "0f5c9a52-6c1e-4d57-9d2e-2f6f5f0c7a11"),
    Column("building", True, "Code of the building; empty for a lot.", "H1"),
    Column("mark", True, "Mark of the panel; empty for a lot.", "R-01"),
    Column("lot", True, "Mark of the lot; empty for a panel.", ""),
    Column("station", True, "Key of the station.", "sheathing_fence"),
    Column("characteristic", True, "Key of the characteristic.", "edge_length"),
    Column("place", True, "Where on the panel or lot.", "AB"),
    Column("value", True, "First entry as typed.", "24' 0 1/16\""),
    Column("value_2", True, "Second entry as typed.", ""),
    Column("value_3", True, "Third entry as typed.", ""),
    Column("amount", True, "What the entries amount to, a number in the unit.", "288.0625"),
    Column("unit", True, "Unit of all numbers of the row; empty for a count.", "in"),
    Column("target", True, "Target at the time; empty where there is none.", "288"),
    Column("lower", True, "Lower limit of tolerance at the time.", "287.9375"),
    Column("upper", True, "Upper limit of tolerance at the time.", "288.0625"),
    Column("deviation", True, "Amount less target; empty where there is no target.", "0.0625"),
    Column("verdict", True, "Verdict at the time.", "within"),
    Column("measured_at", True, "When it was measured, in UTC, ISO 8601.", "2026-03-02T14:30:00+00:00"),
    Column("received_at", True, "When the log received it, in UTC, ISO 8601.", "2026-03-02T14:30:02+00:00"),
    Column("person", True, "Sign-in name of who measured.", "wren"),
    Column("instruments", True, "Names of the instruments, between semicolons.", "Tape 4"),
    Column("note", True, "Note.", ""),
    Column("supersedes", True, "UUID of the reading that this one corrects.", ""),
    Column("reason", True, "Why it was corrected.", ""),
    Column("tablet", True, "Name of the tablet it was entered on; empty for any other browser.", "Fence"),
    Column("photos", True, "SHA-256 of each photo, between semicolons.", ""),
)
"""What an exported file holds, in this order."""

NUMBERS = ("amount", "target", "lower", "upper", "deviation")
DIGITS = 12
"""Significant digits of a number in CSV: a nanometre on a panel of 300 m, and no noise beyond."""


def readings_table(session: Session, person: Person, building: Building | None = None) -> "pd.DataFrame":
    """All readings of the person's plant, or of one building, in the order they were measured.

    Raises
    ------
    NotAllowed, NotFound
        If the person may not export, or the building is of another plant.
    """
    import pandas as pd

    require(person, Act.EXPORT)
    if building is not None and building.plant_id != person.plant_id:
        raise NotFound("There is no such building in this plant.")
    plans = _plans(session, person)
    instruments, photos = _instruments(session, person), _photos(session, person)
    units = person.plant.units
    records = [
        (
            *_record(found, plans[found.control_plan_id], instruments.get(found.id, ()), units),
            ";".join(photos.get(found.id, ())),
        )
        for found in session.execute(_readings(person, building))
    ]
    table = pd.DataFrame(records, columns=[column.name for column in EXPORT_COLUMNS])
    return table.astype(dict.fromkeys(NUMBERS, float))


def readings_csv(session: Session, person: Person, building: Building | None = None) -> bytes:
    """The readings as a CSV file; raises as ``readings_table``."""
    table = readings_table(session, person, building)
    for column in [column for column in table.columns if column not in NUMBERS]:
        written = {text: guarded(printable(text)) for text in table[column].unique()}
        table[column] = table[column].map(written)
    text = table.to_csv(index=False, lineterminator="\r\n", float_format=f"%.{DIGITS}g")
    return (BYTE_ORDER_MARK + text).encode()


def readings_xlsx(session: Session, person: Person, building: Building | None = None) -> bytes:
    """The readings as an XLSX workbook; raises as ``readings_table``."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell

    table = readings_table(session, person, building)
    book = Workbook(write_only=True)
    sheet = book.create_sheet("Readings")
    sheet.freeze_panes = "A2"

    def cell(value: str | float) -> object:
        if not isinstance(value, str):
            return None if isnan(value) else value
        text = printable(value)
        if not text.startswith("="):
            return text or None
        as_text = WriteOnlyCell(sheet, text)
        as_text.data_type = "s"
        return as_text

    sheet.append(list(table.columns))
    for record in table.itertuples(index=False, name=None):
        sheet.append([cell(value) for value in record])
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def _readings(person: Person, building: Building | None) -> Select[*tuple[Any, ...]]:
    corrected = aliased(Reading)
    query: Select[*tuple[Any, ...]] = (
        select(
            Reading.id,
            Reading.uuid,
            Building.code.label("building"),
            Panel.mark,
            Lot.mark.label("lot"),
            Station.key.label("station"),
            Characteristic.control_plan_id,
            Characteristic.kind,
            Characteristic.key.label("characteristic"),
            Characteristic.quantity,
            Reading.place,
            Reading.entries,
            Reading.amount,
            Reading.target,
            Reading.lower,
            Reading.upper,
            Reading.verdict,
            Reading.measured_at,
            Reading.received_at,
            Person.sign_in_name.label("person"),
            Reading.note,
            corrected.uuid.label("supersedes"),
            Reading.reason,
            Tablet.name.label("tablet"),
        )
        .join(Characteristic, Reading.characteristic_id == Characteristic.id)
        .join(Station, Reading.station_id == Station.id)
        .join(Person, Reading.person_id == Person.id)
        .outerjoin(Panel, Reading.panel_id == Panel.id)
        .outerjoin(Building, Panel.building_id == Building.id)
        .outerjoin(Lot, Reading.lot_id == Lot.id)
        .outerjoin(Tablet, Reading.tablet_id == Tablet.id)
        .outerjoin(corrected, Reading.supersedes_id == corrected.id)
        .where(or_(Building.plant_id == person.plant_id, Lot.plant_id == person.plant_id))
        .order_by(Reading.measured_at, Reading.id)
    )
    return query if building is None else query.where(Panel.building_id == building.id)


def _plans(session: Session, person: Person) -> dict[int, ControlPlan]:
    found = session.scalars(select(ControlPlan).where(ControlPlan.plant_id == person.plant_id))
    return {version.id: version for version in found}


def _instruments(session: Session, person: Person) -> dict[int, list[str]]:
    """Names of the instruments of each reading that used any."""
    used = session.execute(
        select(reading_instrument.c.reading_id, Instrument.name)
        .join(Instrument, reading_instrument.c.instrument_id == Instrument.id)
        .where(Instrument.plant_id == person.plant_id)
        .order_by(reading_instrument.c.reading_id, Instrument.id)
    )
    return _by_reading(used)


def _photos(session: Session, person: Person) -> dict[int, list[str]]:
    """SHA-256 of the photos of each reading that has any."""
    shown = session.execute(
        select(reading_photo.c.reading_id, Photo.sha256)
        .join(Photo, reading_photo.c.photo_sha256 == Photo.sha256)
        .where(Photo.plant_id == person.plant_id)
        .order_by(reading_photo.c.reading_id, Photo.sha256)
    )
    return _by_reading(shown)


def _by_reading(named: Iterable[SelectedRow[int, str]]) -> dict[int, list[str]]:
    names: dict[int, list[str]] = defaultdict(list)
    for reading_id, name in named:
        names[reading_id].append(name)
    return names


def _record(
    found: SelectedRow[Any], version: ControlPlan, instruments: Iterable[str], units: Units
) -> tuple[Any, ...]:
    """One row but for its photos, in the order of ``EXPORT_COLUMNS``."""
    quantity = Quantity(found.quantity)
    deviation = None if found.target is None else found.amount - found.target
    amount, target, lower, upper, deviation = (
        None if grains is None else plotted(quantity, grains, units)
        for grains in (found.amount, found.target, found.lower, found.upper, deviation)
    )
    return (
        str(found.uuid),
        found.building or "",
        found.mark or "",
        found.lot or "",
        found.station,
        found.characteristic,
        found.place,
        *_typed(version.plan.characteristic(found.kind, found.characteristic).method.fields, found.entries),
        amount,
        axis_unit(quantity, units),
        target,
        lower,
        upper,
        deviation,
        found.verdict,
        _iso(found.measured_at),
        _iso(found.received_at),
        found.person,
        ";".join(instruments),
        found.note,
        str(found.supersedes or ""),
        found.reason,
        found.tablet or "",
    )


def _typed(fields: Sequence[Any], entries: dict[str, str]) -> list[str]:
    return ([entries.get(field.key, "") for field in fields] + [""] * len(VALUES))[: len(VALUES)]


def _iso(time: datetime) -> str:
    return time.isoformat()
