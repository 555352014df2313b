"""Six tape readings give the shape of a panel, as an independent calculation in 40 digits gives it."""

import math

import mpmath  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc_app.measure.length import Length
from qc_app.measure.quadrilateral import PanelShape, solve, square_from_diagonals

Six = tuple[float, float, float, float, float, float]
DIMENSIONS = (
    "diagonal_difference",
    "lean",
    "angle",
    "length_taper",
    "width_taper",
    "mid_length",
    "mid_width",
)


def panel(
    length: float, width: float, six: Six, uncertainty: float | Six = 1 / 32
) -> PanelShape[float, bool]:
    return solve(length, width, edges=six[:2], ends=six[2:4], diagonals=six[4:], uncertainty=uncertainty)


def six_of(corners: list[tuple[float, float]]) -> Six:
    a, b, c, d = corners
    ab, dc, da, cb = math.dist(a, b), math.dist(d, c), math.dist(d, a), math.dist(c, b)
    return ab, dc, da, cb, math.dist(a, c), math.dist(b, d)


def high_precision_corners(six: Six, uncertainty: Six) -> list[tuple[float, float]]:
    """Corners of least squares: the zero of the gradient of the sum of squares over five coordinates."""
    with mpmath.workdps(40):
        weights = [1 / mpmath.mpf(u) ** 2 for u in uncertainty]

        def gradient(*at: mpmath.mpf) -> list[mpmath.mpf]:
            bx, cx, cy, dx, dy = at
            points = [(mpmath.mpf(0), mpmath.mpf(0)), (bx, mpmath.mpf(0)), (cx, cy), (dx, dy)]
            slopes = [[mpmath.mpf(0), mpmath.mpf(0)] for _ in points]
            pairs = [(0, 1), (3, 2), (3, 0), (2, 1), (0, 2), (1, 3)]
            for (one, other), read, weight in zip(pairs, six, weights, strict=True):
                along = [points[one][axis] - points[other][axis] for axis in (0, 1)]
                distance = mpmath.sqrt(along[0] ** 2 + along[1] ** 2)
                force = weight * (distance - read) / distance
                for axis in (0, 1):
                    slopes[one][axis] += force * along[axis]
                    slopes[other][axis] -= force * along[axis]
            return [slopes[1][0], slopes[2][0], slopes[2][1], slopes[3][0], slopes[3][1]]

        width = (six[2] + six[3]) / 2
        start = (six[0], six[1], width, 0, width)
        found = mpmath.findroot(gradient, start, tol=1e-50, maxsteps=40, verify=False)
        assert max(abs(slope) for slope in gradient(*found)) < 1e-20
        bx, cx, cy, dx, dy = (float(value) for value in found)
    return [(0.0, 0.0), (bx, 0.0), (cx, cy), (dx, dy)]


def nearly_rectangular(off: float) -> st.SearchStrategy[tuple[float, float, Six]]:
    move = st.floats(-off, off)

    @st.composite
    def drawn(draw: st.DrawFn) -> tuple[float, float, Six]:
        length, width = draw(st.floats(60, 400)), draw(st.floats(40, 150))
        nominal = [(0.0, 0.0), (length, 0.0), (length, width), (0.0, width)]
        return length, width, six_of([(x + draw(move), y + draw(move)) for x, y in nominal])

    return drawn()


MISREADINGS = st.tuples(*[st.floats(-1, 1)] * 6)
UNCERTAINTIES = st.tuples(*[st.floats(0.01, 0.1)] * 6)


@settings(max_examples=25)
@given(nearly_rectangular(2), MISREADINGS, UNCERTAINTIES)
def test_corners_are_those_of_least_squares(
    shape: tuple[float, float, Six], errors: Six, uncertainty: Six
) -> None:
    length, width, six = shape
    read = tuple(r + e for r, e in zip(six, errors, strict=True))
    found = panel(length, width, read, uncertainty)  # type: ignore[arg-type]
    expected = high_precision_corners(read, uncertainty)  # type: ignore[arg-type]
    assert np.abs(found.corners - np.array(expected)).max() < 1e-9
    squares = sum(
        (found.residuals[name] / u) ** 2 for name, u in zip(found.residuals, uncertainty, strict=True)
    )
    assert found.misclosure_ratio is not None
    assert abs(found.misclosure_ratio) == pytest.approx(math.sqrt(squares), abs=1e-9)


@given(nearly_rectangular(6))
def test_a_true_quadrilateral_closes(shape: tuple[float, float, Six]) -> None:
    length, width, six = shape
    found = panel(length, width, six)
    assert found.misclosure == pytest.approx(0, abs=1e-9)
    assert found.is_consistent is True
    assert found.suspects() == ()
    assert np.allclose(list(found.adjusted.values()), six, rtol=0, atol=1e-9)
    ac, bd = six[4:]
    assert found.diagonal_difference == pytest.approx(ac - bd, abs=1e-9)


