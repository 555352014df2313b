"""The first sheet of an XLSX workbook, opened as a file that may have been made to do harm.

The size it unpacks to, the kind of packing and any document type (which could hold entities that multiply)
are looked at before anything is parsed.
"""

import warnings
from collections.abc import Iterator
from contextlib import suppress
from datetime import date, datetime, time
from decimal import Decimal
from io import BytesIO
from typing import TYPE_CHECKING, Any
from xml.parsers import expat
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from qc_app.refusal import Refusal
from qc_app.work.cell import Cell, text_cell

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell as AnyCell
    from openpyxl.cell.cell import MergedCell

MOST_PARTS = 1000
MOST_UNPACKED_BYTES = 100_000_000
MOST_TIMES_UNPACKED = 200
"""A table of readings packs to about a tenth; more than this is made to fill the memory."""
MOST_MARKS = 8_000_000
"""Marks ``<`` in one part: 50 000 rows of 25 cells have fewer."""
LAST_ROW = 1_048_576
"""Rows that a sheet can have in common practice; a file may claim any number."""
LAST_COLUMN = 200

SIGNIFICANT_DIGITS = 12
"""Of a number in a sheet: more are noise of binary arithmetic."""


def read_workbook(name: str, content: bytes) -> Iterator[tuple[int, list[Cell]]]:
    """The rows of the first sheet with their numbers, the first is 1; blank ones come as no cells.

    A formula is a faulty cell: what it last showed cannot be trusted.

    Raises
    ------
    Refusal
        If it is no workbook, is damaged, or unpacks to more than is taken.
    """
    _check_archive(name, content)
    # The reader meets a damaged file with whatever error its parts raise; all mean the same here.
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield from _rows(name, content)
    except Refusal:
        raise
    except Exception as error:
        raise _unreadable(name) from error


def _rows(name: str, content: bytes) -> Iterator[tuple[int, list[Cell]]]:
    from openpyxl import load_workbook

    book = load_workbook(BytesIO(content), read_only=True, keep_links=False)
    sheet = book.worksheets[0]
    # What the file says of its size may be wrong; without it each row is as wide as its own last cell.
    sheet.reset_dimensions()
    for number, cells in enumerate(sheet.iter_rows(), 1):
        if number > LAST_ROW or len(cells) > LAST_COLUMN:
            raise Refusal(
                "“{name}” reaches beyond column {column} or row {row}.",
                name=name,
                column=LAST_COLUMN,
                row=LAST_ROW,
            )
        yield number, [_cell(cell) for cell in cells]


def _cell(cell: "AnyCell | MergedCell") -> Cell:
    if cell.data_type == "f":
        return text_cell(str(getattr(cell.value, "text", cell.value)))._replace(fault="a formula")
    if cell.data_type == "e":
        return text_cell(str(cell.value))._replace(fault="an error")
    return text_cell(_text(cell.value))


def _text(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "TRUE" if value else "FALSE"
        case float():
            return plain_number(value)
        case datetime() | date() | time():
            return value.isoformat()
        case _:
            return str(value)


def plain_number(value: float) -> str:
    """A number as a sheet shows it: no exponent, no idle zeros, no noise of binary arithmetic.

    >>> plain_number(335.18750000001), plain_number(14.0), plain_number(1e-7)
    ('335.1875', '14', '0.0000001')
    """
    number = Decimal(f"{value:.{SIGNIFICANT_DIGITS}g}")
    return f"{number:f}"


def _check_archive(name: str, content: bytes) -> None:
    try:
        with ZipFile(BytesIO(content)) as archive:
            _check_sizes(name, archive.infolist(), len(content))
            for part in archive.infolist():
                _check_part(name, part.filename, archive.read(part))
    except (BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError, ValueError) as error:
        if isinstance(error, Refusal):
            raise
        raise _unreadable(name) from error


def _check_sizes(name: str, parts: list[ZipInfo], packed: int) -> None:
    unpacked = sum(part.file_size for part in parts)
    if len(parts) > MOST_PARTS or unpacked > min(MOST_UNPACKED_BYTES, packed * MOST_TIMES_UNPACKED):
        raise Refusal("“{name}” unpacks to far more than a table of this kind holds.", name=name)
    # Other packings do not keep to the size they state.
    if any(part.compress_type not in (ZIP_STORED, ZIP_DEFLATED) for part in parts):
        raise _unreadable(name)


def _check_part(name: str, part: str, content: bytes) -> None:
    if content.count(b"<") > MOST_MARKS:
        raise Refusal("“{name}” unpacks to far more than a table of this kind holds.", name=name)
    _refuse_document_type(name, part, content)


class _StopError(Exception):
    """Ends the reading of an XML part at its root."""


def _refuse_document_type(name: str, part: str, content: bytes) -> None:
    """Asks the XML parser, since an encoding can hide a document type from a search for its bytes."""

    def document_type(*_: object) -> None:
        raise Refusal("“{name}” holds a document type, which no table needs ({part}).", name=name, part=part)

    def root(*_: object) -> None:
        raise _StopError

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = document_type
    parser.StartElementHandler = root
    # A part that is no XML, such as a picture, is for the reader to refuse if it needs it.
    with suppress(_StopError, expat.ExpatError, LookupError, UnicodeError):
        parser.Parse(content, True)


def _unreadable(name: str) -> Refusal:
    return Refusal("“{name}” is damaged, protected by a password, or no XLSX workbook.", name=name)
