"""Squareness from two diagonals and the nominal size."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.measure.length import Length
from qc_app.measure.quadrilateral import square_from_diagonals
from qc_app.refusal import Refusal

# Parallelogram law, D1² − D2² = 4·L·e: length and width, difference of the diagonals for a lean of 1/16 in,
# lean for a difference of 1/16 in and its angle in degrees. Constructed and solved two ways.
GEOMETRY = [
    (96, 48, 0.1118, 0.03494, 0.0417),
    (144, 96, 0.10401, 0.03756, 0.02242),
    (192, 96, 0.1118, 0.03494, 0.02085),
    (288, 96, 0.11859, 0.03294, 0.01966),
    (288, 48, 0.1233, 0.03168, 0.03782),
    (240, 120, 0.1118, 0.03494, 0.01668),
]


def racked(length: float, width: float, lean: float) -> tuple[float, float]:
    height = math.sqrt(width**2 - lean**2)
    return math.hypot(length + lean, height), math.hypot(length - lean, height)


@pytest.mark.parametrize(("length", "width", "difference", "lean", "angle"), GEOMETRY)
def test_a_difference_of_diagonals_is_not_a_lean(
    length: int, width: int, difference: float, lean: float, angle: float
) -> None:
    leaning = square_from_diagonals(length, width, *racked(length, width, 1 / 16))
    assert leaning.diagonal_difference == pytest.approx(difference, abs=5e-5)
    assert leaning.lean == pytest.approx(1 / 16, abs=1e-9)
    half = math.hypot(length, width)
    differing = square_from_diagonals(length, width, half + 1 / 32, half - 1 / 32)
    assert differing.lean == pytest.approx(lean, abs=5e-6)
    assert differing.angle == pytest.approx(angle, abs=6e-5)


def test_equal_diagonals_give_no_lean_even_for_a_trapezoid() -> None:
    # Isosceles trapezoid 288 and 288 1/8 in long, 96 in high, both diagonals 303.637948725534 in; plane
    # geometry
    square = square_from_diagonals(288.0625, 96.00002034504993, 303.637948725534, 303.637948725534)
    assert (square.diagonal_difference, square.lean, square.angle) == (0, 0, 0)


def test_lengths_give_an_exact_difference() -> None:
    size = Length.from_inches(288), Length.from_inches(96)
    square = square_from_diagonals(*size, Length(Fraction(4857, 16)), Length(Fraction(4858, 16)))
    assert square.exact_difference == Length(Fraction(-1, 16))
    assert square.diagonal_difference == -0.0625
    assert square.lean < 0
    assert square.angle < 0


@given(st.floats(36, 480), st.floats(24, 144), st.floats(-3, 3))
def test_the_lean_of_any_racked_panel_is_found(length: float, width: float, lean: float) -> None:
    square = square_from_diagonals(length, width, *racked(length, width, lean))
    assert square.lean == pytest.approx(lean, abs=1e-9)
    assert math.sin(math.radians(square.angle)) * width == pytest.approx(lean, abs=1e-9)


@given(st.integers(576, 7680), st.integers(384, 2304), st.integers(-16, 16))
def test_swapping_the_diagonals_mirrors_the_answer(length: int, width: int, steps: int) -> None:
    edge, end = Fraction(length, 16), Fraction(width, 16)
    half = Fraction(math.hypot(edge, end))
    ac, bd = Length(half + Fraction(steps, 32)), Length(half - Fraction(steps, 32))
    one = square_from_diagonals(Length(edge), Length(end), ac, bd)
    other = square_from_diagonals(Length(edge), Length(end), bd, ac)
    assert one.exact_difference == -other.exact_difference
    assert (one.lean, one.angle) == (-other.lean, -other.angle)


@pytest.mark.parametrize(
    ("readings", "reason"),
    [
        ((0, 96, 303, 303), "length must be more than zero"),
        ((288, -96, 303, 303), "width must be more than zero"),
        ((288, 96, math.nan, 303), "diagonal AC must be a finite number"),
        ((288, 96, 303, math.inf), "diagonal BD must be a finite number"),
        ((288, 96, 385, 303), "AC of 385.0 in cannot be"),
        ((288, 96, 303, 191), "BD of 191.0 in cannot be"),
        ((288, 96, 25.3, 25.3), "AC of 25.3 in cannot be"),
        ((96, 96, 135.75, 11.3125), "Check the units"),
        ((96, 96, 11.3125, 11.3125), "Check the units"),
    ],
)
def test_what_no_panel_can_read_is_refused(readings: tuple[float, float, float, float], reason: str) -> None:
    with pytest.raises(Refusal) as refusal:
        square_from_diagonals(*readings)
    assert reason in str(refusal.value)
