"""Outlier tests against the e-Handbook and published tables."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.refusal import Refusal
from qc_app.spc.outliers import generalised_esd, grubbs, grubbs_critical

MASS = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]

# NIST/SEMATECH e-Handbook 1.3.5.17.2: residuals of 15 observed semi-diameters of Venus.
VENUS = [-1.40, -0.44, -0.30, -0.24, -0.22, -0.13, -0.05, 0.06, 0.10, 0.18, 0.20, 0.39, 0.48, 0.63, 1.01]

# NIST/SEMATECH e-Handbook 1.3.5.17.3: 54 values of B. Rosner, Technometrics 25(2), 1983.
ROSNER = """
-0.25 0.68 0.94 1.15 1.20 1.26 1.26 1.34 1.38 1.43 1.49 1.49 1.55 1.56 1.58 1.65 1.69 1.70 1.76 1.77
1.81 1.91 1.94 1.96 1.99 2.06 2.09 2.10 2.14 2.15 2.23 2.24 2.26 2.35 2.37 2.40 2.47 2.54 2.62 2.64
2.90 2.92 2.92 2.93 3.21 3.26 3.30 3.59 3.68 4.30 4.64 5.34 5.42 6.01
"""


def test_one_reading_of_a_mass_spectrometer() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1: G = 2.4687, critical 2.032 (one-sided) and 2.126, truncated."""
    found = grubbs(MASS)
    assert found.statistic == pytest.approx(2.4687, abs=1e-4)
    assert found.critical == pytest.approx(2.1266, abs=1e-4)
    assert grubbs_critical(8, 0.05, sides=1) == pytest.approx(2.032, abs=5e-4)
    assert found.outliers == (7,)
    assert found.p < 0.001


# Grubbs' one-sided critical values at 0.10, 0.05 and 0.01, as printed (three figures off by a last digit).
@pytest.mark.parametrize(
    ("n", "printed"),
    [
        (3, (1.15, 1.15, 1.15)),
        (4, (1.42, 1.46, 1.49)),
        (5, (1.60, 1.67, 1.75)),
        (6, (1.73, 1.82, 1.94)),
        (7, (1.83, 1.94, 2.10)),
        (8, (1.91, 2.03, 2.22)),
        (9, (1.98, 2.11, 2.32)),
        (10, (2.03, 2.18, 2.41)),
        (15, (2.25, 2.41, 2.71)),
        (20, (2.38, 2.56, 2.88)),
    ],
)
def test_printed_critical_values(n: int, printed: tuple[float, float, float]) -> None:
    found = tuple(grubbs_critical(n, alpha, sides=1) for alpha in (0.10, 0.05, 0.01))
    assert found == pytest.approx(printed, abs=0.0065)


def test_the_chance_of_a_distance_at_the_critical_value_is_alpha() -> None:
    values = [*MASS[:-1], 204.0]
    found = grubbs(values, alpha=0.05)
    at_critical = grubbs(values, alpha=found.p)
    assert at_critical.critical == pytest.approx(found.statistic, rel=1e-9)


def test_three_outliers_that_hide_each_other() -> None:
    """Printed, cut after three decimals: 3.118, 2.942, 3.179, 2.810, 2.815; critical 3.158, 3.151, 3.143."""
    values = [float(part) for part in ROSNER.split()]
    found = generalised_esd(values, most=10)
    assert found.statistics[:5] == pytest.approx((3.118, 2.942, 3.179, 2.810, 2.815), abs=1e-3)
    assert found.critical[:5] == pytest.approx((3.158, 3.151, 3.143, 3.136, 3.128), abs=1.1e-3)
    assert [values[i] for i in found.outliers] == [6.01, 5.42, 5.34]
    assert not grubbs(values).is_outlier, "a test for one outlier does not see them"


def test_the_two_outlying_observations_of_venus() -> None:
    """Printed: −1.40 and 1.01 are the two farthest; without them 0.292 of the sum of squares is left.

    That share (of G. L. Tietjen, R. H. Moore, *Technometrics* 14(3), 1972; from memory) is Π (1 − n G²/(n −
    1)²) over the steps, n falling by one. Their test for exactly two calls both outlying at 5 %, its critical
    share being 0.317; step by step only −1.40 is (2.574 against 2.548), 1.01 is not (2.219 against 2.507).
    """
    found = generalised_esd(VENUS, most=2)
    assert [VENUS[i] for i in found.candidates] == [-1.40, 1.01]
    left = math.prod(1 - n * g**2 / (n - 1) ** 2 for n, g in zip((15, 14), found.statistics, strict=True))
    assert left == pytest.approx(0.292, abs=5e-4)
    assert [VENUS[i] for i in found.outliers] == [-1.40]
    assert grubbs(VENUS).outliers == (0,)
    assert not grubbs(VENUS[1:]).is_outlier


@given(st.lists(st.floats(-3, 3), min_size=8, max_size=30, unique=True))
def test_nothing_is_taken_from_what_was_measured(values: list[float]) -> None:
    kept = list(values)
    found = generalised_esd(values, most=3)
    assert values == kept
    assert set(found.outliers) <= set(range(len(values)))
    assert len(found.candidates) == 3


def test_all_but_one_equal_is_the_farthest_a_value_can_be() -> None:
    assert grubbs([1.0, 1.0, 1.0, 9.0]).p == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("values", "words"),
    [([1.0, 2.0], "at least 3"), ([2.0] * 5, "standard deviation"), ([1.0, float("nan"), 2.0], "nan")],
)
def test_values_that_tell_nothing_are_refused(values: list[float], words: str) -> None:
    with pytest.raises(Refusal, match=words):
        grubbs(values)


def test_more_outliers_than_can_be_told_are_refused() -> None:
    with pytest.raises(Refusal, match="Of 5 values at most 3"):
        generalised_esd([1, 2, 3, 4, 9], most=4)
    with pytest.raises(Refusal, match="at least 1"):
        generalised_esd([1, 2, 3, 4, 9], most=0)
