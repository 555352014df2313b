"""Limits that grow with size, that are not alike on both sides, and that compare rounded values.

Pro rata: 3/4 in per 100 ft for out of square (trade layout rule, common practice). Rounding method: ASTM E29,
half to even.
"""

import pytest

from qc_app.measure.conformity import Verdict
from qc_app.plan.characteristic import Characteristic
from qc_app.plan.document import read_plan
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal

INCH = 25_400_000

DOCUMENT = """
name = "Sizes"
[station.bench]
name = "Bench"
[kind.frame]
name = "Frame"
route = ["bench"]
[[characteristic]]
key = "it"
name = "It"
station = "bench"
kinds = ["frame"]
method = "{method}"
{target}
limits = {{ {limits} }}
"""


def characteristic(limits: str, method: str = "tape", target: str = 'target = "length"') -> Characteristic:
    document = DOCUMENT.format(method=method, target=target, limits=limits)
    return read_plan(document).characteristic("frame", "it")


def frame(feet: int) -> Subject:
    return Subject("F-1", "frame", 1, feet * 12 * INCH, 96 * INCH, 10 * INCH)


@pytest.mark.parametrize("feet", [8, 24, 100])
def test_a_pro_rata_limit_grows_with_the_length(feet: int) -> None:
    wanted = characteristic('basis = "pro_rata", plus_minus = "3/4 in", per = "100 ft"').requirement(
        frame(feet), ""
    )
    permitted = INCH * 3 * feet // 400
    assert wanted.target == feet * 12 * INCH
    assert (wanted.lower, wanted.upper) == (wanted.target - permitted, wanted.target + permitted)
    assert wanted.verdict(wanted.target + permitted) is Verdict.WITHIN
    assert wanted.verdict(wanted.target + permitted + 1) is Verdict.OUTSIDE


def test_out_of_square_grows_with_the_length_of_the_panel() -> None:
    limits = 'basis = "pro_rata", plus_minus = "3/4 in", per = "100 ft"'
    square = characteristic(limits, "difference_of_diagonals", 'target = "0 in"')
    wanted = square.requirement(frame(20), "")
    assert (wanted.lower, wanted.upper) == (-INCH * 15 // 100, INCH * 15 // 100)


def test_limits_may_differ_to_either_side() -> None:
    wanted = characteristic('plus = "0 in", minus = "1/8 in"').requirement(frame(8), "")
    assert (wanted.lower, wanted.upper) == (96 * INCH - INCH // 8, 96 * INCH)


@pytest.mark.parametrize(
    ("percent", "verdict"), [("18.04", Verdict.WITHIN), ("18.05", Verdict.WITHIN), ("18.06", Verdict.OUTSIDE)]
)
def test_a_rounded_limit_compares_the_rounded_value(percent: str, verdict: Verdict) -> None:
    wanted = characteristic('upper = "18 %", rounded_to = "0.1 %"', "meter", "").requirement(frame(8), "")
    assert wanted.verdict(round(float(percent) * 1_000_000)) is verdict


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ('plus_minus = "1/8 in", lower = "1 in"', "only one of these"),
        ('plus_minus = "1/8 in", plus = "1 in"', "only one of these"),
        ('basis = "pro_rata", plus_minus = "1/8 in"', "say per which length"),
        ('plus_minus = "1/8 in", per = "10 ft"', "say per which length"),
    ],
)
def test_limits_that_say_two_things_are_refused(limits: str, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        characteristic(limits)
