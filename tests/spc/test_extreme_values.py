"""However large, small or alike the values: a finite answer or a refusal, never a silent NaN or a warning."""

import math
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.spc import attributes, capability, gauge, outliers, phases, shewhart, short_run, weighted
from qc_app.spc import tolerance_interval as ti
from qc_app.spc.patterns import find

anything = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, -0.0, 1.0, 1.0, 1e150, -1e150, 1e-150, 5e-324, 1e16, 1e16 + 2, math.pi]),
    st.integers(0, 5).map(float),
)
rows = st.lists(anything, max_size=12)
tables = st.lists(st.lists(anything, max_size=4), max_size=5)

OF_A_ROW: dict[str, Callable[[list[float]], object]] = {
    "individuals": shewhart.individuals,
    "counts": attributes.counts,
    "exact counts": lambda v: attributes.counts(v, limits="probability"),
    "proportions": lambda v: attributes.proportions(v, 20),
    "rates": lambda v: attributes.rates([1] * len(v), v),
    "ewma": lambda v: weighted.ewma(v, 1, 0.5),
    "cusum": lambda v: weighted.cusum(v, 1, 0.5),
    "short run": lambda v: short_run.by_tolerance(v, 1, 0.25),
    "patterns": lambda v: find(v, 1, 0.5),
    "base": phases.check_base,
    "freeze": phases.freeze,
    "change point": lambda v: phases.change_point(v, 0.5),
    "normality": phases.anderson_darling,
    "grubbs": outliers.grubbs,
    "esd": lambda v: outliers.generalised_esd(v, 2),
    "tolerance": ti.normal,
    "by order": lambda v: ti.by_order(v, 0.5, 0.5),
    "bias": lambda v: gauge.bias(v, 1.0),
    "line": lambda v: gauge.straight_line(range(len(v)), v),
}

OF_A_TABLE: dict[str, Callable[[list[list[float]]], object]] = {
    "means and ranges": shewhart.means_and_ranges,
    "means and deviations": shewhart.means_and_deviations,
    "between and within": shewhart.between_within,
    "tolerance of subgroups": ti.within_subgroups,
    "kappa": gauge.kappa_of_table,
    "crossed": lambda t: gauge.crossed([[row] for row in t]),
    "crossed by two": lambda t: gauge.crossed([[row, row[::-1]] for row in t]),
    "nested": lambda t: gauge.nested([[row, row[::-1]] for row in t]),
    "deviations": lambda t: short_run.deviations(t, 1),
}


def numbers(found: object) -> list[float]:
    """All numbers in a result."""
    if is_dataclass(found) and not isinstance(found, type):
        return [n for field in fields(found) for n in numbers(getattr(found, field.name))]
    if isinstance(found, dict):
        return [n for value in found.values() for n in numbers(value)]
    if isinstance(found, tuple | list):
        return [n for value in found for n in numbers(value)]
    if isinstance(found, np.ndarray):
        return [float(n) for n in found.ravel()]
    return [float(found)] if isinstance(found, float | int) else []


def no_silent_nan(act: Callable[[], object]) -> None:
    with suppress(Refusal):
        assert not any(math.isnan(n) for n in numbers(act()))


@pytest.mark.parametrize("name", OF_A_ROW)
@settings(max_examples=30)
@given(values=rows)
def test_of_any_row_of_values(name: str, values: list[float]) -> None:
    no_silent_nan(lambda: OF_A_ROW[name](values))


@pytest.mark.parametrize("name", OF_A_TABLE)
@settings(max_examples=30)
@given(table=tables)
def test_of_any_table_of_values(name: str, table: list[list[float]]) -> None:
    no_silent_nan(lambda: OF_A_TABLE[name](table))


def test_intervals_of_variances_whose_squares_no_double_holds() -> None:
    found = gauge.crossed([[[0.0, 0.0, 0.0, 1.0]], [[0.0, 0.0, 0.0, 2e76]]]).components
    small = gauge.crossed([[[0.0, 0.0, 0.0, 0.0]], [[0.0, 0.0, 0.0, 2.0]]]).components
    assert found.intervals["parts"].upper == pytest.approx(1e152 * small.intervals["parts"].upper)


@settings(max_examples=50)
@given(anything, anything, anything, anything, anything)
def test_of_any_limits(mean: float, sigma: float, lower: float, upper: float, target: float) -> None:
    no_silent_nan(lambda: capability.indices(mean, sigma, lower, upper, target))


@settings(max_examples=30)
@given(rows)
def test_of_any_capability_study(values: list[float]) -> None:
    no_silent_nan(lambda: capability.study(values, 0.5, 3.5, 2, despite_signals=True))
