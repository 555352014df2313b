"""All problems of a control plan are found at once, each with its field."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.plan.document import read_plan
from qc_app.plan.problems import Problem, line_of, problems
from qc_app.refusal import Refusal
from qc_app.work.setup import default_document
from tests.plan.test_document import SMALL

BANDED = """
name = "Bands"
[station.press]
name = "Press"
[kind.gate]
name = "Gate"
route = ["press"]
[[characteristic]]
key = "density"
name = "Density"
station = "press"
kinds = ["gate"]
method = "core"
each = "bay"
[characteristic.limits]
basis = "banded"
bands = [
  { depth_up_to = "8 in", target = "3.8 lb/ft³", lower = "3.5 lb/ft³", upper = "4.5 lb/ft³" },
  { depth_up_to = "16 in", target = "4.0 lb/ft³", lower = "3.5 lb/ft³", upper = "4.5 lb/ft³" },
]
"""


def only(text: str) -> Problem:
    """The one thing wrong with a document."""
    (found,) = problems(text)
    return found


def test_the_plan_a_shop_starts_with_has_no_problem() -> None:
    assert problems(default_document()) == []
    assert problems(SMALL) == []
    assert problems(BANDED) == []


@pytest.mark.parametrize(
    ("written", "instead", "field", "rule"),
    [
        ('{ plus_minus = "1/8 in" }', '{ lower = "3 in", upper = "2 in" }', "limits.lower", "crossed"),
        ('{ plus_minus = "1/8 in" }', '{ plus_minus = "much" }', "limits.plus_minus", "amount"),
        ('{ plus_minus = "1/8 in" }', '{ plus_minus = 3 }', "limits.plus_minus", "key"),
        ('{ plus_minus = "1/8 in" }', '{ plus = "1 in", lower = "2 in" }', "limits", "one way"),
        ('{ plus_minus = "1/8 in" }', '{ plus_minus = "1/8 in", per = "1 ft" }', "limits.per", "pro rata"),
        ('{ plus_minus = "1/8 in" }', '{ basis = "pro_rata", plus = "1 in" }', "limits.per", "pro rata"),
        ('{ plus_minus = "1/8 in" }', "{}", "limits", "limits"),
        ('target = "length"', 'target = "none"', "target", "target"),
        ('target = "length"', 'target = "long"', "target", "amount"),
        ('target = "length"', 'target = "connector"', "target", "connector"),
        ('station = "saw"', 'station = "lathe"', "station", "known"),
        ('kinds = ["gate"]\nmethod = "tape"', 'kinds = ["door"]\nmethod = "tape"', "kinds", "known"),
        ('route = ["saw", "press"]', 'route = ["saw", "press", "oven"]', "route", "known"),
        ('method = "tape"', 'method = "eye"', "method", "known"),
        ('method = "tape"', 'method = "tape"\nevery = 0', "every", "every"),
        ('method = "tape"', 'method = "tape"\nsample = 100', "sample", "sample"),
        ('method = "tape"', 'method = "tape"\ninstruments = ["eye"]', "instruments", "known"),
        ('method = "tape"', 'method = "tape"\ndecision_rule = "hope"', "decision_rule", "known"),
        ('method = "tape"', 'method = "tape"\nput_right = "never"', "put_right", "known"),
        ('method = "tape"', 'method = "tape"\ncolour = "red"', "colour", "key"),
        ('method = "core"\neach = "bay"', 'method = "fill"', "each", "each bay"),
        ('key = "density"', 'key = "length"', "key", "twice"),
        ('key = "density"\n', "", "key", "missing"),
        ('name = "Density"', 'name = " "', "name", "named"),
        ('name = "Density"', f'name = "{"D" * 121}"', "name", "too long"),
        ('name = "Press"', f'name = "{"P" * 81}"', "name", "too long"),
        ('name = "Press"\n', "", "name", "missing"),
    ],
)  # fmt: skip
def test_a_problem_names_its_field_and_the_rule_it_breaks(
    written: str, instead: str, field: str, rule: str
) -> None:
    assert written in SMALL
    found = only(SMALL.replace(written, instead, 1))
    assert (found.field, found.rule) == (field, rule)


@pytest.mark.parametrize(
    ("written", "instead", "field", "rule"),
    [
        ('depth_up_to = "16 in"', 'depth_up_to = "8 in"', "limits.bands.1.depth_up_to", "overlapping"),
        ('target = "3.8 lb/ft³"', 'target = "4.6 lb/ft³"', "limits.bands.0.target", "target within"),
        ('lower = "3.5 lb/ft³"', 'lower = "4.6 lb/ft³"', "limits.bands.0.lower", "crossed"),
        ('upper = "4.5 lb/ft³"', 'upper = "4.5"', "limits.bands.0.upper", "amount"),
        (', lower = "3.5 lb/ft³"', "", "limits.bands.0.lower", "missing"),
        ('each = "bay"\n', "", "limits.basis", "bands"),
        ('"banded"', '"fixed"', "limits.basis", "bands"),
    ],
)
def test_a_problem_of_a_band_names_the_band(written: str, instead: str, field: str, rule: str) -> None:
    assert written in BANDED
    found = only(BANDED.replace(written, instead, 1))
    assert (found.field, found.rule, found.subject) == (field, rule, "Density")


def test_a_target_outside_fixed_limits_is_a_problem() -> None:
    fixed = SMALL.replace('target = "length"', 'target = "4 in"')
    assert only(fixed.replace('plus_minus = "1/8 in"', 'lower = "2 in", upper = "3 in"')).field == "target"
    assert problems(fixed.replace('plus_minus = "1/8 in"', 'lower = "2 in", upper = "4 in"')) == []


def test_a_guarded_rule_without_a_known_uncertainty_is_a_problem() -> None:
    guarded = SMALL.replace('method = "tape"', 'method = "tape"\ndecision_rule = "guarded_acceptance"')
    assert only(guarded).rule == "guarded"
    with_tape = guarded.replace('method = "tape"', 'method = "tape"\ninstruments = ["tape"]')
    assert only(with_tape).field == "decision_rule"
    assert problems(with_tape + '[uncertainty]\ntape = "1/64 in"\n') == []


def test_problems_of_several_characteristics_are_all_found_with_their_lines() -> None:
    wrong = (
        SMALL.replace('plus_minus = "1/8 in"', 'lower = "3 in", upper = "2 in"')
        .replace('lower = "3.5 lb/ft³"', 'lower = "3.5"')
        .replace('route = ["saw", "press"]', 'route = ["saw", "press", "oven"]')
    )
    found = problems(wrong)
    lines = wrong.splitlines()
    assert [(p.subject, p.field) for p in found] == [
        ("gate", "route"),
        ("Length", "limits.lower"),
        ("Density", "limits.lower"),
    ]
    assert [lines[(p.line or 0) - 1].split(" =")[0] for p in found] == ["route", "limits", "limits"]
    assert found[1].line != found[2].line


def test_text_that_is_no_toml_is_one_problem_with_the_line_of_the_parser() -> None:
    found = only('name = "Ours"\nrules = [\nstation = 3\n')
    assert (found.rule, found.line) == ("toml", 3)


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("name",), 'name = "Bands"'),
        (("station", "press", "name"), 'name = "Press"'),
        (("kind", "gate", "route"), 'route = ["press"]'),
        (("characteristic", 0, "limits", "basis"), 'basis = "banded"'),
        (("characteristic", 0, "sample"), "[[characteristic]]"),
        (("characteristic", 5), None),
    ],
)
def test_the_line_of_a_field(path: tuple[str | int, ...], line: str | None) -> None:
    number = line_of(BANDED, path)
    assert (BANDED.splitlines()[number - 1] if number else None) == line


@given(st.data())
def test_a_plan_without_problems_can_be_read_and_one_that_cannot_has_some(data: st.DataObject) -> None:
    lines = data.draw(st.sampled_from([SMALL, BANDED])).splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    instead = data.draw(st.one_of(st.just([]), st.sampled_from([["each = 3"], ["x = 1"], ["station = []"]])))
    text = "\n".join([*lines[:at], *instead, *lines[at + 1 :]])
    found = problems(text)
    try:
        read_plan(text)
    except Refusal:
        assert found
    assert all(str(problem).endswith(".") for problem in found)


@pytest.mark.parametrize("part", ['station = "saw"', "station = { saw = 3 }", "station = [1]"])
def test_parts_of_another_kind_are_problems(part: str) -> None:
    for text in (f'name = "Odd"\n{part}\nkind = {{}}\ncharacteristic = []', f"{part}\ncharacteristic = [3]"):
        assert tomllib.loads(text)
        assert problems(text)


@given(st.text(max_size=60))
def test_any_text_has_problems_and_no_accident(text: str) -> None:
    assert problems(text)