def test_the_quadrilateral_of_brahmagupta_closes() -> None:
    # Sides 25, 39, 60, 52 in order, diagonals 56 and 63, area 1764: classical integer example, see Sastry,
    # Forum Geometricorum 2 (2002) 167-173
    found = panel(42, 45, (25, 60, 52, 39, 56, 63))
    assert found.misclosure == pytest.approx(0, abs=1e-12)
    x, y = found.corners.T
    area = abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2
    assert area == pytest.approx(1764, abs=1e-10)


def test_three_four_five_is_square() -> None:
    # The 3-4-5 rule of carpentry and surveying; common practice
    found = panel(4, 3, (4, 4, 3, 3, 5, 5), 0.01)
    assert (found.misclosure, found.lean, found.angle) == pytest.approx((0, 0, 0), abs=1e-12)
    assert found.corners == pytest.approx(np.array([[0, 0], [4, 0], [4, 3], [0, 3]]), abs=1e-12)


def test_equal_diagonals_do_not_prove_a_rectangle() -> None:
    # Isosceles trapezoid 288 and 288 1/8 in long, 96 in high; plane geometry, solved two ways
    diagonal, leg = 303.637948725534, 96.00002034504993
    found = panel(288, 96, (288, 288.125, leg, leg, diagonal, diagonal))
    assert found.misclosure == pytest.approx(0, abs=1e-9)
    assert found.length_taper == pytest.approx(-0.125, abs=1e-9)
    assert (found.diagonal_difference, found.lean, found.angle) == pytest.approx((0, 0, 0), abs=1e-9)
    assert found.mid_length == pytest.approx(288.0625, abs=1e-9)
    assert found.mid_width == pytest.approx(96, abs=1e-9)
    assert found.squaring_move is None or found.squaring_move.distance < 1e-9
    corner = found.corners[3] - found.corners[0]
    assert math.degrees(math.atan2(corner[1], corner[0])) - 90 == pytest.approx(0.03730193451695662, abs=1e-9)


@given(st.floats(60, 400), st.floats(40, 150), st.floats(-3, 3))
def test_a_racked_panel_leans_as_its_diagonals_say(length: float, width: float, lean: float) -> None:
    height = math.sqrt(width**2 - lean**2)
    six = six_of([(0, 0), (length, 0), (length + lean, height), (lean, height)])
    found = panel(length, width, six)
    assert found.lean == pytest.approx(lean, abs=1e-9)
    assert found.lean == pytest.approx(square_from_diagonals(length, width, *six[4:]).lean, abs=1e-9)
    assert found.angle == pytest.approx(math.degrees(math.asin(lean / width)), abs=1e-9)


@given(nearly_rectangular(2), MISREADINGS)
def test_labels_from_the_other_end_mirror_the_answer(shape: tuple[float, float, Six], errors: Six) -> None:
    length, width, six = shape
    ab, dc, da, cb, ac, bd = (r + e for r, e in zip(six, errors, strict=True))
    one = panel(length, width, (ab, dc, da, cb, ac, bd))
    other = panel(length, width, (ab, dc, cb, da, bd, ac))
    assert other.misclosure == pytest.approx(one.misclosure, abs=1e-9)
    for name in ("diagonal_difference", "lean", "angle", "width_taper"):
        assert getattr(other, name) == pytest.approx(-getattr(one, name), abs=1e-9)
    for name in ("length_taper", "mid_length", "mid_width"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), abs=1e-9)


@given(nearly_rectangular(2), MISREADINGS)
def test_labels_turned_half_round_give_the_same_answer(shape: tuple[float, float, Six], errors: Six) -> None:
    length, width, six = shape
    ab, dc, da, cb, ac, bd = (r + e for r, e in zip(six, errors, strict=True))
    one, other = (
        panel(length, width, (ab, dc, da, cb, ac, bd)),
        panel(length, width, (dc, ab, cb, da, ac, bd)),
    )
    for name in ("misclosure", "diagonal_difference", "lean", "angle", "mid_length", "mid_width"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), abs=1e-9)
    for name in ("length_taper", "width_taper"):
        assert getattr(other, name) == pytest.approx(-getattr(one, name), abs=1e-9)


@settings(max_examples=20)
@given(nearly_rectangular(2), MISREADINGS, UNCERTAINTIES)
def test_uncertainties_are_those_of_numerical_differentiation(
    shape: tuple[float, float, Six], errors: Six, uncertainty: Six
) -> None:
    length, width, six = shape
    errors = tuple(e / 20 for e in errors)  # type: ignore[assignment]
    read = np.array(six) + errors
    found = panel(length, width, tuple(read), uncertainty)
    step = 1e-4
    for name in DIMENSIONS:
        variance = 0.0
        for row in range(6):
            change = np.eye(6)[row] * step
            up, down = (panel(length, width, tuple(read + s * change), uncertainty) for s in (1, -1))
            variance += ((getattr(up, name) - getattr(down, name)) / (2 * step) * uncertainty[row]) ** 2
        assert found.standard_uncertainties[name] == pytest.approx(math.sqrt(variance), rel=2e-3, abs=1e-7)


