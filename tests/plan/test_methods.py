"""What is typed for each way of measuring, and what it amounts to."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.length import Length, parse_length
from qc_app.plan.characteristic import method
from qc_app.plan.method import METHODS, Circumstances, EntryRefused, Outcome, place_number
from qc_app.plan.quantity import Quantity
from qc_app.refusal import Refusal
from tests.plan.conftest import INCH, subject

CORE = Circumstances(subject(), "bay 1", bore=parse_length("2 1/2"))
GOOD: dict[str, dict[str, str]] = {
    "tape": {"length": "24' 0 1/32\""},
    "difference_of_diagonals": {"ac": "303 5/8", "bd": "303 9/16"},
    "lean_over_width": {"ac": "303 5/8", "bd": "303 9/16"},
    "fill": {"mass": "56.3 lb"},
    "core": {"mass": "60.0 g", "depth": '11 1/4"'},
    "meter": {"percent": "14.5 %"},
    "check": {"passed": "no", "faults": "2"},
}


def work_out(key: str, **entries: str) -> Outcome:
    return METHODS[key].work_out(entries, CORE)


def test_every_method_has_an_example_here() -> None:
    assert set(GOOD) == set(METHODS)


@pytest.mark.parametrize("key", METHODS)
def test_the_examples_shown_beside_fields_can_be_typed(key: str) -> None:
    shown = {f.key: f.example for f in METHODS[key].fields if f.example}
    assert type(METHODS[key].work_out({**GOOD[key], **shown}, CORE).amount) is int


def test_a_length_is_exact() -> None:
    assert work_out("tape", length="24' 0 1/32\"").amount == 288 * INCH + INCH // 32
    assert work_out("tape", length="8514 mm").amount == 8_514_000_000


def test_a_difference_of_diagonals_is_ac_less_bd() -> None:
    assert work_out("difference_of_diagonals", ac="303 1/2", bd="303 9/16").amount == -INCH // 16


# Mass that gives 3.5 lb/ft³ in a core of that bore and depth: mass / (π/4 · bore² · depth), exact units
# (NIST SP 811, appendix B.8); constructed. The first line: 60.0 g give 4.139 lb/ft³ = 66.3 kg/m³.
@pytest.mark.parametrize(
    ("bore", "depth", "mass", "density"),
    [
        (2.5, 11.25, 60.0, 4.139),
        (2.0, 11.25, 32.47, 3.5),
        (2.5, 11.25, 50.74, 3.5),
        (3.0, 9.25, 60.07, 3.5),
        (4.0, 11.25, 129.88, 3.5),
    ],
)
def test_a_core_gives_its_density(bore: float, depth: float, mass: float, density: float) -> None:
    at = replace(CORE, bore=Length.from_inches(bore))
    outcome = METHODS["core"].work_out({"mass": f"{mass} g", "depth": f"{depth}"}, at)
    assert outcome.amount / 1_000_000 == pytest.approx(density, abs=5e-4)


def test_tare_is_taken_off_the_mass() -> None:
    net = work_out("core", mass="60 g", depth="11 1/4").amount
    assert work_out("core", mass="65.5 g", tare="5.5 g", depth="11 1/4").amount == net
    assert work_out("core", mass="60 g", tare=" ", depth="11 1/4").amount == net


def test_a_core_may_be_a_quarter_of_an_inch_deeper_than_its_bay() -> None:
    assert work_out("core", mass="60 g", depth="11 1/2").amount > 0


def test_a_core_where_the_panel_has_no_bay_is_not_held_against_one() -> None:
    at = replace(CORE, subject=replace(subject(), bays=()))
    assert METHODS["core"].work_out({"mass": "60 g", "depth": "20"}, at).amount > 0


def test_moisture_is_what_the_meter_shows() -> None:
    assert work_out("meter", percent="14.5 %").amount == 14_500_000


@pytest.mark.parametrize(
    ("passed", "faults", "amount"),
    [("yes", "", 0), ("yes", "0", 0), (" YES ", " ", 0), ("no", "2", 2), ("No", " 9999 ", 9999)],
)
def test_a_check_amounts_to_its_faults(passed: str, faults: str, amount: int) -> None:
    assert work_out("check", passed=passed, faults=faults).amount == amount


@pytest.mark.parametrize(
    ("faults", "where", "amount"),
    [
        ("", "250,500", 1),
        (" ", "250,500; 810,120", 2),
        ("2", "250,500; 810,120", 2),
        ("5", "0,0", 5),
        ("3", " ", 3),
    ],
)
def test_places_marked_are_counted_and_one_may_hold_several(faults: str, where: str, amount: int) -> None:
    assert work_out("check", passed="no", faults=faults, where=where).amount == amount


def test_yes_needs_no_count() -> None:
    assert work_out("check", passed="yes").amount == 0


@pytest.mark.parametrize(
    ("key", "entries", "about", "said"),
    [
        ("tape", {}, "length", "nothing was entered"),
        ("tape", {"length": "  "}, "length", "nothing was entered"),
        ("tape", {"length": "24 3"}, "length", "two ways"),
        ("tape", {"length": "-3"}, "length", "-3"),
        ("tape", {"length": "nan"}, "length", "nan"),
        ("tape", {"length": "1/0"}, "length", "1/0"),
        ("tape", {"length": "0.0000001"}, "length", "0.0000001"),
        ("difference_of_diagonals", {"bd": "303"}, "ac", "nothing was entered"),
        ("difference_of_diagonals", {"ac": "303"}, "bd", "nothing was entered"),
        ("difference_of_diagonals", {"ac": "x", "bd": "303"}, "ac", "x"),
        ("difference_of_diagonals", {"ac": "303", "bd": "x"}, "bd", "x"),
        ("difference_of_diagonals", {"ac": "500", "bd": "303"}, "ac", "cannot be"),
        ("difference_of_diagonals", {"ac": "303", "bd": "0"}, "bd", "more than zero"),
        ("difference_of_diagonals", {"ac": "303", "bd": "500"}, "bd", "Diagonal BD of 500.0 in cannot be"),
        ("lean_over_width", {"ac": "303"}, "bd", "nothing was entered"),
        ("lean_over_width", {"ac": "7700 in", "bd": "303"}, "ac", "cannot be"),
        ("core", {"depth": "11"}, "mass", "nothing was entered"),
        ("core", {"mass": "60 g"}, "depth", "nothing was entered"),
        ("core", {"mass": "sixty", "depth": "11"}, "mass", "sixty"),
        ("core", {"mass": "60 g", "depth": "deep"}, "depth", "deep"),
        ("core", {"mass": "60 g", "depth": "11", "tare": "tin"}, "tare", "tin"),
        ("core", {"mass": "60 g", "depth": "11", "tare": "60 g"}, "mass", "more than its tare"),
        ("core", {"mass": "0 g", "depth": "11"}, "mass", "more than"),
        ("core", {"mass": "60 g", "depth": "0"}, "depth", "depth of the core"),
        ("core", {"mass": "60 g", "depth": "11 9/16"}, "depth", "its bay (11.25 in). Given: 11.5625"),
        ("meter", {}, "percent", "nothing was entered"),
        ("meter", {"percent": "wet"}, "percent", "wet"),
        ("meter", {"percent": "201"}, "percent", "201"),
        ("check", {}, "passed", "nothing was entered"),
        ("check", {"passed": "maybe"}, "passed", "“maybe”"),
        ("check", {"passed": "yes", "faults": "2"}, "faults", "means no faults"),
        ("fill", {}, "mass", "nothing was entered"),
        ("fill", {"mass": "0 kg"}, "mass", "more than zero"),
        ("fill", {"mass": "-20 kg"}, "mass", "-20 kg"),
        ("fill", {"mass": "heavy"}, "mass", "heavy"),
        ("fill", {"mass": "7 lb"}, "mass", "this bay alone? It would be 0.5 lb/ft³, or 8.0 kg/m³."),
        ("fill", {"mass": "300 lb"}, "mass", "mass of this bay alone? It would be 21.33 lb/ft³"),
        ("fill", {"mass": "25 kg", "setting": "x" * 41}, "setting", "at most 40 characters"),
        ("fill", {"mass": "25 kg", "setting": "a\tb"}, "setting", "on one line. Given: “a□b”"),
        ("fill", {"mass": "25 kg", "seconds": "95.5"}, "seconds", "95.5"),
        ("check", {"passed": "no"}, "faults", "nothing was entered"),
        ("check", {"passed": "yes", "where": "250,500"}, "where", "Mark no place"),
        ("check", {"passed": "no", "where": "250"}, "where", "two numbers from 0 to 1000"),
        ("check", {"passed": "no", "where": "1,2; 3,4", "faults": "1"}, "faults", "2 places marked, but"),
        ("check", {"passed": "no", "where": "1,2", "faults": "0"}, "faults", "1 or more"),
        ("check", {"passed": "no", "faults": "0"}, "faults", "1 or more"),
        ("check", {"passed": "no", "faults": "many"}, "faults", "many"),
    ],
)  # fmt: skip
def test_a_refused_entry_names_its_field(key: str, entries: dict[str, str], about: str, said: str) -> None:
    with pytest.raises(EntryRefused) as refused:
        METHODS[key].work_out(entries, CORE)
    assert refused.value.about == about
    assert about in {f.key for f in METHODS[key].fields}
    assert said in str(refused.value)


def test_a_core_needs_its_cutter_first() -> None:
    with pytest.raises(EntryRefused, match="core cutter first"):
        METHODS["core"].work_out(GOOD["core"], replace(CORE, bore=None))


@pytest.mark.parametrize("key", METHODS)
@given(texts=st.lists(st.text(max_size=30), min_size=3, max_size=3))
def test_any_entry_gives_a_whole_amount_or_names_its_field(key: str, texts: list[str]) -> None:
    fields = METHODS[key].fields
    entries = dict(zip((f.key for f in fields), texts, strict=False))
    try:
        assert type(METHODS[key].work_out(entries, CORE).amount) is int
    except EntryRefused as refused:
        assert refused.about in {f.key for f in fields}  # noqa: PT017


@pytest.mark.parametrize(
    ("place", "number"), [("bay 3", 3), ("connector 12", 12), ("", 0), ("AB", 0), ("bay ٣", 0), ("bay -1", 0)]
)
def test_places_carry_their_number(place: str, number: int) -> None:
    assert place_number(place) == number


def test_an_unknown_method_is_refused_with_those_there_are() -> None:
    with pytest.raises(Refusal, match=r"no way of measuring called “guess”\. Known: tape, diff"):
        method("guess")


@pytest.mark.parametrize(
    ("key", "quantity"),
    [
        ("tape", Quantity.LENGTH),
        ("difference_of_diagonals", Quantity.LENGTH),
        ("lean_over_width", Quantity.LENGTH),
        ("fill", Quantity.DENSITY),
        ("core", Quantity.DENSITY),
        ("meter", Quantity.MOISTURE),
        ("check", Quantity.COUNT),
    ],
)
def test_each_method_measures_one_quantity(key: str, quantity: Quantity) -> None:
    assert method(key).quantity is quantity
