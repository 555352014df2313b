"""Changing one thing in the text of a control plan leaves every other line as it was."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc_app.plan.document import read_plan
from qc_app.plan.edit import Path, value_at, with_change, with_changes
from qc_app.refusal import Refusal
from qc_app.work.setup import default_document

COMMENTED = """
name = "Small plan" # ours

# where it begins
[station.saw]
name = "Saw"

[[characteristic]]
key = "length" # never changes
# agreed with the site crew
limits = { plus_minus = "1/8 in" } # either side
every = 2 # each second one

# weighed
[[characteristic]]
key = "density"
[characteristic.limits] # of dense packing
basis = "banded"
bands = [
  { depth_up_to = "8 in", target = "3.8 lb/ft³", lower = "3.5 lb/ft³", upper = "4.5 lb/ft³" }, # shallow
  { depth_up_to = "16 in", target = "4.0 lb/ft³", lower = "3.5 lb/ft³", upper = "4.5 lb/ft³" }, # deep
]
"""


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """The lines that went, and those that came."""
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


@pytest.mark.parametrize(
    ("path", "value", "went", "came"),
    [
        (("characteristic", 0, "every"), 3, ["every = 2 # each second one"], ["every = 3 # each second one"]),
        (
            ("characteristic", 0, "limits", "plus_minus"),
            "1/4 in",
            ['limits = { plus_minus = "1/8 in" } # either side'],
            ['limits = { plus_minus = "1/4 in" } # either side'],
        ),
        (
            ("characteristic", 0, "limits"),
            {"plus": "1/8 in", "minus": "1/16 in"},
            ['limits = { plus_minus = "1/8 in" } # either side'],
            ['limits = { plus = "1/8 in", minus = "1/16 in" } # either side'],
        ),
        (("station", "saw", "hold_point"), False, [], ["hold_point = false"]),
        (("name",), "Ours", ['name = "Small plan" # ours'], ['name = "Ours" # ours']),
        (("characteristic", 0, "every"), None, ["every = 2 # each second one"], []),
        (
            ("station", "saw", "cautions"),
            ["Hands clear.", "Guard down, and off before you clear a jam. " * 2],
            [],
            [
                "cautions = [",
                '  "Hands clear.",',
                f'  "{"Guard down, and off before you clear a jam. " * 2}",',
            ],
        ),
    ],
)
def test_only_the_lines_of_a_change_differ(
    path: Path, value: object, went: list[str], came: list[str]
) -> None:
    assert changed_lines(COMMENTED, with_change(COMMENTED, path, value)) == (went, came)


def test_of_bands_only_what_differs_is_touched_and_their_comments_stay() -> None:
    path = ("characteristic", 1, "limits")
    limits = value_at(COMMENTED, path)
    limits["bands"][1]["target"] = "4.2 lb/ft³"
    went, came = changed_lines(COMMENTED, with_change(COMMENTED, path, limits))
    assert [line[-6:] for line in went] == ["# deep"]
    assert ['target = "4.2 lb/ft³"' in line and line.endswith("# deep") for line in came] == [True]


def test_a_band_more_leaves_the_document_readable() -> None:
    path = ("characteristic", 1, "limits", "bands")
    bands = [*value_at(COMMENTED, path), {"depth_up_to": "20 in", "target": "4.1 lb/ft³"}]
    assert value_at(with_change(COMMENTED, path, bands), path) == bands


def test_what_is_there_already_changes_nothing() -> None:
    assert with_change(COMMENTED, ("characteristic", 0, "every"), 2) is COMMENTED
    assert with_change(COMMENTED, ("characteristic", 0, "sample"), None) is COMMENTED


def test_several_changes_are_made_one_after_another() -> None:
    changes: dict[Path, object] = {("name",): "Ours", ("characteristic", 1, "limits", "basis"): "fixed"}
    after = tomllib.loads(with_changes(COMMENTED, changes))
    assert after["name"] == "Ours"
    assert after["characteristic"][1]["limits"]["basis"] == "fixed"


@pytest.mark.parametrize(
    "path", [("characteristic", 7, "every"), ("name", "first"), ("characteristic", 0, 3)]
)
def test_a_path_that_leads_nowhere_is_refused(path: Path) -> None:
    with pytest.raises(Refusal, match="Change it in the text of the plan"):
        with_change(COMMENTED, path, 2)


def test_a_document_that_is_no_toml_is_refused() -> None:
    with pytest.raises(Refusal, match="not readable TOML"):
        with_change("name = ", ("name",), "Ours")


@settings(max_examples=40)
@given(st.data())
def test_any_change_to_any_check_of_the_default_plan_changes_that_and_nothing_else(
    data: st.DataObject,
) -> None:
    document = default_document()
    before = tomllib.loads(document)
    number = data.draw(st.integers(0, len(before["characteristic"]) - 1))
    key, value = data.draw(
        st.one_of(
            st.tuples(st.sampled_from(["name", "how"]), st.text(max_size=20)),
            st.tuples(st.sampled_from(["sample", "every"]), st.integers(0, 99)),
            st.tuples(
                st.just("limits"),
                st.dictionaries(st.sampled_from(["lower", "upper", "rounded_to"]), st.text(max_size=9)),
            ),
            st.tuples(st.just("instruments"), st.lists(st.sampled_from(["tape", "scale"]), max_size=3)),
        )
    )
    after = tomllib.loads(with_change(document, ("characteristic", number, key), value))
    before["characteristic"][number][key] = value
    assert after == before


def test_the_default_plan_after_a_change_is_a_plan() -> None:
    document = default_document()
    number = next(
        n for n, c in enumerate(tomllib.loads(document)["characteristic"]) if c["key"] == "edge_length"
    )
    plan = read_plan(with_change(document, ("characteristic", number, "limits", "plus_minus"), "1/8 in"))
    assert plan.characteristic("closed_roof", "edge_length").tolerance.upper == 3_175_000
