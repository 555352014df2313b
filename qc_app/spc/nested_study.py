"""Gauge studies in which each appraiser measures parts of their own, as when measuring destroys the part."""

from dataclasses import dataclass

from numpy.typing import ArrayLike

from qc_app.spc.anova import Row, row_of, sum_of_squares
from qc_app.spc.gauge_components import Components, cells, difference, estimate
from qc_app.spc.moments import decimals, exactly
from qc_app.spc.series import positive
from qc_app.spc.variance_components import Term, interval


@dataclass(frozen=True)
class Nested:
    """A study in which each appraiser had parts of their own, as when measuring destroys the part."""

    anova: tuple[Row, ...]
    components: Components


def nested(measurements: ArrayLike, tolerance: float | None = None, *, confidence: float = 0.95) -> Nested:
    """Each appraiser measures parts of their own several times.

    Parameters
    ----------
    measurements : shape (appraisers, parts, trials): at least 2 of each.

    Raises
    ------
    Refusal
        As ``crossed``.

    >>> found = nested([[[9.0, 9.1], [9.2, 9.1]], [[8.0, 8.1], [8.1, 8.3]], [[7.5, 7.5], [7.6, 7.5]]])
    >>> round(found.components.repeatability, 5)
    0.00667
    """
    readings = cells(measurements, "appraisers, parts, trials", (2, 2, 2))
    width = None if tolerance is None else positive(tolerance, "The width of tolerance")
    a, p, r = readings.shape
    with exactly():
        exact = decimals(readings)
        total, of_appraisers = sum_of_squares(exact, (0, 1, 2)), sum_of_squares(exact, (0,))
        of_cells = sum_of_squares(exact, (0, 1))
        of_parts, error = of_cells - of_appraisers, total - of_cells
        rows = (
            row_of("appraisers", of_appraisers, a - 1, of_parts, a * (p - 1)),
            row_of("parts within appraisers", of_parts, a * (p - 1), error, a * p * (r - 1)),
            row_of("repeatability", error, a * p * (r - 1)),
            row_of("total", total, a * p * r - 1),
        )
    lines = {
        "repeatability": [Term(1, rows[2].mean_square, rows[2].degrees_of_freedom)],
        "appraisers": difference(rows[0], rows[1], p * r),
        "parts": difference(rows[1], rows[2], r),
    }
    of_lines = {name: estimate(terms) for name, terms in lines.items()}
    components = Components(
        repeatability=of_lines["repeatability"],
        reproducibility=of_lines["appraisers"],
        appraisers=of_lines["appraisers"],
        interaction=0.0,
        parts=of_lines["parts"],
        intervals={name: interval(terms, confidence) for name, terms in lines.items()},
        tolerance=width,
    )
    return Nested(rows, components)
