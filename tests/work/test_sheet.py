"""Rows of CSV files, and what is refused."""

import doctest
import subprocess
import sys
from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.work import cell, local_time, sheet, workbook
from qc_app.work.cell import LONGEST_CELL, guarded, unguarded
from qc_app.work.delimited import write_delimited
from qc_app.work.sheet import BESIDE, MOST_BYTES, MOST_ROWS, Column, Row, check_columns, read_rows

UNREADABLE = [
    ("empty.csv", b"", "is empty"),
    ("header.csv", b"mark,length\r\n", "no rows below its header"),
    ("blank.csv", b"\r\nR-01\r\n", "first row"),
    ("photo.csv", b"\x89PNG\r\n\x1a\n\xff\xd8", "not text in UTF-8"),
    ("wide.csv", "mark\r\nR-01".encode("utf-16"), "not text in UTF-8"),
    ("latin.csv", "mark\r\nM\u00fcller".encode("latin-1"), "not text in UTF-8"),
    ("nul.csv", b"mark\r\nR-\x0001", "character number zero"),
    ("sheet.csv", b"PK\x03\x04mark", "not the text its name says"),
    ("sheet.xlsx", b"mark\r\nR-01", "not the XLSX workbook its name says"),
    ("old.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "protected by a password"),
    ("program.exe", b"mark\r\nR-01", "neither CSV nor XLSX"),
    ("mark", b"mark\r\nR-01", "neither CSV nor XLSX"),
    ("open.csv", b'mark,note\r\nR-01,"never closed\r\nR-02,\r\n', "from row 2 on"),
    ("twice.csv", b"mark,Bay Width,bay-width\r\nR-01,1,2", "column bay_width twice"),
    ("columns.csv", ",".join(f"c{n}" for n in range(201)).encode() + b"\r\n1", "more than 200 columns"),
    ("cell.csv", b"mark,note\r\nR-01," + b"x" * 9_000_000, "a cell is too long"),
    ("large.csv", b"x" * (MOST_BYTES + 1), "larger than 10 MB"),
    ("long.csv", b"mark\r\n" + b"R\r\n" * (MOST_ROWS + 1), "more than 50000 rows"),
]


@pytest.mark.parametrize(("name", "content", "reason"), UNREADABLE, ids=[case[0] for case in UNREADABLE])
def test_a_file_that_is_no_table_is_refused_in_one_sentence(name: str, content: bytes, reason: str) -> None:
    with pytest.raises(Refusal, match=reason) as refused:
        read_rows(name, content)
    assert len(str(refused.value)) < 200
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_the_usual_ways_to_write_a_table_are_read_alike(separator: str, mark: bytes, line_end: str) -> None:
    lines = [
        separator.join(("Mark", "Bay  Width", "note")),
        separator.join(("R-01", "22 1/2″", '"Otto; said, ""fine"""')),
    ]
    (row,) = read_rows("a.CSV", mark + line_end.join(lines).encode())
    assert row == Row(2, {"mark": "R-01", "bay_width": "22 1/2″", "note": 'Otto; said, "fine"'})


def test_text_stays_exactly_as_typed() -> None:
    content = b"mark,a,b,c,d,e\r\n007, 1.50 ,NA,null,1e5,335.1875\r\n"
    (row,) = read_rows("a.csv", content)
    assert list(row.values.values()) == ["007", " 1.50 ", "NA", "null", "1e5", "335.1875"]


def test_inch_marks_inside_a_cell_need_no_quotation() -> None:
    (row,) = read_rows("a.csv", b"mark,length\r\nR-01,27' 11 3/16\"\r\n")
    assert row.values["length"] == "27' 11 3/16\""


def test_rows_are_numbered_as_a_spreadsheet_shows_them() -> None:
    rows = read_rows("a.csv", b'mark,note\r\nR-01,"two\r\nlines"\r\n\r\n , \r\nR-02,\r\n')
    assert [(row.number, row.values["mark"]) for row in rows] == [(2, "R-01"), (5, "R-02")]


def test_a_short_row_is_filled_up_and_a_long_one_is_faulty() -> None:
    short, long, trailing = read_rows("a.csv", b"mark,note\r\nR-01\r\nR-02,a,b\r\nR-03,a,,\r\n")
    assert short == Row(2, {"mark": "R-01", "note": ""})
    assert long.faults == {BESIDE: "more cells than the header"}
    assert not trailing.faults


@pytest.mark.parametrize("text", ["\x01", "bell\x07", "\x1b[31m", "del\x7f", "x" * (LONGEST_CELL + 1)])
def test_a_cell_that_holds_no_text_or_too_much_is_faulty_and_harmless(text: str) -> None:
    (row,) = read_rows("a.csv", f"mark,note\r\nR-01,{text}\r\n".encode())
    assert "note" in row.faults
    assert row.values["note"].isprintable()


def test_required_columns_that_are_missing_are_named() -> None:
    columns = (Column("mark", True, ""), Column("length", True, ""), Column("note", False, ""))
    with pytest.raises(Refusal, match="lacks the column length"):
        check_columns("a.csv", [Row(2, {"mark": "R-01"})], columns)


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\tx", "\rx", "\nx", "\0x", "'=1", "''-1"])
def test_text_that_a_spreadsheet_might_run_is_guarded(text: str) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @ TAB CR LF
    assert guarded(text) == "'" + text
    assert unguarded(guarded(text)) == text


@given(st.text())
def test_guarding_loses_nothing(text: str) -> None:
    assert unguarded(guarded(text)) == text


TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc", "Cn"]) | st.sampled_from("\t\r\n"), max_size=20)


@given(st.lists(TEXT.filter(lambda text: text.strip() != ""), min_size=1, max_size=5))
def test_a_written_file_reads_back_the_same(texts: list[str]) -> None:
    names = [f"c{number}" for number in range(len(texts))]
    (row,) = read_rows("a.csv", write_delimited([names, texts]))
    assert list(row.values.values()) == [
        text.replace("\ufffe", "\ufffd").replace("\uffff", "\ufffd") for text in texts
    ]


@given(st.binary(max_size=300))
def test_no_content_does_anything_but_read_or_refuse(content: bytes) -> None:
    for name in ("a.csv", "a.xlsx"):
        for start in (b"", b"mark,length\r\n", b"PK\x03\x04"):
            try:
                read_rows(name, start + content)
            except Refusal:
                continue


def test_importing_the_work_loads_neither_pandas_nor_openpyxl() -> None:
    modules = "qc_app.work.sheet, qc_app.work.schedule_file, qc_app.work.readings_file, qc_app.work.export"
    program = f"import sys, {modules}; print({{'pandas', 'openpyxl'}} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


@pytest.mark.parametrize("module", [cell, local_time, sheet, workbook])
def test_the_examples_in_the_docstrings_hold(module: ModuleType) -> None:
    assert doctest.testmod(module).attempted > 0
    assert doctest.testmod(module).failed == 0
