"""Canonical JSON, against the vectors printed in RFC 8785 (JSON Canonicalization Scheme)."""

import json
import math
import struct

import pytest

from qc_app.records.canonical import NotCanonical, canonical

SAMPLE = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
"""RFC 8785, section 3.2.2."""

SAMPLE_BYTES = """
    7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72
    75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a
    5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31
    65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37
    5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30
    30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d
"""
"""RFC 8785, section 3.2.4."""

KEYS = r"""{
  "\u20ac": "Euro Sign",
  "\r": "Carriage Return",
  "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One",
  "\ud83d\ude00": "Emoji: Grinning Face",
  "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}"""
"""RFC 8785, section 3.2.3."""

KEYS_IN_ORDER = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}
"""RFC 8785, appendix B: the bits of a double in hexadecimal, and how it is written."""


PUBLISHED = {
    "structures": (
        r'{"1": {"f": {"f": "hi","F": 5} ,"\n": 56.0}, "10": { }, "": "empty", "a": { },'
        r' "111": [ { } ], "A": { }}',
        r'{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{}],"A":{},"a":{}}',
    ),
    "values": (
        r'{"numbers": [1E30, 4.50, 333333333.33333329, 2e-3, 0.000000000000000000000000001],'
        r' "escaping": "\u20ac$\u000F\u000aA\u0027\u0042\u0022\u005c\\\"\/",'
        r' "literals": [null, true, false]}',
        '{"escaping":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/","literals":[null,true,false],'
        '"numbers":[1e+30,4.5,333333333.3333333,0.002,1e-27]}',
    ),
    "weird": (
        r'{"\u20ac": "Euro Sign", "1": "One", "\u0080": "Control\u007f", "\ud83d\ude02": "Smiley",'
        r' "\u00f6": "Latin Small Letter O With Diaeresis", "\ufb33": "Hebrew Letter Dalet With Dagesh",'
        r' "</script>": "Browser Challenge"}',
        '{"1":"One","</script>":"Browser Challenge","\x80":"Control\x7f",'
        '"ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign","😂":"Smiley",'
        '"\ufb33":"Hebrew Letter Dalet With Dagesh"}',
    ),
}
"""What goes in and what comes out, from files that the authors of RFC 8785 publish beside it.

json-canonicalization, folder ``testdata``.
"""


def double(bits: str) -> float:
    return float(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_the_sample_of_section_3_2_2_gives_the_bytes_of_section_3_2_4() -> None:
    assert canonical(json.loads(SAMPLE)) == bytes.fromhex(SAMPLE_BYTES)


def test_keys_are_sorted_by_their_utf_16_units_as_in_section_3_2_3() -> None:
    assert list(json.loads(canonical(json.loads(KEYS))).values()) == KEYS_IN_ORDER


@pytest.mark.parametrize(("bits", "written"), NUMBERS.items())
def test_a_number_is_written_as_in_appendix_b(bits: str, written: str) -> None:
    assert canonical(double(bits)).decode() == written


@pytest.mark.parametrize("name", PUBLISHED)
def test_the_published_files_come_out_as_published(name: str) -> None:
    given, expected = PUBLISHED[name]
    assert canonical(json.loads(given)).decode() == expected


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_nan_and_infinities_are_refused_as_appendix_b_says(bits: str) -> None:
    assert not math.isfinite(double(bits))
    with pytest.raises(NotCanonical):
        canonical({"amount": double(bits)})


@pytest.mark.parametrize("value", ["\ud83d", {"\udead": 1}, ["\udead"]])
def test_half_of_a_surrogate_pair_is_refused_as_section_3_2_2_2_says(value: object) -> None:
    with pytest.raises(NotCanonical):
        canonical(value)


@pytest.mark.parametrize("value", [2**53, -(2**53), {1: "one"}, {"when": object()}, b"bytes"])
def test_what_json_cannot_say_without_loss_is_refused(value: object) -> None:
    with pytest.raises(NotCanonical):
        canonical(value)


def test_the_order_in_which_keys_were_given_makes_no_difference() -> None:
    assert (
        canonical({"b": 1, "a": [1.0, None]})
        == canonical({"a": [1, None], "b": 1})
        == b'{"a":[1,null],"b":1}'
    )
