"""Rows of a file that somebody hands in, CSV or XLSX, and the report of what became of them.

Every cell comes as the text that was typed. Good rows are taken, bad ones reported so that they can be mended
and handed in again.

Column names are matched ignoring capitals, space around them, and whether words are joined by spaces,
underscores or dashes. Blank rows are passed over; columns without a name are too, unless a row has more
cells than the header.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Protocol, TypeVar

from qc_app.refusal import Refusal, shortened
from qc_app.work.cell import Cell
from qc_app.work.delimited import read_delimited, write_delimited
from qc_app.work.workbook import LAST_COLUMN, read_workbook

MOST_BYTES = 10_000_000
MOST_ROWS = 50_000

BESIDE = ""
"""The column of a fault in a cell beside the table."""

REPORTED = ("row", "column", "reason")
"""Columns added to bad rows; they are passed over when the file is imported again."""

_TEXT_ENDINGS = (".csv", ".tsv", ".txt")
_ZIP, _COMPOUND_FILE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"

Lines = Iterator[tuple[int, list[Cell]]]


@dataclass(frozen=True)
class Column:
    """One column that a file may or must have, as documented to whoever makes the file."""

    name: str
    required: bool
    description: str
    example: str = ""


@dataclass(frozen=True)
class Row:
    """One row by column name; ``number`` is the row as a spreadsheet shows it, where the header is row 1.

    ``faults`` says for each cell that cannot be taken, by column, what it is instead.
    """

    number: int
    values: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)

    def text(self, column: str) -> str:
        """The text of a cell without space around it; empty where there is no such column."""
        return self.values.get(column, "").strip()


@dataclass(frozen=True)
class BadRow:
    """A row that cannot be taken: the first cell found wrong, and all cells as they came.

    ``refusal`` is the reason as it can be translated; ``reason`` is its English sentence.
    """

    file: str
    row: int
    column: str
    value: str
    refusal: Refusal
    values: Mapping[str, str]

    @property
    def reason(self) -> str:
        return str(self.refusal)


class InRow(Protocol):
    """What a row was read as."""

    @property
    def row(self) -> Row: ...


T = TypeVar("T", bound=InRow)
K = TypeVar("K", bound=Hashable)
S = TypeVar("S")


@dataclass(frozen=True)
class Examined:
    """What taking a file would do: add ``good`` rows, leave ``bad`` ones; ``unchanged`` are here already."""

    file: str
    good: tuple[InRow, ...]
    unchanged: int
    bad: tuple[BadRow, ...]


@dataclass(frozen=True)
class Taken:
    """How many rows were added, how many had been there before, and which are bad."""

    added: int
    unchanged: int
    bad: tuple[BadRow, ...]


class CellRefused(Refusal):
    """A cell that cannot be taken; ``column`` is where it stands."""

    def __init__(self, column: str, refusal: Refusal) -> None:
        super().__init__(refusal.sentence, about=column, **refusal.facts)
        self.column = column


def rows_of(name: str, content: bytes | Sequence[Row]) -> Sequence[Row]:
    """The rows of a file, or the rows as they are where it has been read already."""
    return read_rows(name, content) if isinstance(content, bytes) else content


def read_rows(name: str, content: bytes) -> list[Row]:
    """The rows of a CSV or XLSX file.

    Raises
    ------
    Refusal
        If the file is empty, too large, not what its name says, damaged, made to do harm, or its header has
        a name twice.
    """
    if len(content) > MOST_BYTES:
        raise Refusal("“{name}” is larger than {most} MB.", name=name, most=MOST_BYTES // 1_000_000)
    lines = _lines(name, content)
    columns = _header(name, next(lines, (1, []))[1])
    rows: list[Row] = []
    for number, cells in lines:
        if any(cell.fault or cell.text.strip() for cell in cells):
            rows.append(_row(number, columns, cells))
        if len(rows) > MOST_ROWS:
            raise Refusal("“{name}” has more than {most} rows. Split it.", name=name, most=MOST_ROWS)
    if not rows:
        raise Refusal("“{name}” has no rows below its header.", name=name)
    return rows


def examine_rows(
    name: str,
    rows: Sequence[Row],
    read: Callable[[Row], T],
    key_of: Callable[[T], K],
    stored_by: Callable[[Collection[K]], Mapping[K, S]],
    agree: Callable[[Sequence[T], S | None], None],
) -> tuple[list[T], list[BadRow]]:
    """The new things that rows describe, and the rows that cannot be taken, in the order of the file.

    ``read`` reads one row; rows with the same key describe the same thing. ``stored_by`` finds what is here
    already, and ``agree`` raises CellRefused unless all that is said of one thing agrees.
    """
    described: dict[K, list[T]] = defaultdict(list)
    bad = []
    for row in rows:
        try:
            found = read(row)
            described[key_of(found)].append(found)
        except CellRefused as refused:
            bad.append(bad_row(name, row, refused))
    stored, good = stored_by(described.keys()), []
    for key, same in described.items():
        try:
            agree(same, stored.get(key))
            good += [] if key in stored else same[:1]
        except CellRefused as refused:
            bad += [bad_row(name, said.row, refused) for said in same]
    return good, sorted(bad, key=lambda reported: reported.row)


def check_columns(name: str, rows: Sequence[Row], columns: Sequence[Column]) -> None:
    """Raises Refusal unless the file has every required column."""
    missing = [column.name for column in columns if column.required and column.name not in rows[0].values]
    if missing:
        raise Refusal("“{name}” lacks the column {missing}.", name=name, missing=", ".join(missing))


def normalised(name: str) -> str:
    """A name as it is matched.

    >>> normalised(" Bay Width "), normalised("bay-width")
    ('bay_width', 'bay_width')
    """
    return re.sub(r"[\s_-]+", "_", name.strip().lower())


@contextmanager
def in_column(column: str) -> Iterator[None]:
    """Says of a refusal inside which column it is about."""
    try:
        yield
    except CellRefused:
        raise
    except Refusal as refusal:
        raise CellRefused(column, refusal) from refusal


def check_faults(row: Row, columns: Sequence[Column]) -> None:
    """Raises CellRefused if a cell that is looked at cannot be taken."""
    for column in (BESIDE, *(column.name for column in columns)):
        if column in row.faults:
            refusal = Refusal("This cell cannot be read: it holds {fault}.", fault=row.faults[column])
            if column == BESIDE:
                refusal = Refusal("This row cannot be read: it has {fault}.", fault=row.faults[column])
            raise CellRefused(column, refusal)


def bad_row(file: str, row: Row, refused: CellRefused) -> BadRow:
    """The report of a refused row."""
    return BadRow(file, row.number, refused.column, row.values.get(refused.column, ""), refused, row.values)


def bad_rows_csv(bad: Sequence[BadRow]) -> bytes:
    """The bad rows as a CSV file, with the columns they came with and ``row``, ``column``, ``reason``.

    Mended, it can be imported as it is.
    """
    columns = [column for column in (bad[0].values if bad else ()) if column not in REPORTED]
    lines: list[list[str | int]] = [
        [*(row.values[column] for column in columns), row.row, row.column, row.reason] for row in bad
    ]
    return write_delimited([[*columns, *REPORTED], *lines])


def _lines(name: str, content: bytes) -> Lines:
    ending = name.lower()[-5:]
    if not content:
        raise Refusal("“{name}” is empty.", name=name)
    if ending == ".xlsx":
        if not content.startswith((_ZIP, _COMPOUND_FILE)):
            raise Refusal("“{name}” is not the XLSX workbook its name says.", name=name)
        return read_workbook(name, content)
    if not ending.endswith(_TEXT_ENDINGS):
        raise Refusal("“{name}” is neither CSV nor XLSX; its name must end in .csv or .xlsx.", name=name)
    if content.startswith((_ZIP, _COMPOUND_FILE)):
        raise Refusal("“{name}” is not the text its name says.", name=name)
    return read_delimited(name, content)


def _header(name: str, cells: Sequence[Cell]) -> list[str]:
    columns = [normalised(cell.text) for cell in cells]
    if not any(columns) or any(cell.fault for cell in cells):
        raise Refusal("The first row of “{name}” must hold the names of the columns.", name=name)
    if len(columns) > LAST_COLUMN:
        raise Refusal("“{name}” has more than {most} columns.", name=name, most=LAST_COLUMN)
    twice = [column for column, count in Counter(filter(None, columns)).items() if count > 1]
    if twice:
        raise Refusal("“{name}” has the column {column} twice.", name=name, column=shortened(twice[0]))
    return columns


def _row(number: int, columns: Sequence[str], cells: Sequence[Cell]) -> Row:
    padded = [*cells, *[Cell("")] * (len(columns) - len(cells))]
    named = {column: cell for column, cell in zip(columns, padded, strict=False) if column}
    faults = {column: cell.fault for column, cell in named.items() if cell.fault}
    if any(cell.text.strip() for cell in cells[len(columns) :]):
        faults[BESIDE] = "more cells than the header"
    return Row(number, {column: cell.text for column, cell in named.items()}, faults)
