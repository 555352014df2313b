"""Limits that follow from a size say whether they are fixed, pro rata or banded."""

import math
from fractions import Fraction

import pytest

from qc_app.measure.conformity import Limits, Verdict, judge
from qc_app.measure.length import Length
from qc_app.measure.limits import Banded, Fixed, ProRata, at_most, deviation_limits, plus_minus
from qc_app.refusal import Refusal


def mm(value: float | Fraction) -> Length:
    return Length.from_millimetres(value)


def metres(value: str) -> Length:
    return Length.from_millimetres(1000 * Fraction(value))


# DIN 18202:2013-04, table 1, plan dimensions: ± 10, 12, 16, 20, 24 mm up to 1, 3, 6, 15, 30 m, 30 mm above
PLAN = Banded(
    tuple(
        (metres(size), mm(permitted))
        for size, permitted in (("1", 10), ("3", 12), ("6", 16), ("15", 20), ("30", 24))
    ),
    beyond=mm(30),
)


@pytest.mark.parametrize(
    ("size", "permitted"),
    [
        ("0.5", 10),
        ("1", 10),
        ("1.001", 12),
        ("3", 12),
        ("6", 16),
        ("7.3152", 20),
        ("15", 20),
        ("30", 24),
        ("31", 30),
    ],
)
def test_plan_dimensions_of_a_building(size: str, permitted: int) -> None:
    assert PLAN.deviation(metres(size)) == mm(permitted)


def test_a_24_foot_panel_under_the_table_for_the_site() -> None:
    # 20 mm are 12.6 times 1/16 in
    limits = plus_minus(metres("7.3152"), PLAN)
    assert judge(metres("7.3352"), limits) is Verdict.WITHIN
    assert judge(metres("7.3353"), limits) is Verdict.OUTSIDE
    assert Fraction(20) / Length(Fraction(1, 16)).millimetres == pytest.approx(12.6, abs=0.01)


DISTANCES = ["0.1", "0.6", "1", "1.5", "2", "2.5", "3", "3.5", "4", "6", "8", "10", "15"]
# DIN 18202, table 3, permitted gap in mm at these distances, extended by interpolation in a trade handbook
FLATNESS = {
    1: [10, 13, 15, 16, 17, 18, 18, 19, 20, 22, 23, 25, 30],
    2: [5, 7, 8, 9, 9, 10, 11, 12, 12, 13, 14, 15, 20],
    3: [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 11, 12, 15],
    4: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 15],
    5: [5, 8, 10, 11, 12, 13, 13, 14, 15, 18, 22, 25, 30],
    6: [3, 4, 5, 6, 7, 8, 8, 9, 10, 13, 17, 20, 25],
    7: [2, 2, 3, 4, 5, 6, 6, 7, 8, 10, 13, 15, 20],
}
# The handbook's table departs from linear interpolation in these cells; a half is rounded up there, to even
# here.
PRINTED_OTHERWISE = {(2, "3.5"): Fraction(34, 3), (7, "0.6"): Fraction(23, 9)}
STANDARD_COLUMNS = ["0.1", "1", "4", "10", "15"]


@pytest.mark.parametrize("row", FLATNESS)
def test_flatness_is_interpolated(row: int) -> None:
    printed = dict(zip(DISTANCES, FLATNESS[row], strict=True))
    table = Banded(tuple((metres(at), mm(printed[at])) for at in STANDARD_COLUMNS), interpolated=True)
    for distance, limit in printed.items():
        permitted = table.deviation(metres(distance))
        assert isinstance(permitted, Length)
        found = permitted.millimetres
        if (row, distance) in PRINTED_OTHERWISE:
            assert found == PRINTED_OTHERWISE[row, distance]
        else:
            assert math.floor(found + Fraction(1, 2)) == limit


def test_an_interpolated_limit_can_be_rounded() -> None:
    table = Banded(((metres("1"), mm(8)), (metres("4"), mm(12))), interpolated=True, rounded_to=mm(1))
    assert table.deviation(metres("2")) == mm(9)
    assert table.deviation(metres("0.3")) == mm(8)
    assert at_most(metres("2"), table) == Limits(upper=mm(9))


def test_a_table_may_end() -> None:
    # DIN 18202, table 1, openings: no entry above 6 m
    openings = Banded(((metres("1"), mm(10)), (metres("3"), mm(12)), (metres("6"), mm(16))))
    with pytest.raises(Refusal, match="ends at"):
        openings.deviation(metres("6.1"))


def test_squareness_pro_rata() -> None:
    # Handbook of construction tolerances, as quoted: 3/4 in per 100 ft, 3/8 in on 50 ft
    rule = ProRata(Length(Fraction(3, 4)), Length.from_inches(1200))
    assert rule.deviation(Length.from_inches(600)) == Length(Fraction(3, 8))
    diagonal = Length.from_inches(12 * 25.298221281347036)
    permitted = rule.deviation(diagonal)
    assert isinstance(permitted, Length)
    assert float(permitted) == pytest.approx(0.18973665961010278, rel=1e-12)
    limits = deviation_limits(diagonal, rule)
    assert limits.lower == -permitted


def test_a_fixed_limit_is_not_pro_rated() -> None:
    # New Zealand building research on tolerances: 4 mm in 2 m also means 4 mm over 1 m
    rule = Fixed(mm(4))
    assert rule.deviation(metres("1")) == rule.deviation(metres("2")) == mm(4)


def test_bands_of_depth_may_give_densities() -> None:
    # Settling of loose-fill, Danish Building Research Institute: 48 kg/m³ at 0.1 m, 53 kg/m³ at 0.3 m
    table = Banded(((metres("0.1"), 48), (metres("0.3"), 53)), interpolated=True)
    assert table.deviation(metres("0.2")) == Fraction(101, 2)


def test_plain_numbers_have_limits_too() -> None:
    assert plus_minus(4, Fixed(Fraction(1, 2))) == Limits(Fraction(7, 2), Fraction(9, 2))
    assert plus_minus(4, Fixed(1), rounded_to=Fraction(1, 10)).rounded_to == Fraction(1, 10)


def test_limits_that_cannot_be_are_refused() -> None:
    with pytest.raises(Refusal, match="must not be negative"):
        Fixed(mm(-1))
    with pytest.raises(Refusal, match="finite"):
        Fixed(math.nan)
    with pytest.raises(Refusal, match="reference size"):
        ProRata(mm(1), mm(0))
    with pytest.raises(Refusal, match="at least one row"):
        Banded(())
    with pytest.raises(Refusal, match="must rise"):
        Banded(((mm(2), mm(1)), (mm(2), mm(2))))
    with pytest.raises(Refusal, match="length"):
        Banded(((mm(2), mm(1)), (3, mm(2))))
    with pytest.raises(Refusal, match="length"):
        PLAN.deviation(7.3)
    with pytest.raises(Refusal, match="size must be more than zero"):
        PLAN.deviation(mm(0))
    with pytest.raises(Refusal, match="length"):
        plus_minus(4, Fixed(mm(1)))
