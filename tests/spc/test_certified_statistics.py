"""NIST Statistical Reference Datasets (StRD): certified values to 1e-9, however many equal digits."""

from importlib.resources import files

import numpy as np
import pytest

from qc_app.refusal import Refusal
from qc_app.spc.anova import one_way
from qc_app.spc.gauge import straight_line
from qc_app.spc.moments import lag_one_autocorrelation, mean, standard_deviation

MICHELSON = """
299.85 299.74 299.90 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.00 299.98 299.93 299.65
299.76 299.81 300.00 300.00 299.96 299.96 299.96 299.94 299.96 299.94 299.88 299.80 299.85 299.88
299.90 299.84 299.83 299.79 299.81 299.88 299.88 299.83 299.80 299.79 299.76 299.80 299.88 299.88
299.88 299.86 299.72 299.72 299.62 299.86 299.97 299.95 299.88 299.91 299.85 299.87 299.84 299.84
299.85 299.84 299.84 299.84 299.89 299.81 299.81 299.82 299.80 299.77 299.76 299.74 299.75 299.76
299.91 299.92 299.89 299.86 299.88 299.72 299.84 299.85 299.85 299.78 299.89 299.84 299.78 299.81
299.76 299.81 299.79 299.81 299.82 299.85 299.87 299.87 299.81 299.74 299.81 299.94 299.95 299.80
299.81 299.87
"""

MAVRO = """
2.00180 2.00170 2.00180 2.00190 2.00180 2.00170 2.00150 2.00140 2.00150 2.00150 2.00170 2.00180
2.00180 2.00190 2.00190 2.00210 2.00200 2.00160 2.00140 2.00130 2.00130 2.00150 2.00150 2.00160
2.00150 2.00140 2.00130 2.00140 2.00150 2.00140 2.00150 2.00160 2.00150 2.00160 2.00190 2.00200
2.00200 2.00210 2.00220 2.00230 2.00240 2.00250 2.00270 2.00260 2.00260 2.00260 2.00270 2.00260
2.00250 2.00240
"""

LEW = """
-213 -564 -35 -15 141 115 -420 -360 203 -338 -431 194 -220 -513 154 -125 -559 92 -21 -579 -52 99
-543 -175 162 -457 -346 204 -300 -474 164 -107 -572 -8 83 -541 -224 180 -420 -374 201 -236 -531 83
27 -564 -112 131 -507 -254 199 -311 -495 143 -46 -579 -90 136 -472 -338 202 -287 -477 169 -124 -568
17 48 -568 -135 162 -430 -422 172 -74 -577 -13 92 -534 -243 194 -355 -465 156 -81 -578 -64 139 -449
-384 193 -198 -538 110 -44 -577 -6 66 -552 -164 161 -460 -344 205 -281 -504 134 -28 -576 -118 156
-437 -381 200 -220 -540 83 11 -568 -160 172 -414 -408 188 -125 -572 -32 139 -492 -321 205 -262 -504
142 -83 -574 0 48 -571 -106 137 -501 -266 190 -391 -406 194 -186 -553 83 -13 -577 -49 103 -515 -280
201 300 -506 131 -45 -578 -80 138 -462 -361 201 -211 -554 32 74 -533 -235 187 -372 -442 182 -147
-566 25 68 -535 -244 194 -351 -463 174 -125 -570 15 72 -550 -190 172 -424 -385 198 -218 -536 96
"""

LOTTERY = """
162 671 933 414 788 730 817 33 536 875 670 236 473 167 877 980 316 950 456 92 517 557 956 954 104
178 794 278 147 773 437 435 502 610 582 780 689 562 964 791 28 97 848 281 858 538 660 972 671 613
867 448 738 966 139 636 847 659 754 243 122 455 195 968 793 59 730 361 574 522 97 762 431 158 429
414 22 629 788 999 187 215 810 782 47 34 108 986 25 644 829 630 315 567 919 331 207 412 242 607 668
944 749 168 864 442 533 805 372 63 458 777 416 340 436 140 919 350 510 572 905 900 85 389 473 758
444 169 625 692 140 897 672 288 312 860 724 226 884 508 976 741 476 417 831 15 318 432 241 114 799
955 833 358 935 146 630 830 440 642 356 373 271 715 367 393 190 669 8 861 108 795 269 590 326 866 64
523 862 840 219 382 998 4 628 305 747 247 34 747 729 645 856 974 24 568 24 694 608 480 410 729 947
293 53 930 223 203 677 227 62 455 387 318 562 242 428 968
"""


