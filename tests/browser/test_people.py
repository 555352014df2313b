"""Who enters what: changing the worker at a tablet, with the network and without."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import LANDSCAPE, NewVisit, Visit
from tests.browser.shop_server import (
    ABEL,
    WREN,
    ShopServer,
    nothing,
    open_modules,
    open_outbox_page,
    small_shop,
)

pytestmark = pytest.mark.browser

KEY = 104
CONTROL = 80


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with small_shop(tmp_path_factory.mktemp("shop")) as served:
        yield served


@pytest.fixture
def server() -> ShopServer:
    return ShopServer()


@pytest.fixture
def tablet(visit: NewVisit, server: ShopServer) -> Iterator[Visit]:
    """An enrolled tablet at the page of its outbox."""
    tablet = visit(LANDSCAPE)
    open_outbox_page(tablet, server)
    yield tablet
    assert tablet.violations() == []


def who_key(page: Page) -> Locator:
    return page.locator("[data-who]")


def give_pin(page: Page, pin: str) -> None:
    for digit in pin:
        page.get_by_role("button", name=digit, exact=True).click()
    page.get_by_role("button", name="Enter", exact=True).click()


def sign_in(page: Page, name: str, pin: str) -> None:
    who_key(page).click()
    page.get_by_role("button", name=name, exact=True).click()
    give_pin(page, pin)


def offline(page: Page) -> None:
    for path in ("hello", "sign-in", "language"):
        page.context.route(f"**/tablet/{path}", nothing)


def author(page: Page) -> Any:
    return page.evaluate("people.author()")


def test_a_worker_signs_in_with_two_taps_and_a_pin(tablet: Visit) -> None:
    page = tablet.page
    expect(who_key(page)).to_have_text("Sign in")
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    expect(page.locator("dialog")).to_have_count(0)
    assert author(page) == WREN


def test_a_wrong_pin_changes_nothing_and_says_so(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "1111")
    expect(page.get_by_role("alert").filter(has_text="This PIN is not right.")).to_be_visible()
    expect(page.locator("#people-pin")).to_have_value("")
    page.get_by_role("button", name="Close").click()
    expect(who_key(page)).to_have_text("Sign in")


def test_the_digits_stand_as_on_a_telephone_and_are_twenty_millimetres_wide(tablet: Visit) -> None:
    # Key size: Colle and Hiszem 2004, Ergonomics 47(13): nothing is gained beyond 20 mm (104 px here).
    page = tablet.page
    who_key(page).click()
    page.get_by_role("button", name="Wren Abbey", exact=True).click()
    keys = page.locator(".digits button")
    assert keys.all_inner_texts() == ["1", "2", "3", "4", "5", "6", "7", "8", "9", "Back", "0", "Enter"]
    boxes = [key.bounding_box() for key in keys.all()]
    assert all(box is not None and box["width"] >= KEY and box["height"] >= KEY for box in boxes)
    assert boxes[-1] is not None
    assert boxes[-1]["y"] + boxes[-1]["height"] <= LANDSCAPE[1]


def test_a_slip_in_the_pin_is_taken_back_and_a_keyboard_works_too(tablet: Visit) -> None:
    page = tablet.page
    who_key(page).click()
    page.get_by_role("button", name="Wren Abbey", exact=True).click()
    page.get_by_role("button", name="5", exact=True).click()
    page.get_by_role("button", name="Back", exact=True).click()
    page.locator("dialog h2").focus()
    page.keyboard.type("40967")
    page.keyboard.press("Backspace")
    expect(page.locator("#people-pin")).to_have_value("4096")
    page.keyboard.press("Enter")
    expect(who_key(page)).to_have_text("Wren Abbey")


def test_without_a_network_only_who_signed_in_here_before_can(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    offline(page)
    sign_in(page, "Abel Sorn", "2718")
    expect(page.get_by_text("Sign in once with the network up")).to_be_visible()
    page.get_by_role("button", name="Somebody else").click()
    page.get_by_role("button", name="Wren Abbey", exact=True).click()
    give_pin(page, "4097")
    expect(page.get_by_text("This PIN is not right")).to_be_visible()
    give_pin(page, "4096")
    expect(page.locator("dialog")).to_have_count(0)
    assert author(page) == WREN


def test_wrong_pins_without_a_network_cost_more_and_more_time(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    offline(page)
    outcomes = [page.evaluate("people.signIn({id: 7, name: 'Wren Abbey'}, '0000')") for _ in range(3)]
    assert [outcome["seconds"] for outcome in outcomes] == [0, 0, 5]
    # While it has to wait, even the right one is not looked at; reloading the page does not shorten that.
    page.reload()
    page.wait_for_selector("html[data-ready]")
    open_modules(page)
    right = "people.signIn({id: 7, name: 'Wren Abbey'}, '4096')"
    assert page.evaluate(right)["seconds"] == 5
    page.clock.fast_forward(5_000)
    assert page.evaluate("people.signIn({id: 7, name: 'Wren Abbey'}, '0000')")["seconds"] == 10
    page.clock.fast_forward(10_000)
    assert page.evaluate(right)["person"]["id"] == 7
    assert page.evaluate("people.signIn({id: 7, name: 'Wren Abbey'}, '0000')")["seconds"] == 0


def test_the_pin_itself_is_nowhere_on_the_tablet(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    facts = page.evaluate("store.look((stores) => stores.all('facts')).then(JSON.stringify)")
    assert "4096" not in facts
    known = page.evaluate("store.fact('people').then((people) => people[7])")
    # OWASP Password Storage Cheat Sheet: PBKDF2-HMAC-SHA256 with 600,000 iterations.
    assert known["iterations"] >= 600_000
    assert len(known["salt"]) == 16


def test_changing_the_worker_leaves_what_is_typed(tablet: Visit, server: ShopServer) -> None:
    page = tablet.page
    page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend', '<input type=text id=length>')"
    )
    page.locator("#length").fill("27' 11")
    sign_in(page, "Abel Sorn", "2718")
    # Abel reads Spanish; with something half typed the tablet asks before it changes the page.
    expect(page.get_by_role("heading", name="Go on in Español?")).to_be_visible()
    page.get_by_role("button", name="Stay here and save first").click()
    expect(page.locator("#length")).to_have_value("27' 11")
    expect(who_key(page)).to_have_text("Abel Sorn")
    assert author(page) == ABEL


def test_a_page_with_nothing_typed_goes_on_in_the_workers_language(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Abel Sorn", "2718")
    page.wait_for_url("**/outbox?language=es")
    expect(who_key(page)).to_have_text("Abel Sorn")


def test_entries_keep_the_person_who_made_them(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    write = """async () => {
      const person = (await people.who()).id;
      await outbox.writeEntry({form: "lot", content: {}, title: "", address: "/", person});
      return (await outbox.entries()).map((entry) => entry.person);
    }"""
    page.evaluate(write)
    page.evaluate("people.signIn({id: 8, name: 'Abel Sorn'}, '2718')")
    assert page.evaluate(write) == [7, 8]


def test_after_a_quarter_of_an_hour_the_tablet_asks_who_enters(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    page.clock.fast_forward(14 * 60_000)
    page.locator("h1").dispatch_event("pointerdown")
    page.clock.fast_forward(14 * 60_000)
    assert author(page) == WREN

    page.clock.fast_forward(15 * 60_000)
    page.locator("h1").dispatch_event("pointerdown")
    page.evaluate("() => { window.authored = people.author(); }")
    expect(page.get_by_role("heading", name="Still Wren Abbey?")).to_be_visible()
    page.get_by_role("button", name="Yes, Wren Abbey").click()
    assert page.evaluate("window.authored") == WREN
    assert author(page) == WREN


def test_somebody_else_takes_over_before_the_entry_is_written(tablet: Visit) -> None:
    page = tablet.page
    sign_in(page, "Wren Abbey", "4096")
    expect(who_key(page)).to_have_text("Wren Abbey")
    page.clock.fast_forward(15 * 60_000)
    page.evaluate("() => { window.authored = people.author(); }")
    page.get_by_role("button", name="Somebody else").click()
    page.get_by_role("button", name="Abel Sorn", exact=True).click()
    give_pin(page, "2718")
    assert page.evaluate("window.authored") == ABEL


def test_two_taps_on_the_key_ask_once(tablet: Visit) -> None:
    page = tablet.page
    who_key(page).evaluate("(key) => { key.click(); key.click(); }")
    expect(page.get_by_role("heading", name="Who is here?")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("dialog")).to_have_count(0)


def test_closing_the_question_writes_nothing_for_anybody(tablet: Visit) -> None:
    page = tablet.page
    page.evaluate("() => { window.authored = people.author(); }")
    expect(page.get_by_role("heading", name="Who is here?")).to_be_visible()
    page.keyboard.press("Escape")
    assert page.evaluate("window.authored") is None


def test_in_a_browser_with_a_password_nobody_is_asked(visit: NewVisit, server: ShopServer) -> None:
    server.tablet, server.person = None, dict(WREN)
    browser = visit()
    open_outbox_page(browser, server)
    expect(who_key(browser.page)).to_have_text("Wren Abbey")
    expect(who_key(browser.page)).to_be_disabled()
    browser.page.clock.fast_forward(60 * 60_000)
    assert author(browser.page) == WREN
