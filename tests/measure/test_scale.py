"""Scales: what the classes of non-automatic weighing instruments permit in service."""

import pytest

from qc_app.measure.scale import ScaleClass, service_errors
from qc_app.refusal import Refusal


@pytest.mark.parametrize(
    ("accuracy_class", "loads"),
    [
        (ScaleClass.II, [5_000, 20_000, 100_000]),
        (ScaleClass.III, [500, 2_000, 10_000]),
        (ScaleClass.IIII, [50, 200, 1_000]),
    ],
)
def test_errors_in_service_are_twice_those_of_a_new_scale(
    accuracy_class: ScaleClass, loads: list[int]
) -> None:
    """Directive 2014/31/EU, annex I, table 3 (0.5 e, 1 e, 1.5 e) and 4.2 (in service, twice)."""
    assert service_errors(10, accuracy_class) == [
        (load * 10, round(2 * error * 10)) for load, error in zip(loads, (0.5, 1, 1.5), strict=True)
    ]


def test_a_graduation_of_nothing_is_refused() -> None:
    with pytest.raises(Refusal, match="more than zero"):
        service_errors(0, ScaleClass.III)
