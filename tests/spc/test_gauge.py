"""Gauge studies, against the published examples and simulation."""

import math

import numpy as np
import pytest
from scipy.stats import chi2, linregress

from qc_app.refusal import Refusal
from qc_app.spc import gauge

# AIAG, Measurement Systems Analysis, 4th edition, figure III-B 6: by appraiser, trial, part.
READINGS = [
    [
        [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
        [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
        [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
    ],
    [
        [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
        [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
        [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
    ],
    [
        [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
        [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
        [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
    ],
]
BY_PART = np.array(READINGS).transpose(2, 0, 1)

# NIST/SEMATECH e-Handbook 3.2.3.2: diameters by coolant, five of each machine in turn.
COOLANT_A = [0.125, 0.118, 0.123, 0.126, 0.118, 0.127, 0.122, 0.125, 0.128, 0.129, 0.125, 0.120, 0.125]
COOLANT_A += [0.126, 0.127, 0.126, 0.124, 0.124, 0.127, 0.120, 0.128, 0.119, 0.126, 0.129, 0.121]
COOLANT_B = [0.124, 0.116, 0.122, 0.126, 0.125, 0.128, 0.125, 0.121, 0.129, 0.123, 0.127, 0.119, 0.124]
COOLANT_B += [0.125, 0.114, 0.126, 0.125, 0.126, 0.130, 0.124, 0.129, 0.120, 0.125, 0.124, 0.117]


def test_averages_and_ranges() -> None:
    """AIAG, figure III-B 15: 0.20188, 0.22963, 0.30575, 1.10456, 1.14610, 5 categories; 26.68 %.

    The form carries rounded means and constants on (K3 as 0.3146), which moves the fourth decimal by one.
    """
    found = gauge.crossed(BY_PART).by_range
    assert math.sqrt(found.repeatability) == pytest.approx(0.20188, abs=4e-5)
    assert math.sqrt(found.reproducibility) == pytest.approx(0.22963, abs=6e-5)
    assert math.sqrt(found.gauge) == pytest.approx(0.30575, abs=4e-5)
    assert math.sqrt(found.parts) == pytest.approx(1.10456, abs=1.1e-4)
    assert math.sqrt(found.total) == pytest.approx(1.14610, abs=1.1e-4)
    assert 100 * found.share_of_variation == pytest.approx(26.68, abs=0.0051)
    assert found.distinct_categories == 5


def test_analysis_of_variance_without_interaction() -> None:
    """AIAG, table III-B 7 and figure III-B 15 (from memory): 0.199933, 0.226838, 0.302373, 1.042327.

    Sums of squares printed there: appraisers 3.1673, parts 88.3619, interaction 0.3590, equipment 2.7589.
    """
    found = gauge.crossed(BY_PART)
    squares = {row.source: row.sum_of_squares for row in found.anova}
    assert squares["appraisers"] == pytest.approx(3.1673, abs=5e-5)
    assert squares["parts"] == pytest.approx(88.3619, abs=5e-5)
    assert squares["parts by appraisers"] == pytest.approx(0.3590, abs=5e-5)
    assert squares["repeatability"] == pytest.approx(2.7589, abs=5e-5)
    assert squares["total"] == pytest.approx(94.6471, abs=5e-5)
    interaction = found.anova[2]
    assert interaction.f == pytest.approx(0.434, abs=5e-4)
    assert interaction.degrees_of_freedom == 18
    chosen = found.components
    assert chosen is found.without_interaction, "p of the interaction is near 1"
    assert math.sqrt(chosen.repeatability) == pytest.approx(0.199933, abs=5e-7)
    assert math.sqrt(chosen.reproducibility) == pytest.approx(0.226838, abs=5e-7)
    assert math.sqrt(chosen.gauge) == pytest.approx(0.302373, abs=2e-6)
    assert math.sqrt(chosen.parts) == pytest.approx(1.042327, abs=5e-7)
    assert chosen.standard_uncertainty == pytest.approx(0.302373, abs=2e-6)


def test_two_way_table_of_machines_and_coolants() -> None:
    """NIST/SEMATECH e-Handbook 3.2.3.2 (figures from memory): sums of squares, degrees of freedom."""
    cells = np.array([np.reshape(COOLANT_A, (5, 5)).T, np.reshape(COOLANT_B, (5, 5)).T]).transpose(1, 0, 2)
    machines, coolants, both, rest, total = gauge.crossed(cells).anova
    assert round(machines.sum_of_squares, 6) == 0.000303
    assert coolants.sum_of_squares == pytest.approx(0.00000392, rel=1e-9)
    assert both.sum_of_squares == pytest.approx(0.00001468, rel=1e-9)
    assert (round(rest.sum_of_squares, 6), rest.degrees_of_freedom) == (0.000346, 40)
    assert (round(total.sum_of_squares, 6), total.degrees_of_freedom) == (0.000668, 49)
    assert machines.mean_square / rest.mean_square == pytest.approx(8.766, abs=5e-4)


def test_share_of_the_tolerance_is_six_deviations() -> None:
    found = gauge.crossed(BY_PART, tolerance=8).components
    assert found.share_of_tolerance == pytest.approx(6 * 0.302373 / 8, abs=2e-6)
    assert gauge.crossed(BY_PART).components.share_of_tolerance is None


def test_gasket_study_by_ranges() -> None:
    """AIAG, 2nd edition (from memory): with 5.15 deviations 0.175, 0.157, 0.90; 18.7 %, 16.8 %, 25.2 %."""
    g = [
        [0.65, 1.0, 0.85, 0.85, 0.55, 1.0, 0.95, 0.85, 1.0, 0.6],
        [0.6, 1.0, 0.8, 0.95, 0.45, 1.0, 0.95, 0.8, 1.0, 0.7],
    ]
    j = [
        [0.55, 1.05, 0.8, 0.8, 0.4, 1.0, 0.95, 0.75, 1.0, 0.55],
        [0.55, 0.95, 0.75, 0.75, 0.4, 1.05, 0.9, 0.7, 0.95, 0.5],
    ]
    r = [
        [0.5, 1.05, 0.8, 0.8, 0.45, 1.0, 0.95, 0.8, 1.05, 0.85],
        [0.55, 1.0, 0.8, 0.8, 0.5, 1.05, 0.95, 0.8, 1.05, 0.8],
    ]
    found = gauge.crossed(np.array([g, j, r]).transpose(2, 0, 1)).by_range
    assert 5.15 * math.sqrt(found.repeatability) == pytest.approx(0.175, abs=5.1e-4)
    assert 5.15 * math.sqrt(found.reproducibility) == pytest.approx(0.157, abs=5.1e-4)
    assert 5.15 * math.sqrt(found.parts) == pytest.approx(0.90, abs=0.0051)
    assert 100 * found.share_of_variation == pytest.approx(25.2, abs=0.06)


def test_an_interaction_that_is_there_is_kept() -> None:
    draw = np.random.default_rng(1)
    cells = draw.normal(0, 1, (10, 1, 1)) + draw.normal(0, 0.5, (10, 3, 1)) + draw.normal(0, 0.1, (10, 3, 3))
    found = gauge.crossed(cells)
    assert found.components is found.with_interaction
    assert math.sqrt(found.components.interaction) == pytest.approx(0.5, rel=0.35)


def test_intervals_of_components_hold_the_truth_about_as_often_as_they_say() -> None:
    draw, held = np.random.default_rng(5), {"repeatability": 0, "parts": 0, "gauge": 0, "appraisers": 0}
    truth = {"repeatability": 0.04, "parts": 1.0, "appraisers": 0.09, "gauge": 0.04 + 0.09 + 0.0225}
    for _ in range(400):
        cells = (
            draw.normal(0, 1, (10, 1, 1))
            + draw.normal(0, 0.3, (1, 6, 1))
            + draw.normal(0, 0.15, (10, 6, 1))
            + draw.normal(0, 0.2, (10, 6, 2))
        )
        intervals = gauge.crossed(cells, confidence=0.9).with_interaction.intervals
        for name, true in truth.items():
            held[name] += intervals[name].lower <= true <= intervals[name].upper
    assert all(count / 400 > 0.86 for count in held.values()), held
    assert held["repeatability"] / 400 < 0.95


def test_repeatability_has_an_exact_interval() -> None:
    found = gauge.crossed(BY_PART).with_interaction
    low, high = found.intervals["repeatability"]
    assert low == pytest.approx(2.7589 / chi2.ppf(0.975, 60), rel=1e-4)
    assert high == pytest.approx(2.7589 / chi2.ppf(0.025, 60), rel=1e-4)


def test_one_appraiser_leaves_repeatability_alone() -> None:
    found = gauge.crossed(BY_PART[:, :1, :]).components
    assert found.reproducibility == 0
    assert [row.source for row in gauge.crossed(BY_PART[:, :1, :]).anova] == [
        "parts",
        "repeatability",
        "total",
    ]


def test_parts_that_each_appraiser_has_alone() -> None:
    """Simulated: nested components come out near what went in, their averages over 200 studies nearer."""
    draw, found = np.random.default_rng(8), []
    for _ in range(200):
        cells = draw.normal(0, 0.4, (3, 1, 1)) + draw.normal(0, 1, (3, 8, 1)) + draw.normal(0, 0.2, (3, 8, 2))
        components = gauge.nested(cells).components
        found.append((components.repeatability, components.parts))
    assert np.mean(found, axis=0) == pytest.approx((0.04, 1.0), rel=0.1)


def test_rows_of_a_nested_study_add_up() -> None:
    *rows, total = gauge.nested(BY_PART.transpose(1, 0, 2)).anova
    assert sum(row.sum_of_squares for row in rows) == pytest.approx(total.sum_of_squares, rel=1e-12)
    assert sum(row.degrees_of_freedom for row in rows) == total.degrees_of_freedom == 89


# AIAG, 4th edition, attribute study: cross-tabulations of 150 decisions (from memory).
@pytest.mark.parametrize(
    ("table", "printed"),
    [
        ([[44, 6], [3, 97]], 0.86),
        ([[42, 5], [9, 94]], 0.79),
        ([[43, 7], [8, 92]], 0.78),
        ([[45, 5], [3, 97]], 0.88),
        ([[45, 2], [3, 100]], 0.92),
        ([[42, 9], [6, 93]], 0.77),
    ],
)
def test_kappa_of_two_appraisers(table: list[list[int]], printed: float) -> None:
    found = gauge.kappa_of_table(table)
    assert found.kappa == pytest.approx(printed, abs=0.0051)
    assert found.interval().lower < found.kappa < found.interval().upper


def test_standard_error_of_kappa() -> None:
    """Fleiss, *Statistical Methods for Rates and Proportions*, diagnoses (from memory): 0.68, 0.087."""
    found = gauge.kappa_of_table([[75, 1, 4], [5, 4, 1], [0, 0, 10]])
    assert found.kappa == pytest.approx(0.68, abs=0.0051)
    assert found.standard_error == pytest.approx(0.087, abs=1e-3)


def test_kappa_from_decisions_is_that_of_their_table() -> None:
    first, second = ["good"] * 50 + ["bad"] * 100, ["good"] * 44 + ["bad"] * 6 + ["good"] * 3 + ["bad"] * 97
    assert gauge.kappa(first, second) == gauge.kappa_of_table([[44, 6], [3, 97]])


def test_kappa_of_fourteen_psychiatrists() -> None:
    """Fleiss 1971's example as widely reprinted: ten subjects, fourteen raters, five kinds: 0.210."""
    counts = [[0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1]]
    counts += [[7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7]]
    assert gauge.kappa_of_many(counts).kappa == pytest.approx(0.210, abs=5e-4)


# AIAG, 4th edition, tables III-B 4 and 5: five references, twelve readings each.
LINEARITY = {
    2.0: [2.7, 2.5, 2.4, 2.5, 2.7, 2.3, 2.5, 2.5, 2.4, 2.4, 2.6, 2.4],
    4.0: [5.1, 3.9, 4.2, 5.0, 3.8, 3.9, 3.9, 3.9, 3.9, 4.0, 4.1, 3.8],
    6.0: [5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1],
    8.0: [7.6, 7.7, 7.8, 7.7, 7.8, 7.8, 7.8, 7.7, 7.8, 7.5, 7.6, 7.7],
    10.0: [9.1, 9.3, 9.5, 9.3, 9.4, 9.5, 9.5, 9.5, 9.6, 9.2, 9.3, 9.4],
}


def test_bias_along_the_range() -> None:
    found = gauge.linearity(LINEARITY)
    line = found.line
    assert line.slope == pytest.approx(-0.1317, abs=5e-5)
    assert line.intercept == pytest.approx(0.7367, abs=5e-5)
    assert 100 * line.r_squared == pytest.approx(71.43, abs=0.0051)
    assert line.residual_deviation == pytest.approx(0.2395, abs=5e-5)
    assert (line.slope_t, line.intercept_t) == pytest.approx((-12.04, 10.16), abs=0.0051)
    assert found.mean_bias == pytest.approx(-0.0533, abs=5e-5)
    assert found.changes()
    printed = {2.0: (0.492, 0.0358), 4.0: (0.125, 0.129), 6.0: (0.025, 0.0566), 8.0: (-0.292, 0.0288)}
    for reference, (bias, error) in printed.items():
        assert found.biases[reference].bias == pytest.approx(bias, abs=5.1e-4)
        assert found.biases[reference].standard_error == pytest.approx(error, abs=2e-4)


def test_a_line_agrees_with_a_general_purpose_one() -> None:
    x, y = np.arange(12.0), np.sin(np.arange(12.0))
    found, reference = gauge.straight_line(x, y), linregress(x, y)
    assert (found.slope, found.slope_error) == pytest.approx((reference.slope, reference.stderr))
    assert found.intercept_error == pytest.approx(reference.intercept_stderr)


def test_readings_without_spread_have_a_certain_bias() -> None:
    assert gauge.bias([2.1, 2.1], 2.0).p == 0
    assert gauge.bias([2.0, 2.0], 2.0).p == 1


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (np.zeros((3, 2)), "by parts, appraisers, trials"),
        (np.zeros((1, 2, 2)), "at least 2 × 1 × 2. Given: 1 × 2 × 2"),
        (np.zeros((3, 2, 1)), "Given: 3 × 2 × 1"),
        (np.zeros((3, 2, 2)), "no variation"),
        (np.full((3, 2, 2), np.nan), "nan as value 1"),
        ([[[1, 2], [3]]], "must hold numbers only"),
    ],
)
def test_studies_without_meaning_are_refused(cells: np.ndarray, words: str) -> None:
    with pytest.raises(Refusal, match=words):
        gauge.crossed(cells)


def test_a_gauge_that_reads_too_coarsely_is_told_so() -> None:
    found = gauge.crossed([[[1.0, 1.0]], [[2.0, 2.0]], [[3.0, 3.0]]]).components
    with pytest.raises(Refusal, match="more digits"):
        _ = found.distinct_categories


def test_judgements_without_meaning_are_refused() -> None:
    with pytest.raises(Refusal, match="of one kind"):
        gauge.kappa(["good", "good"], ["good", "good"])
    with pytest.raises(Refusal, match="2 and 1 came"):
        gauge.kappa(["good", "bad"], ["good"])
    with pytest.raises(Refusal, match="square"):
        gauge.kappa_of_table([[1, 2, 3], [1, 2, 3]])
    with pytest.raises(Refusal, match="counts from 0 up"):
        gauge.kappa_of_table([[1, -2], [1, 2]])
    with pytest.raises(Refusal, match="equally often"):
        gauge.kappa_of_many([[2, 0], [2, 1]])
    with pytest.raises(Refusal, match="at least two references"):
        gauge.linearity({2.0: [2.1, 2.2]})
