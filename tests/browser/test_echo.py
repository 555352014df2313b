"""A length is echoed two ways, with its verdict, while it can still be corrected."""

import pytest
from playwright.sync_api import Locator, expect

from tests.browser.conftest import NewVisit, Visit

pytestmark = pytest.mark.browser


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    """A worker at the first closed roof panel that waits at the fence: 24 by 8 ft, limits ± 1/16 in."""
    worker = visit()
    worker.sign_in("wren")
    worker.page.goto(worker.address + "/station/sheathing_fence")
    worker.page.locator(".waiting a", has_text="Closed roof panel").first.click()
    return worker


def echo(worker: Visit, label: str, typed: str) -> Locator:
    field = worker.page.get_by_label(label, exact=True)
    field.fill("")
    field.press_sequentially(typed)
    return worker.page.locator(f"output[for={field.get_attribute('id')}]")


def test_a_length_within_is_echoed_with_its_deviation(worker: Visit) -> None:
    shown = echo(worker, "AB", "23' 11 31/32")
    expect(shown).to_have_text('✓ within, −1/32" · 287.969 in')


def test_a_length_exactly_on_its_limit_is_within_and_one_beyond_is_outside(worker: Visit) -> None:
    expect(echo(worker, "AB", "24' 1/16")).to_contain_text("within, +1/16")
    expect(echo(worker, "AB", "24' 3/32")).to_contain_text("outside, +3/32")


def test_a_length_finer_than_the_shops_tape_is_not_rounded(worker: Visit) -> None:
    expect(echo(worker, "AB", "24' 5/64")).to_contain_text("outside, +5/64")


def test_a_diagonal_has_no_limits_of_its_own(worker: Visit) -> None:
    expect(echo(worker, "Diagonal AC", "25-3-9")).to_have_text("25' 3 9/16\" = 303.563 in")


def test_half_a_length_says_nothing(worker: Visit) -> None:
    expect(echo(worker, "AB", "24' 1/")).to_have_text("")


def test_nothing_on_the_page_moves_when_the_echo_comes(worker: Visit) -> None:
    save = worker.page.get_by_role("button", name="Save")
    before = save.bounding_box()
    expect(echo(worker, "AB", "24'")).to_contain_text("within")
    assert save.bounding_box() == before
    assert worker.violations() == []
    assert worker.complaints == []


def test_six_readings_are_tested_as_soon_as_they_are_there(worker: Visit) -> None:
    said = worker.page.locator("output.fit")
    for label, typed in {
        "AB": "24'",
        "DC": "24'",
        "DA": "8'",
        "CB": "8'",
        "Diagonal AC": "25' 3 9/16",
    }.items():
        echo(worker, label, typed)
    expect(said).to_have_text("")
    echo(worker, "Diagonal BD", "25' 4 9/16")
    expect(said).to_contain_text("The six readings do not fit one panel: off by +0.969 in. Measure again.")
    echo(worker, "Diagonal BD", "25' 3 9/16")
    expect(said).to_contain_text("The six readings fit one panel.")
    assert worker.complaints == []
