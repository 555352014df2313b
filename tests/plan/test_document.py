"""Control plans as written, and what is wrong with some of them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.plan.document import read_plan
from qc_app.refusal import Refusal
from tests.plan.conftest import INCH, subject

SMALL = """
name = "Small plan"

[station.saw]
name = "Saw"

[station.press]
name = "Press"
cautions = ["Hands clear."]

[kind.gate]
name = "Gate"
route = ["saw", "press"]

[[characteristic]]
key = "length"
name = "Length"
station = "saw"
kinds = ["gate"]
method = "tape"
target = "length"
limits = { plus_minus = "1/8 in" }

[[characteristic]]
key = "density"
name = "Density"
station = "press"
kinds = ["gate"]
method = "core"
each = "bay"
limits = { lower = "3.5 lb/ft³" }
"""


def test_a_small_plan_is_read() -> None:
    plan = read_plan(SMALL)
    assert plan.name == "Small plan"
    assert [(s.key, s.name, s.cautions) for s in plan.stations] == [
        ("saw", "Saw", ()),
        ("press", "Press", ("Hands clear.",)),
    ]
    length = plan.characteristic("gate", "length").requirement(subject("gate"), "")
    assert (length.lower, length.target, length.upper) == (
        288 * INCH - INCH // 8,
        288 * INCH,
        288 * INCH + INCH // 8,
    )
    density = plan.characteristic("gate", "density").requirement(subject("gate"), "bay 1")
    assert (density.lower, density.target, density.upper) == (3_500_000, None, None)


@pytest.mark.parametrize(
    ("written", "instead", "said"),
    [
        ('name = "Small plan"', "name = Small plan", "not readable TOML"),
        ('name = "Small plan"', "", "lacks the key 'name'"),
        ('name = "Small plan"', "name = 5", "value of name is of another kind. Given: 5"),
        ('route = ["saw", "press"]', "", "lacks the key 'route'"),
        ('route = ["saw", "press"]', 'route = "saw"', "value of route is of another kind. Given: 'saw'"),
        ('route = ["saw", "press"]', 'route = ["saw", "oven"]', "no station called “oven”. Known: saw"),
        ('route = ["saw", "press"]', 'route = ["saw"]', "checked at Press, which Gate does not pass"),
        ('cautions = ["Hands clear."]', 'caution = ["Hands clear."]', "A station has no key “caution”"),
        ('cautions = ["Hands clear."]', "cautions = [3]", "value of cautions is of another kind"),
        ("[kind.gate]", "[kind.fence]", "no kind of panel called “gate”. Known: fence"),
        ('station = "saw"', 'station = "oven"', "no station called “oven”"),
        ('station = "saw"', "", "lacks the key 'station'"),
        ('key = "length"', "", "lacks the key 'key'"),
        ('key = "length"', 'key = "density"', "checks “density” twice on Gate"),
        ('kinds = ["gate"]', 'kinds = ["gate", "gate"]', "checks “length” twice on Gate"),
        ('kinds = ["gate"]', "", "lacks the key 'kinds'"),
        ('method = "tape"', 'method = "guess"', "no way of measuring called “guess”. Known: tape"),
        ('method = "tape"', "", "lacks the key 'method'"),
        ('each = "bay"', 'each = "nail"', "says “nail” where it needs one of: bay, connector, member, penet"),
        ('method = "core"\neach = "bay"', 'method = "fill"', "mass of fill needs a reading in each bay; see"),
        ('target = "length"', 'target = "nothing"', "nothing"),
        ('target = "length"', 'target = "connector"', "Length needs a reading at each connector"),
        ('target = "length"', "", "Length has limits either side of a target, but no target"),
        ('target = "length"', 'target = "length"\nsample = "3"', "value of sample is of another kind"),
        ('target = "length"', 'target = "length"\nsample = true', "value of sample is of another kind"),
        ('target = "length"', 'target = "length"\nsample = 100', "A sample of Length has at most 99"),
        ('target = "length"', 'target = "length"\nsample = -1', "A sample of Length has at most 99"),
        ('target = "length"', 'target = "length"\nevery = 0', "Length is checked on every n-th panel"),
        ('target = "length"', 'target = "length"\nplaces = "AB"', "value of places is of another kind"),
        ('target = "length"', 'target = "length"\ninstruments = ["eye"]', "says “eye” where it needs one of"),
        ('target = "length"', 'target = "length"\ndecision_rule = "hope"', "says “hope”"),
        ('target = "length"', 'target = "length"\ncolour = "red"', "A characteristic has no key “colour”"),
        ('limits = { plus_minus = "1/8 in" }', "", "needs limits of tolerance; Length has none"),
        ('limits = { plus_minus = "1/8 in" }', "limits = {}", "needs limits of tolerance; Length has none"),
        ('{ plus_minus = "1/8 in" }', '"1/8 in"', "value of limits is of another kind"),
        ('{ plus_minus = "1/8 in" }', '{ plus_minus = "1/8 lb" }', "1/8 lb"),
        ('{ plus_minus = "1/8 in" }', "{ plus_minus = 3 }", "value of plus_minus is of another kind"),
        ('{ plus_minus = "1/8 in" }', '{ plus_minus = "1 in", upper = "3 in" }', "only one of these"),
        ('{ plus_minus = "1/8 in" }', '{ uper = "3 in" }', "A limits has no key “uper”"),
        ('{ plus_minus = "1/8 in" }', '{ lower = "3 in", upper = "2 in" }', "lower limit of Length is above"),
        ('{ plus_minus = "1/8 in" }', '{ basis = "banded" }', "Banded limits need bands"),
        ('{ lower = "3.5 lb/ft³" }', '{ lower = "3.5" }', "A density needs a number and its unit"),
        ('{ lower = "3.5 lb/ft³" }', '{ basis = "banded" }', "Banded limits need bands"),
        ('{ lower = "3.5 lb/ft³" }', '{ basis = "loose" }', "says “loose” where it needs one of: fixed"),
        (
            '{ lower = "3.5 lb/ft³" }',
            '{ basis = "banded", bands = [{ depth_up_to = "9 in", target = "4 lb/ft³" }] }',
            "lacks the key 'lower'",
        ),
        (
            '{ lower = "3.5 lb/ft³" }',
            '{ basis = "banded", bands = [{ depth = "9 in" }] }',
            "A band has no key “depth”",
        ),
        ('name = "Saw"', 'name = "Saw"\nhold_point = "no"', "value of hold_point is of another kind"),
        ('target = "length"', 'target = "length"\nput_right = "there"', "needs one of: here, lead"),
        ('target = "length"', 'target = "length"\noverdue_instrument = "use"', "needs one of: refuse, flag"),
        ('target = "length"', 'target = "length"\nsignal_holds = 1', "value of signal_holds is of another"),
        ('each = "bay"', 'each = "bay"\ntarget = "depth"', "The target of Density is a length"),
    ],
)  # fmt: skip
def test_a_bad_plan_is_refused_with_what_is_wrong(written: str, instead: str, said: str) -> None:
    assert written in SMALL
    with pytest.raises(Refusal) as refused:
        read_plan(SMALL.replace(written, instead, 1))
    assert said in str(refused.value)


@pytest.mark.parametrize("missing", ["station", "kind", "characteristic"])
def test_a_plan_needs_all_its_parts(missing: str) -> None:
    parts = {"station": "station = {}", "kind": "kind = {}", "characteristic": "characteristic = []"}
    document = "\n".join(['name = "Empty"', *(text for key, text in parts.items() if key != missing)])
    with pytest.raises(Refusal, match=f"lacks the key '{missing}'"):
        read_plan(document)


@pytest.mark.parametrize("part", ['station = "saw"', "station = { saw = 3 }", "station = [1]"])
def test_a_part_of_another_kind_is_refused(part: str) -> None:
    with pytest.raises(Refusal):
        read_plan(f'name = "Odd"\n{part}\nkind = {{}}\ncharacteristic = []')


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    with pytest.raises(Refusal):
        read_plan(text)


@given(st.data())
def test_a_plan_with_a_line_left_out_is_read_or_refused(data: st.DataObject) -> None:
    lines = SMALL.splitlines()
    left_out = data.draw(st.integers(0, len(lines) - 1))
    try:
        assert read_plan("\n".join(lines[:left_out] + lines[left_out + 1 :])).name == "Small plan"
    except Refusal as refusal:
        assert str(refusal).endswith(".")  # noqa: PT017


def banded(*bands: str) -> str:
    """The small plan with limits of density in bands, each ``depth target lower upper``."""
    keys = ("depth_up_to", "target", "lower", "upper")
    tables = [
        "{ "
        + ", ".join(
            f'{key} = "{given} {"in" if key == "depth_up_to" else "lb/ft³"}"'
            for key, given in zip(keys, band.split(), strict=True)
        )
        + " }"
        for band in bands
    ]
    limits = f'{{ basis = "banded", bands = [{", ".join(tables)}] }}'
    return SMALL.replace('{ lower = "3.5 lb/ft³" }', limits)


def test_a_band_reaches_down_to_the_one_before_it() -> None:
    density = read_plan(banded("8 3 2 4", "16 4 3 5")).characteristic("gate", "density")
    assert density.requirement(subject("gate", depth=8 * INCH), "bay 1").target == 3_000_000
    assert density.requirement(subject("gate", depth=8 * INCH + 1), "bay 1").target == 4_000_000
    with pytest.raises(Refusal, match=r"no limits for Density at a depth of 16\.5 in"):
        density.requirement(subject("gate", depth=33 * INCH // 2), "bay 1")


@pytest.mark.parametrize(
    ("bands", "about", "said"),
    [
        (("16 4 3 5", "8 3 2 4"), "limits", "Given: 8.0 in after 16.0 in"),
        (("8 3 2 4", "8 4 3 5"), "limits", "do not overlap"),
        (("8 3 4 2", "16 4 3 5"), "limits", "The lower limit of Density is above its upper limit"),
        (("8 5 2 4", "16 4 3 5"), "target", "The target of Density is outside its limits"),
    ],
)
def test_bands_that_contradict_each_other_are_refused(bands: tuple[str, ...], about: str, said: str) -> None:
    with pytest.raises(Refusal) as refused:
        read_plan(banded(*bands))
    assert refused.value.about == about
    assert said in str(refused.value)


@pytest.mark.parametrize(
    "limits",
    ['{ lower = "2 in", upper = "3 in" }', '{ lower = "5 in" }', '{ upper = "3 63/64 in" }'],
)
def test_a_target_outside_its_limits_is_refused(limits: str) -> None:
    document = SMALL.replace('target = "length"', 'target = "4 in"').replace(
        '{ plus_minus = "1/8 in" }', limits
    )
    with pytest.raises(Refusal, match="The target of Length is outside its limits") as refused:
        read_plan(document)
    assert refused.value.about == "target"


@pytest.mark.parametrize("limits", ['{ lower = "4 in", upper = "5 in" }', '{ upper = "4 in" }'])
def test_a_target_on_a_limit_is_taken(limits: str) -> None:
    document = SMALL.replace('target = "length"', 'target = "4 in"').replace(
        '{ plus_minus = "1/8 in" }', limits
    )
    assert read_plan(document).characteristic("gate", "length").target == 4 * INCH


def test_a_plan_says_what_a_flagged_reading_does() -> None:
    plan = read_plan(SMALL)
    usual = plan.characteristic("gate", "length")
    assert plan.station("saw").hold_point
    assert (usual.put_right, usual.signal_holds, usual.overdue_instrument) == ("here", False, "flag")
    stricter = 'target = "length"\nput_right = "lead"\nsignal_holds = true\noverdue_instrument = "refuse"'
    changed = SMALL.replace('name = "Saw"', 'name = "Saw"\nhold_point = false')
    plan = read_plan(changed.replace('target = "length"', stricter))
    length = plan.characteristic("gate", "length")
    assert not plan.station("saw").hold_point
    assert (length.put_right, length.signal_holds, length.overdue_instrument) == ("lead", True, "refuse")


def test_a_plan_may_say_its_own_words_in_other_languages() -> None:
    plan = read_plan(SMALL + '[translation.es]\n"Press" = "Prensa"\n"Hands clear." = "Aparte las manos."\n')
    assert plan.translations == {"es": {"Press": "Prensa", "Hands clear.": "Aparte las manos."}}
    assert plan.station("press").name == "Press"
    assert read_plan(SMALL).translations == {}


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('[translation.spanish]\n"Press" = "Prensa"', "two letters of its language"),
        ('[translation.es]\n"Press" = 3', "gives each text another text"),
        ('[translation.es]\n"Press" = ""', "gives each text another text"),
        ('[translation]\nes = "Prensa"', "gives each text another text"),
        ('[[translation]]\n"Press" = "Prensa"', "of another kind"),
    ],
)
def test_a_translation_that_is_no_table_of_texts_is_refused(table: str, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        read_plan(f"{SMALL}{table}\n")
