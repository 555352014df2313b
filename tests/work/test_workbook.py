"""XLSX workbooks: what the cells say, and workbooks made to do harm."""

import zlib
from collections.abc import Callable
from datetime import date, datetime, time
from io import BytesIO
from zipfile import ZIP_BZIP2, ZIP_DEFLATED, ZipFile

import pytest
from openpyxl import Workbook

from qc_app.refusal import Refusal
from qc_app.work.sheet import BESIDE, MOST_ROWS, Row, read_rows
from qc_app.work.workbook import LAST_ROW, plain_number

SHEET = "xl/worksheets/sheet1.xml"
SHEET_START = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'


def workbook(*rows: list[object]) -> bytes:
    """An XLSX workbook with these rows."""
    book = Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    file = BytesIO()
    book.save(file)
    return file.getvalue()


def rebuilt(change: Callable[[str, bytes], bytes], *, packing: int = ZIP_DEFLATED, more: int = 0) -> bytes:
    """A small workbook with each part changed, and more parts added."""
    file = BytesIO()
    with ZipFile(BytesIO(workbook(["mark"], ["R-01"]))) as old, ZipFile(file, "w", packing) as new:
        for part in old.infolist():
            new.writestr(part.filename, change(part.filename, old.read(part)))
        for number in range(more):
            new.writestr(f"xl/media/{number}", b"")
    return file.getvalue()


def with_rows(rows: str) -> bytes:
    """A workbook whose sheet holds this XML."""
    sheet = f"{SHEET_START}{rows}</sheetData></worksheet>"
    return rebuilt(lambda name, content: sheet.encode() if name == SHEET else content)


def test_cells_come_as_a_sheet_shows_them() -> None:
    values = [
        "007",
        335.1875,
        335.18750000001,
        14.0,
        3,
        0.1 + 0.2,
        -0.25,
        1e-7,
        123456789012,
        True,
        None,
        datetime(2026, 3, 2, 9, 30),  # noqa: DTZ001 (a sheet knows no zones)
        date(2026, 3, 2),
        time(9, 30),
    ]
    (row,) = read_rows("a.xlsx", workbook([f"c{n}" for n in range(len(values))], values))
    assert list(row.values.values()) == [
        *("007", "335.1875", "335.1875", "14", "3", "0.3", "-0.25", "0.0000001", "123456789012", "TRUE", ""),
        *("2026-03-02T09:30:00", "2026-03-02T00:00:00", "09:30:00"),
    ]


def test_every_64th_of_an_inch_comes_as_its_exact_decimals() -> None:
    assert [float(plain_number(4000 + n / 64)) for n in range(64)] == [4000 + n / 64 for n in range(64)]


def test_a_formula_is_faulty_whatever_it_last_showed() -> None:
    cells = '<c r="A2" t="str"><f>CONCATENATE("R-","01")</f><v>R-01</v></c><c r="B2"><f>1+1</f><v>2</v></c>'
    content = with_rows(
        '<row r="1"><c r="A1" t="inlineStr"><is><t>mark</t></is></c>'
        f'<c r="B1" t="inlineStr"><is><t>length</t></is></c></row><row r="2">{cells}</row>'
    )
    (row,) = read_rows("a.xlsx", content)
    assert row.faults == {"mark": "a formula", "length": "a formula"}


def test_an_error_is_faulty() -> None:
    (row,) = read_rows("a.xlsx", workbook(["mark", "length"], ["R-01", "#DIV/0!"]))
    assert row.faults == {"length": "an error"}


def test_text_that_looks_like_a_formula_is_text() -> None:
    cell = '<c r="A2" t="inlineStr"><is><t>=1+1</t></is></c>'
    content = with_rows(
        f'<row r="1"><c r="A1" t="inlineStr"><is><t>mark</t></is></c></row><row r="2">{cell}</row>'
    )
    assert read_rows("a.xlsx", content) == [Row(2, {"mark": "=1+1"})]


def test_blank_rows_and_missing_cells_keep_the_numbers() -> None:
    rows = read_rows("a.xlsx", workbook(["mark", None, "note"], [], ["R-01"], ["R-02", None, "x", "beside"]))
    assert [(row.number, dict(row.values)) for row in rows] == [
        (3, {"mark": "R-01", "note": ""}),
        (4, {"mark": "R-02", "note": "x"}),
    ]
    assert list(rows[1].faults) == [BESIDE]


def test_only_the_first_sheet_is_read() -> None:
    book = Workbook()
    for sheet, mark in ((book.worksheets[0], "R-01"), (book.create_sheet("more"), "R-02")):
        sheet.append(["mark"])
        sheet.append([mark])
    file = BytesIO()
    book.save(file)
    assert [row.values["mark"] for row in read_rows("a.xlsx", file.getvalue())] == ["R-01"]


LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10 if n else "ha"}">' for n in range(10))
BOMB = f"<?xml version='1.0'?><!DOCTYPE r [{LAUGHS}]><r>&l9;</r>"
OUTSIDE = "<?xml version='1.0'?><!DOCTYPE r [<!ENTITY e SYSTEM 'file:///etc/hostname'>]><r>&e;</r>"


