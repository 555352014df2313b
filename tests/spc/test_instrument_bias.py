"""Bias of a real instrument, known by its differences from another."""

import math

import pytest

from qc_app.spc import gauge

# NIST/SEMATECH e-Handbook 2.4.5.5 and 2.5.3.2.1: one wiring of a probe less another, in two runs.
FIRST_RUN = """
-0.0108 -0.0111 -0.0062 0.002 0.0018 0.0002 -0.0089 -0.004 -0.0022 -0.0012 -0.0034 -0.0016 -0.0111
-0.0059 -0.0078 -0.0007 0.0006 -0.005 -0.014 -0.0048 0.0018 0.0016 0.0044 -0.0056 -0.0155 -0.001
-0.0014 0.0003 -0.0017
"""
SECOND_RUN = """
0.0088 0.0062 0.0074 0.0047 0.0049 0 0.0075 -0.0016 0.0052 0.0085 -0.0018 0.0092 0.004 0.0067 0.0016
0.002 0.0017 0.0076 0.0002 0.0025 0.0045 -0.0025 0.0035 0.0099 0.0123 0.0042 0.0098 0.0032 0.0115
"""


@pytest.mark.parametrize(
    ("differences", "average", "deviation", "t"),
    [(FIRST_RUN, -0.00383, 0.00514, -4.0), (SECOND_RUN, 0.00489, 0.00400, 6.6)],
    ids=["first run", "second run"],
)
def test_two_wirings_differ_beyond_chance(
    differences: str, average: float, deviation: float, t: float
) -> None:
    """Figures from memory, the first deviation cut; critical 2.048 of Student's t at 28 degrees."""
    found = gauge.bias([float(part) for part in differences.split()], 0.0)
    assert found.bias == pytest.approx(average, abs=5.1e-6)
    assert found.standard_error * math.sqrt(29) == pytest.approx(deviation, abs=1e-5)
    assert found.t == pytest.approx(t, abs=0.05)
    assert found.degrees_of_freedom == 28
    reach = found.interval().upper - found.bias
    assert reach / found.standard_error == pytest.approx(2.048, abs=5e-4)
    assert found.p < 0.001