def test_one_reading_in_a_hundred_sound_panels_is_called_inconsistent() -> None:
    rng = np.random.default_rng(20)
    six = np.array(six_of([(0, 0), (288, 0), (288.1, 96), (0.1, 96)]))[:, None] + rng.normal(
        0, 1 / 32, (6, 40_000)
    )
    edges, ends, diagonals = (six[0], six[1]), (six[2], six[3]), (six[4], six[5])
    many = solve(288, 96, edges=edges, ends=ends, diagonals=diagonals, uncertainty=1 / 32)
    assert many.is_consistent is not None
    # binomial, standard deviation 0.0005
    assert 1 - many.is_consistent.mean() == pytest.approx(0.01, abs=0.002)
    assert many.lean.std() == pytest.approx(many.standard_uncertainties["lean"].mean(), rel=0.02)
    assert many.mid_width.std() == pytest.approx(many.standard_uncertainties["mid_width"].mean(), rel=0.02)


@pytest.mark.parametrize("missing", range(6))
def test_five_readings_give_the_sixth(missing: int) -> None:
    six = six_of([(0, 0), (288.3, 0), (287.9, 96.2), (0.4, 95.8)])
    given: list[float | None] = list(six)
    given[missing] = None
    found = solve(
        288,
        96,
        edges=(given[0], given[1]),
        ends=(given[2], given[3]),
        diagonals=(given[4], given[5]),
        uncertainty=0.03,
    )
    assert list(found.adjusted.values()) == pytest.approx(six, abs=1e-9)
    assert (found.misclosure, found.misclosure_ratio, found.is_consistent) == (None, None, None)
    assert len(found.readings) == len(found.residuals) == 5
    assert all(math.isfinite(value) for value in found.standard_uncertainties.values())


def test_diagonals_alone_rack_the_nominal_panel() -> None:
    found = solve(288, 96, diagonals=(303.625, 303.5625), uncertainty=1 / 32)
    assert found.diagonal_difference == pytest.approx(0.0625, abs=1e-12)
    assert found.lean == pytest.approx(0.03294, abs=1e-5)
    assert found.is_consistent is None
    # u(AC − BD) = √2 · 1/32, and the lean is D / 2L of it
    assert found.standard_uncertainties["diagonal_difference"] == pytest.approx(math.sqrt(2) / 32, rel=1e-9)
    assert found.standard_uncertainties["lean"] == pytest.approx(math.sqrt(2) / 32 * 303.6 / 576, rel=1e-3)


def test_many_panels_are_solved_as_one_by_one() -> None:
    rng = np.random.default_rng(7)
    six = np.array([288, 288, 96, 96, 303.58, 303.58])[:, None] + rng.normal(0, 0.2, (6, 50))
    edges, ends, diagonals = (six[0], six[1]), (six[2], six[3]), (six[4], six[5])
    many = solve(288, 96, edges=edges, ends=ends, diagonals=diagonals, uncertainty=1 / 32)
    assert many.corners.shape == (50, 4, 2)
    for row in (0, 17, -1):
        one = panel(288, 96, tuple(six[:, row]))
        assert many[row].lean == pytest.approx(one.lean, abs=1e-10)
        assert many[row].misclosure == pytest.approx(one.misclosure, abs=1e-10)
        for suspect, alone in zip(many[row].suspects(), one.suspects(), strict=True):
            assert (suspect.reading, suspect.slip) == (alone.reading, alone.slip)
            assert suspect.expected == pytest.approx(alone.expected, abs=1e-9)
        assert many.corners[row] == pytest.approx(one.corners, abs=1e-10)
    with pytest.raises(IndexError):
        many[50]


def test_arrays_keep_their_shape() -> None:
    grid = np.full((2, 3), 303.58)
    found = solve(288, 96, edges=(288, 288), ends=(96, 96), diagonals=(grid, 303.58), uncertainty=1 / 32)
    assert found.corners.shape == (2, 3, 4, 2)
    assert found.lean.shape == found.standard_uncertainties["lean"].shape == (2, 3)


def test_lengths_are_taken_as_readings() -> None:
    six = [Length.from_millimetres(mm) for mm in (7315, 7315, 2438, 2438, 7711, 7710)]
    one = Length.from_inches(288)
    found = solve(
        one,
        Length.from_inches(96),
        edges=(six[0], six[1]),
        ends=(six[2], six[3]),
        diagonals=(six[4], six[5]),
        uncertainty=Length.from_millimetres(1),
    )
    assert found.diagonal_difference == pytest.approx(1 / 25.4, abs=1e-6)
    assert found.readings["AB"] == float(six[0])