def zigzag(first: float, low: float, high: float) -> list[float]:
    """The NumAcc sets: one value, then 1000 that go back and forth."""
    return [first, *[low, high] * 500]


# Certified mean, standard deviation and lag-one autocorrelation (StRD, univariate summary statistics).
@pytest.mark.parametrize(
    ("values", "certified"),
    [
        ([float(v) for v in MICHELSON.split()], (299.8524, 0.0790105478190518, 0.535199668621283)),
        ([float(v) for v in MAVRO.split()], (2.001856, 0.000429123454003053, 0.937989183438248)),
        ([float(v) for v in LEW.split()], (-177.435, 277.332168044316, -0.307304800605679)),
        ([float(v) for v in LOTTERY.split()], (518.958715596330, 291.699727470969, -0.120948622967393)),
        ([10000001, 10000003, 10000002], (10000002, 1, -0.5)),
        (zigzag(1.2, 1.1, 1.3), (1.2, 0.1, -0.999)),
        (zigzag(1000000.2, 1000000.1, 1000000.3), (1000000.2, 0.1, -0.999)),
        (zigzag(10000000.2, 10000000.1, 10000000.3), (10000000.2, 0.1, -0.999)),
    ],
    ids=["Michelson", "Mavro", "Lew", "Lottery", "NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_univariate_statistics(values: list[float], certified: tuple[float, float, float]) -> None:
    found = mean(values), standard_deviation(values), lag_one_autocorrelation(values)
    assert found == pytest.approx(certified, rel=1e-9)


# Certified sums of squares between and within, and F (StRD, analysis of variance; the data ship in SciPy).
ANOVA = {
    "SiRstv": (5.11462616000000e-02, 2.16636560000000e-01, 1.18046237440255),
    "AtmWtAg": (3.63834187500000e-09, 1.04951729166667e-08, 1.59467335677930e01),
    "SmLs01": (1.68, 1.80, 21.0),
    "SmLs02": (16.08, 18.0, 201.0),
    "SmLs04": (1.68, 1.80, 21.0),
    "SmLs05": (16.08, 18.0, 201.0),
    "SmLs07": (1.68, 1.80, 21.0),
    "SmLs08": (16.08, 18.0, 201.0),
    "SmLs09": (160.08, 180.0, 2001.0),
}


@pytest.mark.parametrize("name", ANOVA)
def test_one_way_analysis_of_variance(name: str) -> None:
    text = (files("scipy.stats.tests") / "data" / "nist_anova" / f"{name}.dat").read_text(encoding="utf-8")
    rows = np.array(
        [[float(part) for part in line.split()] for line in text.splitlines()[60:] if line.strip()]
    )
    groups = [rows[rows[:, 0] == group, 1] for group in np.unique(rows[:, 0])]
    between, within, total = one_way(groups)
    assert (between.sum_of_squares, within.sum_of_squares, between.f) == pytest.approx(ANOVA[name], rel=1e-9)
    assert total.sum_of_squares == pytest.approx(between.sum_of_squares + within.sum_of_squares)


NORRIS = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6
778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6
557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1
888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2
0.5
"""


def test_a_calibration_line() -> None:
    """StRD, linear regression: Norris; pairs are reading and reference."""
    numbers = [float(part) for part in NORRIS.split()]
    line = straight_line(numbers[1::2], numbers[0::2])
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-9)
    assert line.intercept_error == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.slope_error == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert line.residual_deviation == pytest.approx(0.884796396144373, rel=1e-9)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-9)


# NIST/SEMATECH e-Handbook 6.5.4.1 (figures from memory): length, width and height of five things.
LENGTH, WIDTH, HEIGHT = (4.0, 4.2, 3.9, 4.3, 4.1), (2.0, 2.1, 2.0, 2.1, 2.2), (0.60, 0.59, 0.58, 0.62, 0.63)


@pytest.mark.parametrize(
    ("of", "average", "variance"), [(LENGTH, 4.10, 0.025), (WIDTH, 2.08, 0.0070), (HEIGHT, 0.604, 0.00043)]
)
def test_variances_of_three_dimensions(of: tuple[float, ...], average: float, variance: float) -> None:
    assert mean(of) == pytest.approx(average, rel=1e-12)
    assert standard_deviation(of) ** 2 == pytest.approx(variance, rel=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "covariance"), [(LENGTH, WIDTH, 0.0075), (LENGTH, HEIGHT, 0.00175), (WIDTH, HEIGHT, 0.00135)]
)
def test_a_slope_is_covariance_over_variance(
    x: tuple[float, ...], y: tuple[float, ...], covariance: float
) -> None:
    line = straight_line(x, y)
    assert line.slope * line.squares_x / 4 == pytest.approx(covariance, rel=1e-12)


# JCGM 100:2008 (GUM), H.5, table H.9: a voltage on ten days, five readings each, as daily mean and deviation.
DAYS = [(172, 60), (116, 77), (13, 111), (144, 101), (106, 67), (31, 93), (60, 80), (125, 73), (163, 88)]
DAYS += [(41, 86)]


def test_voltages_of_ten_days() -> None:
    """Printed: 128 and 85 µV (the roots of the mean squares), 2.25, their ratio as rounded; exactly 2.26.

    Critical values printed: 2.12 at 5 % and 2.45 at 2.5 %, so the chance lies between. Between days: 43 µV.
    """
    pattern = (1, -1, 1, -1, 0)  # five values of mean 0 and standard deviation 1
    between, within, _ = one_way([[10 + (day + s * p) / 1e6 for p in pattern] for day, s in DAYS])
    assert 1e6 * between.mean_square**0.5 == pytest.approx(128, abs=0.5)
    assert 1e6 * within.mean_square**0.5 == pytest.approx(85, abs=0.5)
    assert (between.degrees_of_freedom, within.degrees_of_freedom) == (9, 40)
    assert between.f == pytest.approx(2.2615, abs=5e-5)
    assert between.p is not None
    assert 0.025 < between.p < 0.05
    assert 1e6 * ((between.mean_square - within.mean_square) / 5) ** 0.5 == pytest.approx(43, abs=0.5)


def test_diameters_of_five_machines() -> None:
    """NIST/SEMATECH e-Handbook 3.2.3.1; it prints F = 4.86, worked from mean squares rounded to one digit."""
    rows = [
        [0.125, 0.127, 0.125, 0.126, 0.128],
        [0.118, 0.122, 0.120, 0.124, 0.119],
        [0.123, 0.125, 0.125, 0.124, 0.126],
        [0.126, 0.128, 0.126, 0.127, 0.129],
        [0.118, 0.129, 0.127, 0.120, 0.121],
    ]
    between, within, _ = one_way(rows)
    assert (round(between.sum_of_squares, 6), between.degrees_of_freedom) == (0.000137, 4)
    assert (round(within.sum_of_squares, 6), within.degrees_of_freedom) == (0.000132, 20)
    assert between.f == pytest.approx(5.20606060606, rel=1e-9)


def test_statistics_without_meaning_are_refused() -> None:
    with pytest.raises(Refusal, match="All values are 3"):
        lag_one_autocorrelation([3, 3, 3])
    with pytest.raises(Refusal, match="at least 2 values"):
        standard_deviation([3])
    with pytest.raises(Refusal, match="two groups"):
        one_way([[1, 2]])
    with pytest.raises(Refusal, match="more values than groups"):
        one_way([[1], [2]])
    with pytest.raises(Refusal, match="different values of x"):
        straight_line([1, 1, 1], [1, 2, 3])
    with pytest.raises(Refusal, match="3 values of x came with 4"):
        straight_line([1, 2, 3], [1, 2, 3, 4])
