"""Readings out as a table, CSV and XLSX, and in again."""

import csv
from collections.abc import Iterator
from datetime import timedelta
from io import BytesIO, StringIO
from pathlib import Path
from uuid import UUID

import pytest
from openpyxl import load_workbook
from sqlalchemy import event, func, select
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument
from qc_app.work import find
from qc_app.work.export import EXPORT_COLUMNS, NUMBERS, readings_csv, readings_table, readings_xlsx
from qc_app.work.find import NotFound
from qc_app.work.instruments import add_instrument
from qc_app.work.readings_file import examine_readings, take_readings
from qc_app.work.record import NewReading, record
from qc_app.work.roles import NotAllowed
from qc_app.work.sheet import read_rows
from qc_app.work.standing import Item
from tests.conftest import NOW, Cast, stage

HOSTILE = '=HYPERLINK("http://example.invalid","a")'


def record_some(session: Session, cast: Cast) -> None:
    """Four readings, measured an hour, 50, 40 and 30 minutes ago; notes that a spreadsheet would run."""
    worker = cast.person(session, "worker")
    instruments = {i.kind: i for i in find.instruments(session, worker)}
    panel, lot = find.panel(session, worker, cast.panel), find.lot(session, worker, cast.lot)
    tape, meter = (instruments["tape"],), (instruments["moisture_meter"],)
    core = (instruments["core_cutter"], instruments["scale"])
    cored = {"mass": "60.0 g", "depth": "11 1/4", "tare": "0 g"}
    handed_in: list[tuple[Item, str, str, dict[str, str], tuple[Instrument, ...], str]] = [
        (panel, "edge_length", "AB", {"length": "23' 11 3/4"}, tape, HOSTILE),
        (panel, "core_density", "bay 3", cored, core, "-1\0"),
        (lot, "member_moisture", "member 1", {"percent": "14.0"}, meter, 'a,"b"\nc'),
        (panel, "nailing_check", "", {"passed": "no", "faults": "2"}, (), "'=1"),
    ]
    for number, (item, characteristic, place, entries, used, note) in enumerate(handed_in, 1):
        station_key = item.control_plan.plan.characteristic(item.kind, characteristic).station
        station = find.station(session, worker, station_key)
        measured_at = NOW - timedelta(minutes=70 - 10 * number)
        new = NewReading(
            UUID(int=number), item, station, characteristic, place, entries, measured_at, used, note
        )
        record(session, worker, new, NOW)


@pytest.fixture
def shop(sqlite_database: Database) -> Iterator[tuple[Session, Cast]]:
    """The shop on stage with four readings, and one reading in another plant."""
    cast = stage(sqlite_database)
    with sqlite_database.write() as session:
        record_some(session, cast)
    with sqlite_database.read() as session:
        yield session, cast


def lines_of(shop: tuple[Session, Cast]) -> list[dict[str, str]]:
    session, cast = shop
    content = readings_csv(session, cast.person(session, "lead")).decode("utf-8-sig")
    return list(csv.DictReader(StringIO(content, newline=""), strict=True))


def test_a_reading_is_exported_with_all_it_was_judged_by(shop: tuple[Session, Cast]) -> None:
    edge = lines_of(shop)[0]
    assert list(edge) == [column.name for column in EXPORT_COLUMNS]
    assert edge == {
        "reading_id": "00000000-0000-0000-0000-000000000001",
        "building": "H1",
        "mark": "R-01",
        "lot": "",
        "station": "sheathing_fence",
        "characteristic": "edge_length",
        "place": "AB",
        "value": "23' 11 3/4",
        "value_2": "",
        "value_3": "",
        "amount": "287.75",
        "unit": "in",
        "target": "288",
        "lower": "287.9375",
        "upper": "288.0625",
        "deviation": "-0.25",
        "verdict": "outside",
        "measured_at": "2026-03-02T14:00:00+00:00",
        "received_at": "2026-03-02T15:00:00+00:00",
        "person": "wren",
        "instruments": "Tape 4",
        "note": "'" + HOSTILE,
        "supersedes": "",
        "reason": "",
        "tablet": "",
        "photos": "",
    }


def test_every_kind_of_amount_has_its_unit(shop: tuple[Session, Cast]) -> None:
    _, core, moisture, check = lines_of(shop)
    assert [core[f"value{n}"] for n in ("", "_2", "_3")] == ["60.0 g", "11 1/4", "0 g"]
    assert (core["unit"], round(float(core["amount"]), 3)) == ("lb/ft³", 4.139)
    assert core["instruments"] == "Scale 1;Cutter 1"
    assert (moisture["lot"], moisture["mark"], moisture["building"]) == ("LOT-1", "", "")
    assert (moisture["amount"], moisture["unit"], moisture["target"], moisture["deviation"]) == (
        "14",
        "%",
        "",
        "",
    )
    assert (check["value"], check["value_2"], check["amount"], check["unit"]) == ("no", "2", "2", "")


