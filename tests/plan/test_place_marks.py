"""Points on the drawing of a panel."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc_app.plan.place_marks import MOST_MARKS, PlaceMark, format_place_marks, parse_place_marks
from qc_app.refusal import Refusal
from qc_app.work.record import LONGEST_ENTRY

thousandths = st.integers(0, 1000)
points = st.lists(st.builds(PlaceMark, thousandths, thousandths), unique=True, max_size=MOST_MARKS)


@given(points)
def test_points_written_down_are_read_back_in_their_order(marks: list[PlaceMark]) -> None:
    assert parse_place_marks(format_place_marks(marks)) == tuple(marks)


@given(points)
def test_as_many_points_as_may_be_marked_fit_into_one_entry(marks: list[PlaceMark]) -> None:
    assert len(format_place_marks(marks)) <= LONGEST_ENTRY


def test_the_longest_points_fit_into_one_entry_too() -> None:
    corner = [PlaceMark(1000, 1000), *(PlaceMark(1000, 981 + n) for n in range(MOST_MARKS - 1))]
    assert len(format_place_marks(corner)) <= LONGEST_ENTRY


def test_points_are_counted_from_corner_a_along_ab_first() -> None:
    assert parse_place_marks("250,500; 810,120") == (PlaceMark(250, 500), PlaceMark(810, 120))


@pytest.mark.parametrize("text", ["250,500;810,120", " 250 , 500 ;  810 , 120 ", "250,500; 0810,120"])
def test_spaces_do_not_matter_and_the_written_form_is_one(text: str) -> None:
    assert format_place_marks(parse_place_marks(text)) == "250,500; 810,120"


@pytest.mark.parametrize("text", ["", "  "])
def test_nothing_typed_is_no_point(text: str) -> None:
    assert parse_place_marks(text) == ()


@pytest.mark.parametrize("edge", ["0,0", "1000,1000"])
def test_corners_are_on_the_panel(edge: str) -> None:
    assert len(parse_place_marks(edge)) == 1


@pytest.mark.parametrize(
    "text",
    [
        ";",
        "250",
        "250,500;",
        "250,500,3",
        "250.5,3",
        "-1,3",
        "1001,0",
        "0,1001",
        "٣,4",
        "1 000,4",
        "a,b",
        "1,2\0",
    ],
)
def test_anything_else_is_refused_with_what_was_given(text: str) -> None:
    with pytest.raises(Refusal, match="two numbers from 0 to 1000"):
        parse_place_marks(text)


def test_a_place_marked_twice_is_refused() -> None:
    with pytest.raises(Refusal, match="marked twice"):
        parse_place_marks("1,2; 3,4; 1, 2")


def test_more_than_twenty_places_are_refused() -> None:
    with pytest.raises(Refusal, match=r"at most 20 places on the drawing\. Given: 21"):
        parse_place_marks(";".join(f"{n},0" for n in range(21)))


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        marks = parse_place_marks(text)
    except Refusal:
        return
    assert parse_place_marks(format_place_marks(marks)) == marks
