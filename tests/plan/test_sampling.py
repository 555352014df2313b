"""Which panels and bays are checked when not all are."""

from collections import Counter
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.sampling import is_sampled, sampled_bays
from qc_app.plan.subject import Bay
from tests.plan.conftest import INCH, subject

marks = st.text("ABCR0123456789-", min_size=1, max_size=8)
bays = st.lists(st.integers(1, 40), unique=True, min_size=1, max_size=20)


@given(marks, bays, st.integers(1, 25))
def test_the_choice_of_bays_does_not_depend_on_their_order(mark: str, numbers: list[int], count: int) -> None:
    chosen = sampled_bays(mark, numbers, count)
    assert chosen == sampled_bays(mark, numbers[::-1], count) == sampled_bays(mark, sorted(numbers), count)
    assert chosen == sorted(set(chosen))
    assert set(chosen) <= set(numbers)
    assert len(chosen) == min(count, len(numbers))


@given(marks, bays, st.integers(1, 20))
def test_asking_for_one_more_bay_keeps_those_chosen(mark: str, numbers: list[int], count: int) -> None:
    assert set(sampled_bays(mark, numbers, count)) <= set(sampled_bays(mark, numbers, count + 1))


def test_the_choice_stays_the_same_for_ever() -> None:
    # First bytes of the SHA-256 of "R-01/1" to "R-01/4", by sha256sum: ed, 73, b3, 53 (hexadecimal).
    assert sampled_bays("R-01", [1, 2, 3, 4], 1) == [4]
    assert sampled_bays("R-01", [1, 2, 3, 4], 3) == [2, 3, 4]


def test_every_bay_has_its_turn_from_panel_to_panel() -> None:
    panels = 2400
    chosen = Counter(bay for number in range(panels) for bay in sampled_bays(f"R-{number}", range(1, 13), 1))
    # Each of twelve bays 200 times, give or take four standard deviations of a binomial count.
    assert set(chosen) == set(range(1, 13))
    assert all(abs(count - 200) < 4 * (panels * 1 / 12 * 11 / 12) ** 0.5 for count in chosen.values())


def test_asking_for_more_bays_than_there_are_gives_all() -> None:
    assert sampled_bays("R-01", [3, 1, 2], 9) == [1, 2, 3]


def test_the_first_and_each_fifth_panel_are_sampled() -> None:
    assert [serial for serial in range(1, 17) if is_sampled(serial, 5)] == [1, 6, 11, 16]
    assert all(is_sampled(serial, 1) for serial in range(1, 10))


def test_a_panel_whose_turn_it_is_not_has_nothing_due(plan: ControlPlan) -> None:
    density = replace(plan.characteristic("closed_roof", "core_density"), every=3)
    assert [len(density.due_places(subject(serial=serial))) for serial in range(1, 8)] == [
        1, 0, 0, 1, 0, 0, 1,
    ]  # fmt: skip
    assert density.possible_places(subject(serial=2)) == [f"bay {number}" for number in range(1, 13)]


def test_each_bay_is_due_when_no_number_is_given(plan: ControlPlan) -> None:
    density = replace(plan.characteristic("closed_roof", "core_density"), sample=0)
    panel = replace(subject(), bays=tuple(Bay(number, INCH, INCH) for number in (2, 5, 9)))
    assert density.due_places(panel) == ["bay 2", "bay 5", "bay 9"]


def test_the_bay_to_core_is_due_and_any_other_may_be_cored(plan: ControlPlan) -> None:
    density = plan.characteristic("closed_roof", "core_density")
    assert density.due_places(subject()) == [f"bay {sampled_bays('R-01', range(1, 13), 1)[0]}"]
    assert len(density.possible_places(subject())) == 12


def test_members_of_a_lot_are_sampled_by_number(plan: ControlPlan) -> None:
    lot = subject("precut_members", bays=0)
    length = plan.characteristic("precut_members", "member_length")
    assert length.due_places(lot) == ["member 1", "member 2", "member 3"]
    assert {"member 4", "member 99"} < set(length.possible_places(lot))
