"""Agreement of judgements: how far two or more appraisers who judge good or bad agree beyond chance."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.refusal import Refusal
from qc_app.spc.capability_indices import Interval
from qc_app.spc.series import Floats, check_finite, numbers, share


@dataclass(frozen=True)
class Kappa:
    """Agreement beyond chance: 1 is perfect, 0 no better than chance.

    ``agreement`` is the share of judgements that agree, ``chance`` the share that would by chance;
    ``standard_error`` is the large-sample one of kappa.
    """

    kappa: float
    agreement: float
    chance: float
    standard_error: float

    def interval(self, confidence: float = 0.95) -> Interval:
        """Large-sample confidence interval of kappa, cut at 1."""
        from scipy.special import ndtri

        reach = float(ndtri((1 + share(confidence, "The confidence")) / 2)) * self.standard_error
        return Interval(self.kappa - reach, min(1.0, self.kappa + reach))


def kappa_of_table(table: ArrayLike) -> Kappa:
    """Cohen's kappa from how often each pair of judgements came, shape (k, k), k ≥ 2.

    J. Cohen, *Educational and Psychological Measurement* 20, 1960; standard error: J. L. Fleiss, J. Cohen, B.
    S. Everitt, *Psychological Bulletin* 72, 1969.

    Raises
    ------
    Refusal
        For a table that is not square, a negative count, no count, or judgements of one kind only.

    >>> round(kappa_of_table([[44, 6], [3, 97]]).kappa, 2)
    0.86
    """
    counts = _table(table)
    shares = counts / counts.sum()
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    agreement, chance = float(np.trace(shares)), float(rows @ columns)
    if chance >= 1:
        raise Refusal("All judgements are of one kind; agreement beyond chance cannot be told.")
    found = (agreement - chance) / (1 - chance)
    weight = rows[np.newaxis, :] + columns[:, np.newaxis]
    on = float(np.diag(shares) @ (1 - np.diag(weight) * (1 - found)) ** 2)
    off = (1 - found) ** 2 * float(((shares - np.diag(np.diag(shares))) * weight**2).sum())
    variance = (on + off - (found - chance * (1 - found)) ** 2) / ((1 - chance) ** 2 * counts.sum())
    return Kappa(found, agreement, chance, math.sqrt(max(0.0, variance)))


def kappa(first: Sequence[Hashable], second: Sequence[Hashable]) -> Kappa:
    """Cohen's kappa of two rows of judgements on the same things.

    >>> round(kappa(["good", "bad", "good", "good"], ["good", "bad", "bad", "good"]).kappa, 2)
    0.5
    """
    if len(first) != len(second) or not first:
        raise Refusal(
            "Two rows of judgements on the same things are needed; {first} and {second} came.",
            first=len(first),
            second=len(second),
        )
    kinds = list(dict.fromkeys([*first, *second]))
    table = np.zeros((max(2, len(kinds)), max(2, len(kinds))))
    for one, other in zip(first, second, strict=True):
        table[kinds.index(one), kinds.index(other)] += 1
    return kappa_of_table(table)


def kappa_of_many(counts: ArrayLike) -> Kappa:
    """Fleiss' kappa of several judgements on each thing, shape (things, kinds): how many chose each kind.

    J. L. Fleiss, *Psychological Bulletin* 76, 1971; every thing is judged equally often, at least twice. The
    standard error is that under chance agreement (J. L. Fleiss, J. C. M. Nee, J. R. Landis, 1979).

    >>> round(kappa_of_many([[3, 0], [2, 1], [0, 3], [3, 0]]).kappa, 3)
    0.625
    """
    table = _counts(counts)
    judges = table.sum(axis=1)
    if not np.all(judges == judges[0]) or judges[0] < 2:
        raise Refusal(
            "Every thing is judged equally often, at least twice. Given: {given}.", given=judges.tolist()
        )
    things, each = table.shape[0], float(judges[0])
    shares = table.sum(axis=0) / table.sum()
    agreement = float((((table**2).sum(axis=1) - each) / (each * (each - 1))).mean())
    chance = float(shares @ shares)
    if chance >= 1:
        raise Refusal("All judgements are of one kind; agreement beyond chance cannot be told.")
    spread = float(shares @ (1 - shares))
    skew = float(shares @ ((1 - shares) * (1 - 2 * shares)))
    error = math.sqrt(2 * max(0.0, spread**2 - skew) / (things * each * (each - 1))) / spread
    return Kappa((agreement - chance) / (1 - chance), agreement, chance, error)


def _table(table: ArrayLike) -> Floats:
    counts = _counts(table)
    if counts.shape[0] != counts.shape[1]:
        raise Refusal(
            "A table of pairs is square. Given: {rows} by {columns}.",
            rows=counts.shape[0],
            columns=counts.shape[1],
        )
    return counts


def _counts(table: ArrayLike) -> Floats:
    counts = numbers(table, "The table of judgements")
    if counts.ndim != 2 or min(counts.shape) < 1 or counts.shape[1] < 2:
        raise Refusal("Judgements come as a table of counts with two kinds or more.")
    check_finite(counts, "The table")
    if counts.min() < 0 or counts.sum() == 0:
        raise Refusal("A table of judgements holds counts from 0 up, not all of them 0.")
    return counts
