"""Judging readings again by another version of the control plan. What is stored never changes."""

from collections.abc import Callable

from qc_app.measure.conformity import Verdict
from qc_app.plan.characteristic import Requirement
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal

NO_VERDICT = "no verdict"
"""Of a reading that a plan does not check or cannot judge, as where no uncertainty is known."""


class Rejudging:
    """Judges readings by one plan, each with the uncertainty that is stored with it.

    The requirement of each subject at each place is worked out once, and so is the verdict on readings that
    are alike, so that thousands of readings take seconds.
    """

    def __init__(self, plan: ControlPlan) -> None:
        self._plan = plan
        self._known: dict[tuple[object, str, str], Requirement | None] = {}
        self._verdicts: dict[tuple[Requirement, int, int | None], str] = {}

    def verdict(
        self,
        item: object,
        subject: Callable[[], Subject],
        check: tuple[str, str],
        amount: int,
        standard_uncertainty: int | None,
    ) -> str:
        """The verdict, or ``NO_VERDICT``. ``item`` tells subjects apart; ``check`` is a key and a place."""
        known = (item, *check)
        if known not in self._known:
            self._known[known] = self._requirement(subject(), *check)
        requirement = self._known[known]
        if requirement is None:
            return NO_VERDICT
        judged = (requirement, amount, standard_uncertainty)
        if judged not in self._verdicts:
            self._verdicts[judged] = _judge(*judged)
        return self._verdicts[judged]

    def _requirement(self, subject: Subject, key: str, place: str) -> Requirement | None:
        try:
            return self._plan.characteristic(subject.kind, key).requirement(subject, place)
        except Refusal:
            return None


def _judge(requirement: Requirement, amount: int, standard_uncertainty: int | None) -> str:
    try:
        return Verdict(requirement.verdict(amount, standard_uncertainty)).value
    except Refusal:
        return NO_VERDICT
