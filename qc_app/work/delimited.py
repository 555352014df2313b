"""CSV (RFC 4180) in and out: comma, semicolon or tab between cells, UTF-8 with or without byte order mark."""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from io import StringIO

from qc_app.refusal import Refusal
from qc_app.work.cell import Cell, guarded, printable, text_cell, unguarded

BYTE_ORDER_MARK = "\ufeff"
"""Written first, since spreadsheet programs otherwise take ″ and ³ for something else."""

_SEPARATORS = (",", ";", "\t")


def read_delimited(name: str, content: bytes) -> Iterator[tuple[int, list[Cell]]]:
    """The rows of a CSV file with their numbers, the first is 1; blank ones come as no cells.

    Raises
    ------
    Refusal
        If the content is no UTF-8 text or a quotation mark is not closed.
    """
    text = _decoded(name, content)
    reader = csv.reader(StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    number = 0
    try:
        for number, texts in enumerate(reader, 1):
            yield number, [text_cell(unguarded(text)) for text in texts]
    except csv.Error as error:
        fault = "a cell is too long" if "limit" in str(error) else "a quotation mark is not closed or doubled"
        raise Refusal(
            "“{name}” cannot be read from row {row} on: {fault}.", name=name, row=number + 1, fault=fault
        ) from error


def write_delimited(rows: Iterable[Sequence[str | int]]) -> bytes:
    """A CSV file with these rows; text that a spreadsheet might run as a formula is guarded."""
    file = StringIO(newline="")
    csv.writer(file).writerows(
        [guarded(printable(cell)) if isinstance(cell, str) else cell for cell in row] for row in rows
    )
    return (BYTE_ORDER_MARK + file.getvalue()).encode()


def _decoded(name: str, content: bytes) -> str:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refusal("“{name}” is not text in UTF-8. Save it as CSV with UTF-8.", name=name) from error
    if "\0" in text:
        raise Refusal("“{name}” is not text: it holds the character number zero.", name=name)
    return text


def _separator(text: str) -> str:
    """The separator found most often in the header, outside quotation marks."""
    header = re.sub(r'"[^"]*"', "", re.split(r"[\r\n]", text, maxsplit=1)[0])
    return max(_SEPARATORS, key=header.count)
