"""What people type for a length is read exactly, or refused with the reason."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.length import Length, LengthRefused, format_length, parse_length

LONG = Fraction(5363, 16)


@pytest.mark.parametrize(
    "text",
    [
        "27' 11 3/16\"",
        "27'11 3/16\"",
        "27 ft 11 3/16 in",
        "27ft. 11 3/16in.",
        "27 FEET 11 3/16 Inches",
        "27'-11 3/16\"",
        "27' - 11 3/16\"",
        "27-11-3",
        "27-11-3/16",
        "27' 11.1875\"",
        "27' 11,1875",
        "335 3/16",
        '335 3/16"',
        '335-3/16"',
        "335.1875",
        "335,1875",
        "335.1875 in",
        "27′ 11 3⁄16″",
        "27’ 11 3/16”",
        "27‘ 11 3/16“",
        "27' 11 3/16''",
        "27\u00a0ft\u202f11\u00a03/16\u00a0in",
        "  27'   11  3/16 \" ",
        "8513.7625 mm",
    ],
)
def test_one_length_can_be_written_in_many_ways(text: str) -> None:
    assert parse_length(text).inches == LONG


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("0", 0),
        ("0/16", 0),
        ("3/4", Fraction(3, 4)),
        (".5", Fraction(1, 2)),
        ("0,125", Fraction(1, 8)),
        ("11⅜", Fraction(91, 8)),
        ("½", Fraction(1, 2)),
        ('3-½"', Fraction(7, 2)),
        ("12' ¼\"", Fraction(577, 4)),
        ("12'⅞", Fraction(1159, 8)),
        ("12-3-1/2", Fraction(295, 2)),
        ("12'3.5\"", Fraction(295, 2)),
        ("12 foot", 144),
        ("27.5 ft", 330),
        ("2 1/2 ft", 30),
        ("1000 ft", 12_000),
        ("1/64", Fraction(1, 64)),
        ("27-08-03", Fraction(5315, 16)),
    ],
)
def test_feet_inches_and_fractions_are_exact(text: str, inches: Fraction | int) -> None:
    assert parse_length(text).inches == inches


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("8514 mm", 8514),
        ("8514mm", 8514),
        ("8514 MM", 8514),
        ("8.514 m", 8514),
        ("8,5140 m", 8514),
        ("851.4 cm", 8514),
        ("851,4 Cm", 8514),
        ("8514,5 mm", Fraction(17029, 2)),
        ("0.000001 mm", Fraction(1, 1_000_000)),
    ],
)
def test_metric_lengths_are_exact(text: str, millimetres: Fraction | int) -> None:
    assert parse_length(text).millimetres == millimetres


AMBIGUOUS = ["12 3", "12-3", "12 3 1/2", "12 3.5", "1 2 3"]
THOUSANDS = ["8,514", "8,514 mm", "1,000 in", "12' 1,125\""]
NO_GRADUATION = ["5/0", "0/0", "1/3", "⅓", "⅙", "1/10", "3 1/128", "12' 1/5", "12-3-1/3"]
NOT_BELOW_ONE = ["3 17/16", "16/16", "12' 3 2/2", "27-11-16"]
TOO_MANY_INCHES = ["12' 14\"", "12' 12", "12-12-0", "12'12.5\""]
SIGNED = ["-3", "−3", "–3", "—3", "+3", "3 -1/2", "12' -3\"", "12'−3\"", "-12'", "1-−3", "－3"]
NOTHING = ["", " ", "\t\n", "\u00a0"]
TOO_FINE = ["335.1234567", "0.0000001 mm", "335.123456", "0.333333"]
TOO_LONG = ["1000' 0 1/64\"", "1001 ft", "12000.1", "304.801 m", "99999999999999999999"]
NO_LENGTH = [
    *[
        "nan",
        "inf",
        "infinity",
        "1e3",
        "1E3",
        "0x10",
        "1_000",
        "３",
        "٣",
        "²",
        "12.3.4",
        "12.",
        "1,2,3",
        "1.234,5",
    ],
    *[
        "3 apples",
        "three",
        "in",
        "'",
        '"',
        "/",
        "1/",
        "/2",
        "1//2",
        "1/2/4",
        "1 / 2",
        "½½",
        "1½2",
        "⅓2",
        "⅙4",
    ],
    *[
        "8 ft 20 mm",
        "2 m 30 cm",
        "5 1/2 mm",
        "3/4 m",
        "12\" 3'",
        "12' 3'",
        "12' 3' 4\"",
        "12'''",
        "12.5' 3\"",
    ],
    *[
        "8 in 20 mm",
        "12 km",
        "12 yd",
        "12 µm",
        "\x00",
        "12\x003",
        "12;3",
        "Ⅻ",
        "K",
        "{given}",
        "%s",
        "<b>1</b>",
    ],
]


@pytest.mark.parametrize(
    ("texts", "reason"),
    [
        (AMBIGUOUS, "two ways"),
        (THOUSANDS, "thousands or decimals"),
        (NO_GRADUATION, "no tape shows"),
        (NOT_BELOW_ONE, "not less than 1"),
        (TOO_MANY_INCHES, "12 inches or more"),
        (SIGNED, "has a sign"),
        (NOTHING, "No length was entered"),
        (TOO_FINE, "more decimals than can be kept"),
        (TOO_LONG, "longer than 1000 ft"),
        (NO_LENGTH, "is not a length"),
        (["1" * 400, "1 " * 200, "\u00a0" * 41, "9" * 100_000], "too long for a length"),
    ],
)
def test_a_refusal_names_the_reason(texts: list[str], reason: str) -> None:
    for text in texts:
        with pytest.raises(LengthRefused) as refusal:
            parse_length(text)
        assert reason in str(refusal.value), text
        assert len(str(refusal.value)) < 200
        assert str(refusal.value).endswith((".", '".'))


def test_a_refused_length_is_a_value_error_that_shows_what_was_typed() -> None:
    with pytest.raises(ValueError, match="“12 3”"):
        parse_length("12 3")


@given(st.text(max_size=60))
def test_any_text_is_a_length_or_refused(text: str) -> None:
    try:
        length = parse_length(text)
    except LengthRefused:
        return
    assert 0 <= length.inches <= 12_000
    assert Length.from_nanometres(length.nanometres) == length


@given(st.text(alphabet="0123456789 '\"-/.,ftinmc½⅜′″", max_size=14))
def test_any_likely_text_is_a_length_or_refused(text: str) -> None:
    try:
        length = parse_length(text)
    except LengthRefused:
        return
    assert parse_length(format_length(length, 64)).inches == Fraction(round(length.inches * 64), 64)
