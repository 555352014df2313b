"""Analysis of variance of balanced and one-way data: sums of squares, mean squares, F tests.

Sums are taken in decimals (see ``moments``), so that data with many equal leading digits keep every digit of
their spread. Source: NIST/SEMATECH e-Handbook of Statistical Methods, sections 7.4.3 and 3.2.3.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc_app.refusal import Refusal
from qc_app.spc.moments import decimals, exactly
from qc_app.spc.series import series

Decimals = NDArray[np.object_]


@dataclass(frozen=True)
class Row:
    """A line of the table; ``f`` and ``p`` are None where there is nothing to test against."""

    source: str
    sum_of_squares: float
    degrees_of_freedom: int
    mean_square: float
    f: float | None = None
    p: float | None = None


def one_way(groups: Sequence[ArrayLike]) -> tuple[Row, Row, Row]:
    """Between groups, within groups, and total.

    Parameters
    ----------
    groups : at least two, of any sizes, with at least one value more than groups in all.

    Raises
    ------
    Refusal
        For fewer than two groups, an empty one, only single values, or a value not finite.

    >>> between, within, total = one_way([[1, 2, 3], [2, 3, 4]])
    >>> between.sum_of_squares, within.sum_of_squares, round(between.f, 2), round(between.p, 4)
    (1.5, 4.0, 1.5, 0.2879)
    """
    rows = [series(group, name=f"Group {place}") for place, group in enumerate(groups, start=1)]
    freedom = sum(row.size for row in rows) - len(rows)
    if len(rows) < 2 or freedom < 1:
        raise Refusal(
            "An analysis of variance needs two groups and more values than groups; {groups} groups came, "
            "{values} values.",
            groups=len(rows),
            values=freedom + len(rows),
        )
    with exactly():
        listed = [decimals(row) for row in rows]
        grand = sum((row.sum() for row in listed), start=Decimal(0)) / sum(len(row) for row in listed)
        means = [row.sum() / len(row) for row in listed]
        between = sum(len(row) * (m - grand) ** 2 for row, m in zip(listed, means, strict=True))
        within = sum(((row - m) ** 2).sum() for row, m in zip(listed, means, strict=True))
        error = row_of("within groups", within, freedom)
        return (
            row_of("between groups", between, len(rows) - 1, within, freedom),
            error,
            row_of("total", between + within, len(rows) - 1 + freedom),
        )


def sum_of_squares(cells: Decimals, kept: tuple[int, ...]) -> Decimal:
    """Sum over all values of (their mean over the axes not kept − the grand mean)²."""
    size = cells.size
    dropped = tuple(axis for axis in range(cells.ndim) if axis not in kept)
    sums = cells.sum(axis=dropped) if dropped else cells
    share = size // sums.size
    away = sums / share - cells.sum() / size
    total: Decimal = (away**2).sum() * share
    return total


def row_of(
    source: str, squares: Decimal, freedom: int, against: Decimal | None = None, against_freedom: int = 0
) -> Row:
    """A line of the table, tested against another sum of squares where one is given and is not zero."""
    square = squares / freedom if freedom else Decimal(0)
    plain = Row(source, float(squares), freedom, float(square))
    if not against or not against_freedom or not freedom:
        return plain
    from scipy.special import fdtrc

    ratio = float(square / (against / against_freedom))
    return Row(
        source,
        plain.sum_of_squares,
        freedom,
        plain.mean_square,
        ratio,
        float(fdtrc(freedom, against_freedom, ratio)),
    )
