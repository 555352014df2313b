"""What people might type for a length: every documented form, every refusal, and slips of the finger."""

from collections.abc import Iterator
from fractions import Fraction
from random import Random

from qc_app.measure.length import Length, format_length

FEET_AND_INCHES = (
    *("27' 11 3/16\"", "27'11 3/16\"", "27 ft 11 3/16 in", "27ft. 11 3/16in.", "27 FEET 11 3/16 Inches"),
    *("27'-11 3/16\"", "27' - 11 3/16\"", "27-11-3", "27-11-3/16", "27' 11.1875\"", "27' 11,1875"),
    *(
        "12'-3 1/2\"",
        "12-3-1/2",
        "10-3-1/2",
        "0-3-1/2",
        "12-3 1/2",
        "12-3 1/2 in.",
        "12'3.5\"",
        "12 foot",
        "27.5 ft",
        "2 1/2 ft",
    ),
    *(
        "1000 ft",
        "1000'",
        "27-08-03",
        "0'",
        "0-0-0",
        "12' 0\"",
        "12' 11 63/64\"",
        "1000-0-0",
        "1 FooT 2 iNch",
    ),
)
INCHES = (
    *("335 3/16", '335 3/16"', '335-3/16"', "335.1875", "335,1875", "335.1875 in", '3-1/2"', "0", "0/16"),
    *("3/4", ".5", "0,125", "1/64", "12000", "12000.0", "007", "1,5", "1,25", "0,5000", "1000,5", "12 inch"),
)
METRIC = (
    *("8514 mm", "8514mm", "8514 MM", "8.514 m", "8,5140 m", "851.4 cm", "851,4 Cm", "8514,5 mm", ".5 m"),
    *("0.000001 mm", "0,000001mm", "304.8 m", "304800 mm", "8513.7625 mm", "0.0000001 cm", "1,5 mm"),
)
TYPOGRAPHIC = (
    *(
        "27′ 11 3⁄16″",
        "27’ 11 3/16”",
        "27‘ 11 3/16“",
        "27' 11 3/16''",
        "27\u00a0ft\u202f11\u00a03/16\u00a0in",
    ),
    *("  27'   11  3/16 \" ", "11⅜", "½", '3-½"', "12' ¼\"", "12'⅞", "3¾", "3 ⅝ in", "11⅛″", "5\u20093/16"),
    *(
        "\t8514\u2007mm\n",
        "\u300012\u2003ft\u2028",
        "\x1c12 ft\x1f",
        "\x8512 ft",
        "12\x853/16",
        "\ufeff12 ft",
    ),
    *("12\u200bft", "12\u2060ft", "\u180e12", "12\u1680ft", "12\u205fft"),
)
REFUSED = (
    *("12 3", "12-3", "12 3 1/2", "12 3.5", "1 2 3", "12 3 in", "1-2 3/4", ".5 .5", "1.5-2-3"),
    *("8,514", "8,514 mm", "1,000 in", "12' 1,125\"", "999,999", "1,000 ft"),
    *(
        "5/0",
        "0/0",
        "1/1",
        "1/3",
        "⅓",
        "⅙",
        "1/10",
        "3 1/128",
        "12' 1/5",
        "12-3-1/3",
        "3⅔",
        "1/0002",
        "1/064",
    ),
    *("3 17/16", "16/16", "12' 3 2/2", "27-11-16", "12-3-17/16", "2/2 ft"),
    *("12' 14\"", "12' 12", "12-12-0", "12'12.5\"", "12-12-1/2", "0' 12\""),
    *("-3", "−3", "–3", "—3", "+3", "3 -1/2", "12' -3\"", "12'−3\"", "-12'", "1-−3", "－3", "﹣3", "- 3"),
    *("", " ", "\t\n", "\u00a0", "\u2003\x1d"),
    *("335.1234567", "0.0000001 mm", "335.123456", "0.333333", "0.00000001"),
    *("1000' 0 1/64\"", "1001 ft", "12000.1", "304.801 m", "99999999999999999999", "12000.000000001"),
    *("nan", "inf", "infinity", "1e3", "1E3", "0x10", "1_000", "３", "٣", "²", "12.3.4", "12.", "1,2,3"),
    *("1.234,5", "3 apples", "three", "in", "'", '"', "/", "1/", "/2", "1//2", "1/2/4", "1 / 2", "½½", "1½2"),
    *("⅓2", "⅙4", "8 ft 20 mm", "2 m 30 cm", "5 1/2 mm", "3/4 m", "12\" 3'", "12' 3'", "12' 3' 4\"", "12'''"),
    *(
        "12.5' 3\"",
        "8 in 20 mm",
        "12 km",
        "12 yd",
        "12 µm",
        "\x00",
        "12\x003",
        "12;3",
        "Ⅻ",
        "12 İn",
        "12 \u212a",
    ),
    *("{given}", "{limit}", "{", "$&", "$1 %s", "<b>1</b>", "12\nmm\n3", "📏 12", "undefined", "__proto__"),
    *("1" * 40, "1" * 41, "1" * 400, "1 " * 200, "\u00a0" * 41, "📏" * 40, "📏" * 41, "9" * 500),
)
DOCUMENTED = (*FEET_AND_INCHES, *INCHES, *METRIC, *TYPOGRAPHIC, *REFUSED)

_SLIPS = "0123456789 /.,-'\"½⅓′″−\u00a0ftinmc"


def every_entry(random: Random) -> Iterator[str]:
    """Documented entries, random lengths typed in every way, and entries with one slip of the finger."""
    yield from DOCUMENTED
    for _ in range(24):
        yield from _ways(random, random.randrange(64 * 600))
    for _ in range(320):
        yield _with_slip(random, random.choice(DOCUMENTED[:-8]))


def _ways(random: Random, sixty_fourths: int) -> Iterator[str]:
    size = Fraction(sixty_fourths, 64)
    feet, rest = divmod(size, 12)
    inches, part = divmod(rest, 1)
    printed = format_length(Length(size), 64)
    yield printed
    yield printed.replace("'", "′").replace('"', "″").replace(" ", "\u00a0")
    yield printed.replace("'", " ft").replace('"', random.choice((" in", "in.", " inches", "")))
    yield f"{float(size)}"
    yield f"{float(size)}".replace(".", ",") + '"'
    yield f"{int(size)} {part}" if part else f"{int(size)}"
    yield f"{feet}-{inches}-{part}" if part else f"{feet}-{inches}-0"
    yield f"{feet}-{inches}-{round(16 * part)}"
    yield f"{sixty_fourths}{random.choice((' mm', 'mm', 'cm'))}"
    yield f"{sixty_fourths / 1000} m"


def _with_slip(random: Random, text: str) -> str:
    at = random.randrange(len(text) + 1)
    return text[:at] + random.choice(("", random.choice(_SLIPS))) + text[at + random.randrange(2) :]
