"""Checking only some lots while all goes well, and every lot again as soon as one fails.

R. L. Perry, *Journal of Quality Technology* 5(3), 1973 (skip-lot plan of type 2).
"""

from dataclasses import dataclass
from typing import NamedTuple

from qc_app.refusal import Refusal
from qc_app.spc.series import finite, whole


class Progress(NamedTuple):
    """Where the switching stands: lots accepted in a row, and lots passed since the last one checked.

    ``skipping`` is set once enough lots in a row have been accepted.
    """

    accepted_in_a_row: int = 0
    skipping: bool = False
    passed: int = 0


@dataclass(frozen=True)
class Skipping:
    """Check every lot until ``clearance`` in a row are accepted, then one in ``every``; back when one fails.

    >>> rule = Skipping(clearance=2, every=3)
    >>> now = rule.after(rule.after(Progress(), accepted=True), accepted=True)
    >>> rule.due(now), rule.due(rule.pass_over(rule.pass_over(now)))
    (False, True)
    """

    clearance: int
    every: int

    def __post_init__(self) -> None:
        whole(self.clearance, 1, "The number of lots in a row")
        whole(self.every, 2, "One lot in how many is checked")

    def due(self, progress: Progress) -> bool:
        """Whether the next lot is checked."""
        return not progress.skipping or progress.passed >= self.every - 1

    def pass_over(self, progress: Progress) -> Progress:
        """After a lot that was not checked.

        Raises
        ------
        Refusal
            If the lot was due.
        """
        if self.due(progress):
            raise Refusal("This lot is due to be checked; it cannot be passed over.")
        return progress._replace(passed=progress.passed + 1)

    def after(self, progress: Progress, accepted: bool) -> Progress:
        """After a lot that was checked."""
        if not accepted:
            return Progress()
        row = progress.accepted_in_a_row + 1
        return Progress(row, progress.skipping or row >= self.clearance, 0)

    def acceptance(self, of_lot: float) -> float:
        """Probability that a lot goes out, when a checked one is accepted with probability ``of_lot``.

        (f P + (1 − f) P^i)/(f + (1 − f) P^i), with f = 1/every and i the clearance.
        """
        p, f, cleared = self._terms(of_lot)
        return (f * p + (1 - f) * cleared) / (f + (1 - f) * cleared)

    def share_checked(self, of_lot: float) -> float:
        """Share of lots that are checked in the long run: f/(f + (1 − f) P^i)."""
        _, f, cleared = self._terms(of_lot)
        return f / (f + (1 - f) * cleared)

    def average_sample(self, of_lot: float, sample: int) -> float:
        """Average number inspected in a lot, with so many in each lot that is checked."""
        return self.share_checked(of_lot) * whole(sample, 1, "The sample")

    def _terms(self, of_lot: float) -> tuple[float, float, float]:
        if not 0 <= finite(of_lot, "The probability of acceptance") <= 1:
            raise Refusal("A probability lies from 0 to 1. Given: {given}.", given=of_lot)
        return of_lot, 1 / self.every, of_lot**self.clearance
