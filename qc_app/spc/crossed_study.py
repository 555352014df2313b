"""Gauge studies in which every appraiser measures every part."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from qc_app.spc.anova import Row, row_of, sum_of_squares
from qc_app.spc.constants import d2_star, shewhart_constants
from qc_app.spc.gauge_components import Components, cells, difference, estimate
from qc_app.spc.moments import decimals, exactly
from qc_app.spc.series import Floats, positive
from qc_app.spc.variance_components import Term, interval

POOLING_LEVEL = 0.25
"""An interaction whose p exceeds this is taken for repeatability (AIAG, 4th edition; common practice)."""

INTERACTION = "parts by appraisers"


@dataclass(frozen=True)
class Crossed:
    """A study in which every appraiser measured every part.

    ``anova`` has the interaction as a line of its own, ``anova_pooled`` counts it as repeatability. The same
    for ``with_interaction`` and ``without_interaction``; ``by_range`` comes from averages and ranges.
    ``components`` is the one to use.
    """

    anova: tuple[Row, ...]
    anova_pooled: tuple[Row, ...]
    with_interaction: Components
    without_interaction: Components
    by_range: Components
    components: Components


def crossed(measurements: ArrayLike, tolerance: float | None = None, *, confidence: float = 0.95) -> Crossed:
    """Every appraiser measures every part several times.

    Parameters
    ----------
    measurements : shape (parts, appraisers, trials): at least 2 parts, 1 appraiser, 2 trials.
    tolerance : width of tolerance, in the unit of the measurements.

    Parts and appraisers count as drawn at random, so they are tested against their interaction.

    Raises
    ------
    Refusal
        For another shape, a value not finite, a tolerance not above zero, or no variation at all.

    >>> found = crossed([[[9.0, 9.1], [9.2, 9.1]], [[8.0, 8.1], [8.1, 8.3]], [[7.5, 7.5], [7.6, 7.5]]])
    >>> [row.source for row in found.anova]
    ['parts', 'appraisers', 'parts by appraisers', 'repeatability', 'total']
    >>> round(found.components.share_of_variation, 3), found.components.distinct_categories
    (0.123, 11)
    """
    readings = cells(measurements, "parts, appraisers, trials", (2, 1, 2))
    width = None if tolerance is None else positive(tolerance, "The width of tolerance")
    full, pooled = _tables(readings)
    both = _components(full, readings.shape, width, confidence)
    merged = _components(pooled, readings.shape, width, confidence)
    tested = next((row.p for row in full if row.source == INTERACTION), None)
    return Crossed(
        anova=full,
        anova_pooled=pooled,
        with_interaction=both,
        without_interaction=merged,
        by_range=_by_range(readings, width),
        components=both if tested is not None and tested <= POOLING_LEVEL else merged,
    )


def _tables(readings: Floats) -> tuple[tuple[Row, ...], tuple[Row, ...]]:
    """The analysis of variance with the interaction, and with it counted as repeatability."""
    p, a, r = readings.shape
    with exactly():
        exact = decimals(readings)
        total, parts, appraisers = (sum_of_squares(exact, kept) for kept in ((0, 1, 2), (0,), (1,)))
        within = total - sum_of_squares(exact, (0, 1))
        both = total - within - parts - appraisers
        free_both, free_within = (p - 1) * (a - 1), p * a * (r - 1)
        end = row_of("total", total, p * a * r - 1)
        against, free = both + within, free_both + free_within
        pooled = (
            row_of("parts", parts, p - 1, against, free),
            *([row_of("appraisers", appraisers, a - 1, against, free)] if a > 1 else []),
            row_of("repeatability", against, free),
            end,
        )
        if a == 1:
            return pooled, pooled
        full = (
            row_of("parts", parts, p - 1, both, free_both),
            row_of("appraisers", appraisers, a - 1, both, free_both),
            row_of(INTERACTION, both, free_both, within, free_within),
            row_of("repeatability", within, free_within),
            end,
        )
    return full, pooled


def _components(
    table: tuple[Row, ...], shape: tuple[int, ...], tolerance: float | None, confidence: float
) -> Components:
    p, a, r = shape
    row = {line.source: line for line in table}
    error = row["repeatability"]
    base = row.get(INTERACTION, error)
    terms = {
        "repeatability": [Term(1, error.mean_square, error.degrees_of_freedom)],
        "parts": difference(row["parts"], base, a * r),
    }
    if INTERACTION in row:
        terms["interaction"] = difference(base, error, r)
    if "appraisers" in row:
        terms["appraisers"] = difference(row["appraisers"], base, p * r)
    found = {source: estimate(of_source) for source, of_source in terms.items()}
    between, both = found.get("appraisers", 0.0), found.get("interaction", 0.0)
    terms["gauge"] = _gauge_terms(row, p, r)
    return Components(
        repeatability=found["repeatability"],
        reproducibility=between + both,
        appraisers=between,
        interaction=both,
        parts=found["parts"],
        intervals={source: interval(of_source, confidence) for source, of_source in terms.items()},
        tolerance=tolerance,
    )


def _gauge_terms(row: dict[str, Row], p: int, r: int) -> list[Term]:
    """The mean squares that repeatability and reproducibility add up to."""
    error = row["repeatability"]
    if "appraisers" not in row:
        return [Term(1, error.mean_square, error.degrees_of_freedom)]
    shares = {"appraisers": 1 / (p * r)}
    if INTERACTION in row:
        shares |= {INTERACTION: (p - 1) / (p * r), "repeatability": 1 - 1 / r}
    else:
        shares |= {"repeatability": 1 - 1 / (p * r)}
    return [
        Term(share, row[name].mean_square, row[name].degrees_of_freedom) for name, share in shares.items()
    ]


def _by_range(readings: Floats, tolerance: float | None) -> Components:
    """Averages and ranges (AIAG, 4th edition, chapter III, section B), with unrounded constants."""
    p, a, r = readings.shape
    repeatability = (float(np.ptp(readings, axis=2).mean()) / shewhart_constants(r).d2) ** 2
    between = 0.0
    if a > 1:
        spread = float(np.ptp(readings.mean(axis=(0, 2)))) / d2_star(a, 1)
        between = max(0.0, spread**2 - repeatability / (p * r))
    parts = (float(np.ptp(readings.mean(axis=(1, 2)))) / d2_star(p, 1)) ** 2
    return Components(
        repeatability=repeatability,
        reproducibility=between,
        appraisers=between,
        interaction=0.0,
        parts=parts,
        intervals={},
        tolerance=tolerance,
    )
