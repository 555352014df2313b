"""Two versions of a control plan are told apart field by field."""

import pytest

from qc_app.plan.characteristic import Basis, Tolerance
from qc_app.plan.comparison import Change, Difference, LimitsSaid, Part, TargetSaid, compare
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.document import read_plan
from tests.plan.test_document import SMALL

EIGHTH, QUARTER = 3_175_000, 6_350_000


def after(*changes: tuple[str, str]) -> list[Difference]:
    """What differs once these texts of the small plan are replaced."""
    text = SMALL
    for written, instead in changes:
        assert written in text
        text = text.replace(written, instead, 1)
    return compare(read_plan(SMALL), read_plan(text))


def test_a_version_does_not_differ_from_itself(plan: ControlPlan) -> None:
    assert compare(plan, plan) == []
    assert compare(plan, read_plan(SMALL)) != []


def test_changed_limits_are_told_as_one_thing() -> None:
    was = LimitsSaid(Basis.FIXED, Tolerance(-EIGHTH, EIGHTH, from_target=True), ())
    now = LimitsSaid(Basis.FIXED, Tolerance(-EIGHTH, QUARTER, from_target=True), ())
    (found,) = after(('plus_minus = "1/8 in"', 'plus = "1/4 in", minus = "1/8 in"'))
    assert found == Difference(
        Part.CHARACTERISTIC, Change.CHANGED, "length", "Length", "limits", was, now, ("gate",)
    )


def test_limits_written_another_way_that_mean_the_same_are_no_difference() -> None:
    assert after(('plus_minus = "1/8 in"', 'plus = "3.175 mm", minus = "2/16 in"')) == []


@pytest.mark.parametrize(
    ("written", "instead", "field", "was", "now"),
    [
        ('method = "tape"', 'method = "tape"\nevery = 3', "every", 1, 3),
        ('method = "core"', 'method = "core"\nsample = 2', "sample", 0, 2),
        ('method = "tape"', 'method = "tape"\ninstruments = ["tape"]', "instruments", (), ("tape",)),
        ('method = "tape"', 'method = "tape"\nhow = "Hooked."', "how", "", "Hooked."),
        ('method = "tape"', 'method = "tape"\ntogether = "pair"', "together", "", "pair"),
        ('method = "tape"', 'method = "tape"\nput_right = "lead"', "put_right", "here", "lead"),
        ('method = "tape"', 'method = "tape"\nsignal_holds = true', "signal_holds", False, True),
        ('method = "tape"', 'method = "tape"\nplaces = ["AB"]', "places", (), ("AB",)),
        ('method = "core"', 'method = "core"\ndecision_rule = "guarded_rejection"', "decision_rule",
         "simple_acceptance", "guarded_rejection"),
        ('method = "tape"', 'method = "difference_of_diagonals"', "method",
         "tape", "difference_of_diagonals"),
        ('station = "saw"', 'station = "press"', "station", "saw", "press"),
        ('name = "Length"', 'name = "Longest side"', "name", "Length", "Longest side"),
        ('target = "length"', 'target = "width"', "target",
         TargetSaid("length", None), TargetSaid("width", None)),
        ('target = "length"', 'target = "1 in"', "target",
         TargetSaid("length", None), TargetSaid("fixed", 25_400_000)),
    ],
)  # fmt: skip
def test_each_field_of_a_characteristic_is_told_with_what_it_was_and_is(
    written: str, instead: str, field: str, was: object, now: object
) -> None:
    (found,) = after((written, instead))
    assert (found.part, found.change, found.field) == (Part.CHARACTERISTIC, Change.CHANGED, field)
    assert (found.was, found.now) == (was, now)


@pytest.mark.parametrize(
    ("written", "instead", "part", "key", "field"),
    [
        ('name = "Small plan"', 'name = "Ours"', Part.PLAN, "", "name"),
        ('name = "Small plan"', 'name = "Small plan"\nrules = ["alternating"]', Part.PLAN, "", "rules"),
        ("[station.saw]", '[uncertainty]\ntape = "1/64 in"\n[station.saw]', Part.PLAN, "tape", "uncertainty"),
        ("[station.saw]", '[translation.es]\nSaw = "Sierra"\n[station.saw]',
         Part.PLAN, "es: Saw", "translation"),
        ('cautions = ["Hands clear."]', "", Part.STATION, "press", "cautions"),
        ('name = "Press"', 'name = "Press"\nhold_point = false', Part.STATION, "press", "hold_point"),
        ('name = "Gate"', 'name = "Yard gate"', Part.KIND, "gate", "name"),
        ('["saw", "press"]', '["press", "saw"]', Part.KIND, "gate", "route"),
    ],
)  # fmt: skip
def test_a_difference_of_the_plan_a_station_or_a_kind_names_it(
    written: str, instead: str, part: Part, key: str, field: str
) -> None:
    (found,) = after((written, instead))
    assert (found.part, found.change, found.key, found.field) == (part, Change.CHANGED, key, field)


def test_what_is_added_and_what_is_removed_is_told_as_a_whole() -> None:
    other = SMALL.replace('key = "density"\nname = "Density"', 'key = "core"\nname = "Core"')
    other = other.replace("[station.saw]", '[station.oven]\nname = "Oven"\n[station.saw]')
    told = [(d.part, d.change, d.key, d.kinds) for d in compare(read_plan(SMALL), read_plan(other))]
    assert told == [
        (Part.STATION, Change.ADDED, "oven", ()),
        (Part.CHARACTERISTIC, Change.ADDED, "core", ("gate",)),
        (Part.CHARACTERISTIC, Change.REMOVED, "density", ("gate",)),
    ]
    assert [d.change for d in compare(read_plan(other), read_plan(SMALL))] == [
        Change.REMOVED,
        Change.ADDED,
        Change.REMOVED,
    ]


def test_the_same_difference_on_several_kinds_is_told_once(document: str, plan: ControlPlan) -> None:
    other = document.replace('key = "squareness"', 'key = "squareness"\nevery = 2')
    (found,) = compare(plan, read_plan(other))
    assert found.kinds == ("closed_roof", "closed_wall", "open_floor", "partition")


def test_a_characteristic_no_longer_checked_on_one_kind_is_removed_there_only(
    document: str, plan: ControlPlan
) -> None:
    kinds = 'kinds = ["closed_roof", "closed_wall", "open_floor", "partition"]\nmethod = "difference_of'
    other = document.replace(kinds, kinds.replace(', "partition"', ""))
    (found,) = compare(plan, read_plan(other))
    assert (found.change, found.key, found.kinds) == (Change.REMOVED, "squareness", ("partition",))


def test_another_order_of_stations_and_checks_is_a_difference() -> None:
    parts = SMALL.split("[[characteristic]]")
    swapped = "[[characteristic]]".join([parts[0], parts[2], parts[1]])
    (found,) = compare(read_plan(SMALL), read_plan(swapped))
    assert (found.field, found.was, found.now) == (
        "order of checks",
        ("length", "density"),
        ("density", "length"),
    )