@pytest.mark.parametrize("bomb", [BOMB, OUTSIDE], ids=["multiplying", "outside"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp037"])
@pytest.mark.parametrize("part", [SHEET, "xl/workbook.xml", "[Content_Types].xml", "docProps/core.xml"])
def test_entities_are_never_expanded(bomb: str, encoding: str, part: str) -> None:
    text = bomb.replace("?>", f" encoding='{encoding}'?>", 1)
    content = rebuilt(lambda name, old: text.encode(encoding) if name == part else old)
    # The parser does not recognise code page 37, so there it finds damage instead.
    with pytest.raises(Refusal, match="damaged" if encoding == "cp037" else "document type"):
        read_rows("a.xlsx", content)


def _padded(name: str, content: bytes) -> bytes:
    return content + b" " * 9_000_000 if name == SHEET else content


def _oversized() -> bytes:
    file = BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as archive:
        for number in range(11):
            archive.writestr(f"{number}.xml", b" " * 9_100_000)
        archive.writestr("noise", zlib.compress(bytes(range(256)) * 100, 0) * 40)
    return file.getvalue()


HARMFUL: dict[str, Callable[[], bytes]] = {
    "ratio": lambda: rebuilt(_padded),
    "size": _oversized,
    "parts": lambda: rebuilt(lambda _, content: content, more=1001),
    "tags": lambda: rebuilt(lambda name, content: content + b"<" * 8_000_001 if name == SHEET else content),
}


@pytest.mark.parametrize("harm", HARMFUL)
def test_what_unpacks_to_far_too_much_is_refused(harm: str) -> None:
    with pytest.raises(Refusal, match="unpacks to far more"):
        read_rows("a.xlsx", HARMFUL[harm]())


GOOD = workbook(["mark"], ["R-01"])
DAMAGED = {
    "cut": GOOD[: len(GOOD) // 2],
    "flipped": GOOD[:200] + bytes(byte ^ 0xFF for byte in GOOD[200:400]) + GOOD[400:],
    "only the signature": b"PK\x03\x04",
    "other packing": rebuilt(lambda _, content: content, packing=ZIP_BZIP2),
    "no sheet": rebuilt(lambda name, content: b"" if name == SHEET else content),
    "no workbook": rebuilt(lambda name, content: b"<a/>" if name == "xl/workbook.xml" else content),
    "not a number": with_rows('<row r="1"><c r="A1"><v>NaN</v></c></row>'),
    "no such text": with_rows('<row r="1"><c r="A1" t="s"><v>99</v></c></row>'),
    "no such column": with_rows('<row r="1"><c r="AAAA1"><v>1</v></c></row>'),
}


@pytest.mark.parametrize("damage", DAMAGED)
def test_a_damaged_workbook_is_refused(damage: str) -> None:
    with pytest.raises(Refusal, match="is damaged, protected by a password, or no XLSX workbook"):
        read_rows("a.xlsx", DAMAGED[damage])


@pytest.mark.parametrize(
    "rows",
    [
        '<row r="1"><c r="XFD1"/></row>',
        f'<row r="1"><c r="A1"><v>1</v></c></row><row r="{LAST_ROW * 1000}"><c r="A9"><v>1</v></c></row>',
    ],
    ids=["wide", "long"],
)
def test_a_sheet_that_claims_to_be_vast_is_refused_at_once(rows: str) -> None:
    with pytest.raises(Refusal, match="reaches beyond"):
        read_rows("a.xlsx", with_rows(rows))


def test_a_claim_of_size_is_not_believed() -> None:
    claimed = SHEET_START.replace("<sheetData>", '<dimension ref="A1:XFD1048576"/><sheetData>')
    header = '<row r="1"><c r="A1" t="inlineStr"><is><t>mark</t></is></c></row>'
    text = f'{header}<row r="2"><c r="A2"><v>7</v></c></row>'
    sheet = f"{claimed}{text}</sheetData></worksheet>".encode()
    content = rebuilt(lambda name, old: sheet if name == SHEET else old)
    assert read_rows("a.xlsx", content) == [Row(2, {"mark": "7"})]


def test_more_rows_than_are_taken_at_once_are_refused() -> None:
    rows = "".join(f'<row r="{n}"><c r="A{n}"><v>{n * 7919}</v></c></row>' for n in range(1, MOST_ROWS + 3))
    with pytest.raises(Refusal, match="more than 50000 rows"):
        read_rows("a.xlsx", with_rows(rows))


def test_a_text_of_ten_megabytes_is_a_faulty_cell() -> None:
    noise = "".join(f"{n:x}" for n in range(1_000_000))
    content = with_rows(
        '<row r="1"><c r="A1" t="inlineStr"><is><t>mark</t></is></c></row>'
        f'<row r="2"><c r="A2" t="inlineStr"><is><t>{noise}</t></is></c></row>'
    )
    (row,) = read_rows("a.xlsx", content)
    assert row.faults == {"mark": "more than 4000 characters"}
    assert len(row.values["mark"]) <= 40