def test_a_metric_shop_exports_millimetres(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    cast.person(session, "lead").plant.system = "metric"
    edge, core = lines_of(shop)[:2]
    # 1 in = 25.4 mm; 1 lb/ft³ = 16.01846 kg/m³ (NIST SP 811, appendix B.8)
    assert (edge["deviation"], edge["unit"]) == ("-6.35", "mm")
    assert (round(float(core["amount"]), 1), core["unit"]) == (66.3, "kg/m³")


def test_csv_follows_rfc_4180_and_nothing_in_it_runs(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    content = readings_csv(session, cast.person(session, "lead"))
    assert content.startswith(b"\xef\xbb\xbfreading_id,")
    assert content.endswith(b"\r\n")
    assert b"\0" not in content
    edge, core, moisture, check = lines_of(shop)
    assert moisture["note"] == 'a,"b"\nc'
    assert core["note"] == "'-1\ufffd"
    assert check["note"] == "''=1"
    for line in (edge, core, moisture, check):
        texts = [text for name, text in line.items() if name not in NUMBERS]
        assert not [text for text in texts if text.startswith(tuple("=+-@\t\r\n\0"))]


def test_the_table_holds_numbers(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    table = readings_table(session, cast.person(session, "lead"))
    assert list(table.columns) == [column.name for column in EXPORT_COLUMNS]
    assert {str(table[column].dtype) for column in NUMBERS} == {"float64"}
    assert table["deviation"].isna().tolist() == [False, False, True, True]


def test_a_workbook_holds_numbers_and_text_but_no_formula(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    content = readings_xlsx(session, cast.person(session, "lead"))
    rows = list(load_workbook(BytesIO(content)).worksheets[0].iter_rows())
    header = [str(cell.value) for cell in rows[0]]
    edge = dict(zip(header, rows[1], strict=True))
    assert (edge["deviation"].value, edge["deviation"].data_type) == (-0.25, "n")
    assert (edge["note"].value, edge["note"].data_type) == (HOSTILE, "s")
    assert "f" not in {cell.data_type for row in rows for cell in row}


def test_what_was_exported_is_here_already(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    manager = cast.person(session, "manager")
    before = session.scalar(select(func.count()).select_from(Event))
    for name, export in (("a.csv", readings_csv), ("a.xlsx", readings_xlsx)):
        taken = take_readings(session, manager, name, export(session, manager), NOW)
        assert (taken.added, taken.unchanged, taken.bad) == (0, 4, ())
    assert session.scalar(select(func.count()).select_from(Event)) == before


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_was_exported_can_be_taken_by_a_shop_with_the_same_schedule(
    shop: tuple[Session, Cast], kind: str, tmp_path: Path
) -> None:
    session, cast = shop
    export = readings_csv if kind == "csv" else readings_xlsx
    content = export(session, cast.person(session, "lead"))
    elsewhere = Database(str(tmp_path / "elsewhere.db"))
    elsewhere.migrate()
    other = stage(elsewhere)
    name = f"a.{kind}"
    with elsewhere.write() as theirs:
        manager = other.person(theirs, "manager")
        assert take_readings(theirs, manager, name, content, NOW).added == 4
        assert read_rows(name, export(theirs, manager)) == read_rows(name, content)
        notes = list(theirs.scalars(select(Reading.note).order_by(Reading.measured_at)))
        assert notes == [HOSTILE, "-1\ufffd", 'a,"b"\nc', "'=1"]
    elsewhere.close()


def test_one_building_is_exported_without_the_lots_and_only_to_its_plant(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    building = find.building(session, cast.person(session, "lead"), cast.building)
    table = readings_table(session, cast.person(session, "lead"), building)
    assert table["mark"].tolist() == ["R-01", "R-01", "R-01"]
    with pytest.raises(NotFound):
        readings_csv(session, cast.person(session, "stranger"), building)


def test_another_plant_sees_none_of_it(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    assert readings_table(session, cast.person(session, "stranger")).empty
    assert readings_csv(session, cast.person(session, "stranger")).count(b"\r\n") == 1


def test_a_worker_may_not_export(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    for export in (readings_table, readings_csv, readings_xlsx):
        with pytest.raises(NotAllowed):
            export(session, cast.person(session, "worker"))


def test_the_number_of_queries_does_not_grow_with_the_readings(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    lead = cast.person(session, "lead")
    readings_table(session, lead)
    queries: list[str] = []
    event.listen(session.get_bind(), "before_cursor_execute", lambda *given: queries.append(given[2]))
    readings_table(session, lead)
    assert len(queries) <= 4


def test_a_correction_names_what_it_corrects(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    with sqlite_database.write() as session:
        record_some(session, cast)
        first = session.scalars(select(Reading).order_by(Reading.id)).first()
        assert first is not None
        columns = {c.key: getattr(first, c.key) for c in Reading.__table__.columns if c.key != "id"}
        session.add(Reading(**columns | {"uuid": UUID(int=99), "supersedes_id": first.id, "note": "misread"}))
    with sqlite_database.read() as session:
        manager = cast.person(session, "manager")
        table = readings_table(session, manager).set_index("reading_id")
        assert table.loc[str(UUID(int=99)), "supersedes"] == str(UUID(int=1))
        again = examine_readings(session, manager, "a.csv", readings_csv(session, manager), NOW)
        assert (again.unchanged, again.bad) == (5, ())


def test_names_of_instruments_from_a_shop_are_guarded_too(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    with sqlite_database.write() as session:
        manager = cast.person(session, "manager")
        add_instrument(session, manager, "tape", "@tape", None, NOW)
        panel = find.panel(session, manager, cast.panel)
        tape = next(i for i in find.instruments(session, manager, ("tape",)) if i.name == "@tape")
        station = find.station(session, manager, "sheathing_fence")
        new = NewReading(UUID(int=7), panel, station, "edge_length", "AB", {"length": "24'"}, NOW, (tape,))
        record(session, manager, new, NOW)
        content = readings_csv(session, manager)
        assert b",'@tape," in content
        assert examine_readings(session, manager, "a.csv", content, NOW).unchanged == 1
