"""Published data of several variables, each on its own: means, spreads, and the moment of a shift."""

import numpy as np
import pytest

from qc_app.spc.moments import standard_deviation
from qc_app.spc.phases import change_point, check_base
from qc_app.spc.shewhart import individuals, means_and_deviations

# D. S. Holmes, A. E. Mergen, *Quality Engineering* 5(4), 1993: percent of large and of medium grains in 56
# samples; as Montgomery, *Introduction to Statistical Quality Control*, 4th edition, table 10-2, has them.
LARGE = """
5.4 3.2 5.2 3.5 2.9 4.6 4.4 5.0 8.4 4.2 3.8 4.3 3.7 3.8 2.6 2.7 7.9 6.6 4.0 2.5 3.8 2.8 2.9 3.3 7.2
7.3 7.0 6.0 7.4 6.8 6.3 6.1 6.6 6.2 6.5 6.0 4.8 4.9 5.8 7.2 5.6 6.9 7.4 8.9 10.9 8.2 6.7 5.9 8.7 6.4
8.4 9.6 5.1 5.0 5.0 5.9
"""
MEDIUM = """
93.6 92.6 91.7 86.9 90.4 92.1 91.5 90.3 85.1 89.7 92.5 91.8 91.7 90.3 94.5 94.5 88.7 84.6 90.7 90.2
92.7 91.5 91.8 90.6 87.3 79.0 82.6 83.5 83.6 84.8 87.1 87.2 87.3 84.8 87.4 86.8 88.8 89.8 86.9 83.8
89.2 84.5 84.4 84.3 82.2 89.8 90.4 90.1 83.6 88.0 84.7 80.6 93.0 91.4 86.2 87.2
"""

# T. P. Ryan, *Statistical Methods for Quality Improvement*, 2nd edition, table 9.2: 20 subgroups of 4.
FIRST = """
72 84 79 49 56 87 33 42 55 73 22 60 44 80 54 74 97 26 48 58 83 89 91 62 47 66 53 58 88 50 84 69 57
47 41 46 26 39 52 48 46 27 63 34 49 62 78 87 71 63 82 55 71 58 69 70 67 69 70 94 55 63 72 49 49 51
55 76 72 80 61 59 61 74 62 57 35 38 41 46
"""
SECOND = """
23 30 28 10 14 31 8 9 13 22 6 16 9 28 15 25 36 10 14 15 30 35 36 18 12 18 14 16 31 11 30 19 14 10 8
10 7 11 35 30 10 8 19 9 11 20 27 31 22 16 31 15 21 19 17 20 18 19 18 35 15 16 20 12 13 14 16 26 22
28 18 17 19 20 16 14 10 11 13 16
"""


def values(text: str) -> np.ndarray:
    return np.array([float(part) for part in text.split()])


@pytest.mark.parametrize(
    ("grains", "of_all", "of_neighbours"), [(LARGE, 3.770, 1.562), (MEDIUM, 13.53, 6.721)]
)
def test_variance_of_grains_overall_and_from_neighbours(
    grains: str, of_all: float, of_neighbours: float
) -> None:
    """Variances as printed (from memory); half the mean squared difference of neighbours is far smaller."""
    points = values(grains)
    ranges = individuals(points).moving_ranges
    assert standard_deviation(points) ** 2 == pytest.approx(of_all, abs=0.005)
    assert float(ranges @ ranges) / (2 * ranges.size) == pytest.approx(of_neighbours, abs=5.1e-4)
    assert check_base(points).correlated


@pytest.mark.parametrize("grains", [LARGE, MEDIUM])
def test_the_grains_changed_after_the_twenty_fourth_sample(grains: str) -> None:
    """J. H. Sullivan, W. H. Woodall, *Journal of Quality Technology* 28(4), 1996 (from memory)."""
    points = values(grains)
    assert change_point(points, individuals(points).sigma).first == 24


@pytest.mark.parametrize(
    ("variable", "average", "variance"), [(FIRST, 60.38, 222.03), (SECOND, 18.49, 56.58)]
)
def test_pooled_variance_of_subgroups(variable: str, average: float, variance: float) -> None:
    """Printed (from memory): the grand mean, and the mean of the variances within the subgroups.

    Charts of either variable alone show nothing; only the two together betray the tenth subgroup.
    """
    chart = means_and_deviations(values(variable).reshape(20, 4), pooled=True)
    assert chart.centre == pytest.approx(average, abs=0.0051)
    assert chart.sigma**2 == pytest.approx(variance, abs=0.0051)
    assert chart.outside.size == 0
