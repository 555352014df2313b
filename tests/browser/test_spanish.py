"""A page in Spanish goes on in Spanish where its own scripts speak."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import NewVisit, Visit

pytestmark = pytest.mark.browser


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    """A worker at the first closed roof panel that waits at the fence: 24 by 8 ft, limits ± 1/16 in."""
    worker = visit()
    worker.sign_in("wren")
    worker.page.goto(worker.address + "/station/sheathing_fence?language=es")
    worker.page.locator(".waiting a", has_text="Panel cerrado de techo").first.click()
    worker.page.wait_for_url("**/panel/*")
    worker.ready()
    return worker


def test_the_echo_says_the_verdict_in_spanish(worker: Visit) -> None:
    worker.page.get_by_label("AB", exact=True).press_sequentially("24' 3/32")
    expect(worker.page.locator("#check-1-length-echo")).to_contain_text("fuera")


def test_what_cannot_be_read_is_refused_in_spanish(worker: Visit) -> None:
    worker.choose_instruments()
    inputs = worker.page.locator("section.step:visible .fields input").all()
    for typed in inputs:
        typed.fill("12 3")
    inputs[-1].press("Enter")
    error = worker.page.locator(".error:visible")
    expect(error).to_have_text('“12 3” se puede leer de dos maneras. Escriba 12\' 3" o 12 3/16".')


def test_the_line_about_the_outbox_is_in_spanish(worker: Visit) -> None:
    expect(worker.page.locator(".outbox-bar")).to_contain_text("Todo en el servidor")
    assert worker.violations() == []
