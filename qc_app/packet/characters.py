"""Which characters a packet can print, and what stands in for the others."""

import re
import unicodedata

MISSING = "\N{WHITE SQUARE}"
"""Printed for a character that the packet's fonts lack."""

PRINTABLE = (
    (0x0020, 0x007E),
    (0x00A0, 0x00AC),
    (0x00AE, 0x02E4),  # Latin
    (0x0300, 0x034E),  # combining marks
    (0x0350, 0x036F),
    (0x0384, 0x038A),  # Greek
    (0x038C, 0x038C),
    (0x038E, 0x03A1),
    (0x03A3, 0x03CE),
    (0x0400, 0x0477),  # Cyrillic
    (0x0531, 0x0556),  # Armenian
    (0x0561, 0x0587),
    (0x05D0, 0x05EA),  # Hebrew
    (0x0621, 0x063A),  # Arabic
    (0x0640, 0x064A),
    (0x0904, 0x094D),  # Devanagari
    (0x10D0, 0x10FA),  # Georgian
    (0x1E00, 0x1EFF),  # Latin, with two marks
    (0x2010, 0x2027),  # dashes, quotes
    (0x2030, 0x2037),  # primes
    (0x2039, 0x203E),
    (0x2070, 0x2071),  # superscripts and subscripts
    (0x2074, 0x208E),
    (0x20AC, 0x20AC),
    (0x2116, 0x2116),
    (0x2122, 0x2122),
    (0x2153, 0x215E),  # fractions
    (0x2190, 0x2199),  # arrows
    (0x2205, 0x2205),
    (0x2212, 0x2212),
    (0x221A, 0x221A),
    (0x2248, 0x2248),
    (0x2260, 0x2260),
    (0x2264, 0x2265),
    (0x25A1, 0x25A1),
)
"""First and last of each range that the fonts bundled with typst have, as far as names and notes need it."""

_LACKING = re.compile(
    "[^" + "".join(f"{re.escape(chr(first))}-{re.escape(chr(last))}" for first, last in PRINTABLE) + "]"
)
_BEYOND_ASCII = re.compile(r"[^ -~]")
_LONG_WORD = re.compile(r"\S{25,}")
PIECE = 12
"""After so many characters a word too long for its column may break."""

ZERO_WIDTH_SPACE = "\N{ZERO WIDTH SPACE}"


def printable(text: str) -> str:
    """``text`` on one line, with ``MISSING`` for each character that cannot be printed.

    Controls, and marks that turn the direction of writing, count as such: they could disguise what stands
    beside them.

    >>> printable("Fern\\nHollow \\N{PANDA FACE}")
    'Fern Hollow □'
    """
    return _LACKING.sub(MISSING, _on_one_line(text))


def printable_ascii(text: str) -> str:
    """As ``printable``, with nothing but the plain letters that every font has."""
    return _BEYOND_ASCII.sub(MISSING, _on_one_line(text))


def _on_one_line(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", text).split())


def breakable(text: str) -> str:
    """``text`` with places to break inside very long words, so that none runs out of its column."""
    return _LONG_WORD.sub(lambda word: _pieces(word[0]), text)


def _pieces(word: str) -> str:
    return ZERO_WIDTH_SPACE.join(word[at : at + PIECE] for at in range(0, len(word), PIECE))
