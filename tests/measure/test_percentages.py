"""Moisture contents are read exactly, or refused."""

from fractions import Fraction

import pytest

from qc_app.measure.moisture import parse_percent
from qc_app.refusal import Refusal


@pytest.mark.parametrize(
    ("text", "percent"),
    [
        ("14.5", Fraction(29, 2)),
        ("14.5 %", Fraction(29, 2)),
        ("14,5%", Fraction(29, 2)),
        (" 0 ", 0),
        ("200", 200),
    ],
)
def test_percentages_are_read_exactly(text: str, percent: Fraction | int) -> None:
    assert parse_percent(text) == percent


@pytest.mark.parametrize(
    "text",
    ["", "%", "-1", "−1", "200.01", "nan", "inf", "1e1", "14 5", "14.5 % %", "14,500", "１４", "9" * 400],
)
def test_what_is_no_percentage_is_refused(text: str) -> None:
    with pytest.raises(Refusal):
        parse_percent(text)
