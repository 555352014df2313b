"""One limit of squareness, two meanings: of the difference of diagonals, or of the lean over the width.

Figures from the parallelogram law, AC² − BD² = 4 · length · lean: on a panel of 8 by 24 ft a lean of 1/16 in
makes the diagonals differ by 0.11859 in, and diagonals that differ by 1/16 in mean a lean of 0.03294 in.
"""

import pytest

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.document import read_plan
from qc_app.plan.method import Circumstances, Outcome
from tests.plan.conftest import INCH, subject


def outcome(plan: ControlPlan, ac: str, bd: str) -> Outcome:
    squareness = plan.characteristic("closed_roof", "squareness")
    return squareness.method.work_out({"ac": ac, "bd": bd}, Circumstances(subject(), ""))


def verdict(plan: ControlPlan, ac: str, bd: str) -> Verdict:
    wanted = plan.characteristic("closed_roof", "squareness").requirement(subject(), "")
    return wanted.verdict(outcome(plan, ac, bd).amount)


@pytest.fixture(scope="session")
def leaning(document: str) -> ControlPlan:
    """The same plan, with the limit put on the lean."""
    return read_plan(document.replace('"difference_of_diagonals"', '"lean_over_width"'))


@pytest.mark.parametrize(
    ("ac", "bd", "of_difference", "of_lean"),
    [
        # differences of the diagonals: 0, 1/16, 0.1, 0.11, 0.118, 0.119, 1/8 in; 303.5787 in when square
        ("303.5787", "303.5787", "within", "within"),
        ("303 5/8", "303 9/16", "within", "within"),
        ("303.63", "303.53", "outside", "within"),
        ("303.64", "303.53", "outside", "within"),
        ("303.638", "303.52", "outside", "within"),
        ("303.639", "303.52", "outside", "outside"),
        ("303 5/8", "303 1/2", "outside", "outside"),
        ("303.53", "303.64", "outside", "within"),
        ("303 1/2", "303 5/8", "outside", "outside"),
    ],
)
def test_the_method_decides_what_the_limit_means(
    plan: ControlPlan, leaning: ControlPlan, ac: str, bd: str, of_difference: str, of_lean: str
) -> None:
    assert verdict(plan, ac, bd) == of_difference
    assert verdict(leaning, ac, bd) == of_lean


def test_both_meanings_stand_side_by_side(plan: ControlPlan, leaning: ControlPlan) -> None:
    differing, lean = outcome(plan, "303 5/8", "303 9/16"), outcome(leaning, "303 5/8", "303 9/16")
    assert differing.amount == INCH // 16
    assert lean.amount / INCH == pytest.approx(0.03294, abs=1e-5)
    assert [companion.amount for companion in differing.companions] == [
        lean.amount,
        pytest.approx(0.01966, abs=6e-6),  # degrees
    ]
    assert lean.companions[0].amount == differing.amount


def test_the_sign_says_which_diagonal_is_longer(plan: ControlPlan, leaning: ControlPlan) -> None:
    for meaning in (plan, leaning):
        assert outcome(meaning, "303 5/8", "303 9/16").amount > 0
        assert (
            outcome(meaning, "303 9/16", "303 5/8").amount == -outcome(meaning, "303 5/8", "303 9/16").amount
        )


def test_a_difference_of_diagonals_is_exact(plan: ControlPlan) -> None:
    assert outcome(plan, "303.1", "303.0375").amount == INCH // 16
