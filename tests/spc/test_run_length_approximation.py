"""The exact run length of a cumulative sum beside Siegmund's approximation, which shares no code with it."""

import math

import pytest

from qc_app.spc import run_length


def siegmund(allowance: float, decision: float, shift: float) -> float:
    """D. Siegmund, *Sequential Analysis*, 1985 (from memory): Brownian motion, 1.166 for overshoot."""

    def one_side(drift: float) -> float:
        reach = decision + 1.166
        if drift == 0:
            return reach**2
        return (math.exp(-2 * drift * reach) + 2 * drift * reach - 1) / (2 * drift**2)

    return 1 / (1 / one_side(shift - allowance) + 1 / one_side(-shift - allowance))


def test_siegmunds_figures_of_a_textbook_are_a_little_long() -> None:
    """Montgomery, *Statistical Quality Control* (from memory): 938.2 for one side, 469.1 for both.

    The exact figures are 930.9 and 465.4, so both are long by 0.8 %.
    """
    assert siegmund(0.5, 5, 0) == pytest.approx(469.1, abs=0.05)
    assert run_length.cusum(0.5, 5) == pytest.approx(465.4, abs=0.05)
    assert 2 * run_length.cusum(0.5, 5) == pytest.approx(930.9, abs=0.05)


# Common practice: good to a hundredth for an allowance up to 1/2 and shifts up to 1; worse where few points
# suffice to signal.
@pytest.mark.parametrize(
    ("allowance", "decision", "shift", "within"),
    [
        (0.25, 4, 0, 0.01),
        (0.25, 8, 0, 0.01),
        (0.5, 4, 0, 0.01),
        (0.5, 4, 0.5, 0.01),
        (0.5, 4, 1, 0.01),
        (0.5, 5, 0, 0.01),
        (0.5, 5, 0.25, 0.01),
        (0.5, 5, 1, 0.01),
        (0.5, 5, 2, 0.04),
        (0.5, 4, 3, 0.10),
        (1, 2.5, 0, 0.08),
    ],
)
def test_cumulative_sums_are_near_siegmunds_approximation(
    allowance: float, decision: float, shift: float, within: float
) -> None:
    exact = float(run_length.cusum(allowance, decision, shift))
    assert siegmund(allowance, decision, shift) == pytest.approx(exact, rel=within)
