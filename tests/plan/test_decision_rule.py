"""The plan's decision rule judges a reading by its uncertainty (JCGM 106:2012, 8.2 and 8.3; from memory)."""

import pytest

from qc_app.measure.conformity import Verdict
from qc_app.plan.characteristic import Requirement
from qc_app.plan.document import read_plan
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal
from qc_app.work.setup import default_document

PERCENT = 1_000_000
ONE_PERCENT = PERCENT
"""A standard uncertainty; the guard band is twice as wide."""

PANEL = Subject("R-01", "closed_roof", 1, 7_315_200_000, 2_438_400_000, 285_750_000)


def moisture(rule: str) -> Requirement:
    """What wood moisture before closing, at most 18 %, is judged by under a rule."""
    key = 'key = "wood_moisture"\n'
    document = default_document().replace(key, f'{key}decision_rule = "{rule}"\n')
    return read_plan(document).characteristic("closed_roof", "wood_moisture").requirement(PANEL, "stud")


@pytest.mark.parametrize(
    ("rule", "percent", "verdict"),
    [
        ("simple_acceptance", 18, Verdict.WITHIN),
        ("simple_acceptance", 19, Verdict.OUTSIDE),
        ("guarded_acceptance", 16, Verdict.WITHIN),
        ("guarded_acceptance", 17, Verdict.UNCLEAR),
        ("guarded_acceptance", 19, Verdict.OUTSIDE),
        ("guarded_rejection", 18, Verdict.WITHIN),
        ("guarded_rejection", 19, Verdict.UNCLEAR),
        ("guarded_rejection", 21, Verdict.OUTSIDE),
    ],
)
def test_a_guard_band_is_unclear(rule: str, percent: int, verdict: Verdict) -> None:
    assert moisture(rule).verdict(percent * PERCENT, ONE_PERCENT) is verdict


def test_a_guarded_rule_needs_an_uncertainty() -> None:
    with pytest.raises(Refusal, match="uncertainty"):
        moisture("guarded_acceptance").verdict(17 * PERCENT)


def test_the_probability_of_conformance_is_a_half_on_the_limit() -> None:
    assert moisture("simple_acceptance").conformance(18 * PERCENT, ONE_PERCENT) == pytest.approx(0.5)
    assert moisture("simple_acceptance").conformance(18 * PERCENT, None) is None
