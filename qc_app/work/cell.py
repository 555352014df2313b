"""One cell of a file: its text as typed, or why it cannot be taken.

Text in a CSV file that a spreadsheet might run as a formula is kept from it by an apostrophe in front, and
read back without it. Numbers never get one: −0.25 is harmless and must stay a number.
"""

import re
from typing import NamedTuple

from qc_app.refusal import shortened

LONGEST_CELL = 4000
"""Characters; the longest text the log keeps in one place, a note, has 1000."""

_RUN_AS_FORMULA = re.compile(r"'*[=+\-@\t\r\n\0]")
_NO_TEXT = re.compile(r"[\0-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")


class Cell(NamedTuple):
    """The text of a cell; ``fault`` says in plain words why it cannot be taken, and is empty if it can."""

    text: str
    fault: str = ""


def text_cell(text: str) -> Cell:
    """A cell with that text, faulty if it is too long or holds a character that is no text."""
    if len(text) > LONGEST_CELL:
        return Cell(printable(shortened(text)), f"more than {LONGEST_CELL} characters")
    if _NO_TEXT.search(text):
        return Cell(printable(text), "a character that is no text")
    return Cell(text)


def printable(text: str) -> str:
    """The text with each control character that no file format carries as the replacement character."""
    return _NO_TEXT.sub("\N{REPLACEMENT CHARACTER}", text)


def guarded(text: str) -> str:
    """What to write into a CSV cell for a text, so that no spreadsheet runs it.

    >>> guarded("=1+1"), guarded("AB"), guarded("'=1")
    ("'=1+1", 'AB', "''=1")
    """
    return f"'{text}" if _RUN_AS_FORMULA.match(text) else text


def unguarded(text: str) -> str:
    """The text that ``guarded`` wrote.

    >>> unguarded(guarded("=1+1")), unguarded("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text.startswith("'") and _RUN_AS_FORMULA.match(text) else text
