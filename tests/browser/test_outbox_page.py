"""How the outbox stands, in words: on the line of every station page, and on a page of its own."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import LANDSCAPE, PORTRAIT, NewVisit, Visit
from tests.browser.shop_server import (
    ShopServer,
    nothing,
    open_modules,
    open_outbox_page,
    sign_in,
    small_shop,
    with_status,
)

pytestmark = pytest.mark.browser

HOLD = 10_000
CONTROL = 80
MILLIMETRE_15 = 80

WRITE = """
({title, note}) => outbox.writeEntry({
  form: "readings", title, address: "/station/sheathing_fence/panel/1?language=en", person: 7,
  content: {station: "sheathing_fence", item: "panel", id: 1, plan: 1, readings: [], note},
}).then(({uuid}) => uuid)
"""

REFUSED = {
    "state": "refused",
    "reasons": [{"reading": None, "field": "value", "sentence": "Length must be 0 to 60 feet."}],
}


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


def write(page: Page, title: str = "R-07 · Length of edge, AB", note: str = "") -> str:
    return str(page.evaluate(WRITE, {"title": title, "note": note}))


def send(page: Page) -> None:
    """One round, in which goes what could still be undone too."""
    page.evaluate("outbox.sendNow()")


def line(page: Page) -> Locator:
    return page.locator(".outbox-state")


def mark(page: Page) -> str:
    return str(line(page).locator("svg").get_attribute("class")).removeprefix("mark mark-")


def test_the_line_says_that_all_is_on_the_server(tablet: Visit) -> None:
    page = tablet.page
    write(page)
    send(page)
    expect(line(page)).to_have_text("All on the server · 15:00")
    assert mark(page) == "within"


def test_the_line_grows_urgent_with_the_age_of_the_oldest(tablet: Visit, server: ShopServer) -> None:
    # 15 minutes, 4 hours and 200 entries are this product's own judgement.
    page = tablet.page
    page.context.route("**/outbox", lambda r: nothing(r) if r.request.method == "POST" else r.fallback())
    write(page)
    write(page)
    send(page)
    page.clock.set_system_time("2026-03-02T15:12:00Z")
    page.evaluate("outbox.send()")
    # The page said that it is there as it opened.
    expect(line(page)).to_have_text("2 waiting · oldest 12 min · last sent 15:00")
    assert mark(page) == "none"
    page.clock.set_system_time("2026-03-02T15:16:00Z")
    page.evaluate("outbox.send()")
    expect(line(page)).to_contain_text("oldest 16 min")
    assert mark(page) == "unclear"
    page.clock.set_system_time("2026-03-02T19:01:00Z")
    page.evaluate("outbox.send()")
    expect(line(page)).to_contain_text("oldest 4 hours")
    assert mark(page) == "outside"


def test_more_than_two_hundred_waiting_are_urgent_at_once(tablet: Visit) -> None:
    page = tablet.page
    page.context.route("**/outbox", lambda r: nothing(r) if r.request.method == "POST" else r.fallback())
    page.evaluate(
        """async () => {
          const given = {form: "lot", content: {}, title: "", address: "/", person: 7};
          const {uuid} = await outbox.writeEntry(given);
          const entry = await outbox.entry(uuid);
          await store.write(async (stores) => {
            for (let sequence = 2; sequence <= 201; sequence++) {
              await stores.put("entries", {...entry, sequence, uuid: `${uuid} ${sequence}`});
            }
          });
        }"""
    )
    send(page)
    expect(line(page)).to_contain_text("201 waiting")
    assert mark(page) == "outside"


def test_the_line_asks_for_a_sign_in(tablet: Visit, server: ShopServer) -> None:
    page = tablet.page
    for _ in range(7):
        write(page)
    server.misbehave(with_status(401), with_status(401))
    send(page)
    expect(line(page)).to_contain_text("Sign in to send 7 entries")


def test_the_line_warns_of_little_room_before_anything_is_typed(tablet: Visit) -> None:
    page = tablet.page
    page.add_init_script("navigator.storage.estimate = async () => ({usage: 960e6, quota: 1000e6})")
    page.reload()
    expect(line(page)).to_contain_text("Little room left on this tablet")
    assert mark(page) == "unclear"


def test_the_line_says_that_the_memory_cannot_be_reached(tablet: Visit) -> None:
    page = tablet.page
    page.evaluate(
        """() => {
          IDBDatabase.prototype.transaction = () => { throw new DOMException("gone", "UnknownError"); };
          document.dispatchEvent(new CustomEvent("outbox:change"));
        }"""
    )
    expect(page.get_by_role("alert")).to_have_text(
        "The memory of this tablet cannot be reached. Reload the page."
    )


def test_an_older_look_at_the_outbox_never_covers_a_newer(tablet: Visit) -> None:
    page = tablet.page
    page.evaluate(
        """() => new Promise((begun) => {
          window.older = [];
          navigator.storage.estimate = () => new Promise((done) => {
            older.push(() => done({usage: 0, quota: 0}));
            begun();
          });
          document.dispatchEvent(new CustomEvent("outbox:change"));
        })"""
    )
    page.evaluate(
        """() => {
          IDBDatabase.prototype.transaction = () => { throw new DOMException("gone", "UnknownError"); };
          document.dispatchEvent(new CustomEvent("outbox:change"));
        }"""
    )
    page.evaluate("outbox.status().catch(() => older.forEach((end) => end()))")
    expect(page.get_by_role("alert")).to_have_text(
        "The memory of this tablet cannot be reached. Reload the page."
    )


def test_the_last_entry_can_be_undone_for_ten_seconds(tablet: Visit) -> None:
    page = tablet.page
    page.evaluate(
        "document.addEventListener('outbox:undone', ({detail}) => { window.undone = detail.content.note; })"
    )
    write(page, note="612")
    expect(page.get_by_text("Saved on this tablet 15:00")).to_be_visible()
    key = page.get_by_role("button", name="Undo")
    expect(key).to_have_text("Undo 10")
    page.clock.run_for(3_000)
    expect(key).to_have_text("Undo 7")
    box = key.bounding_box()
    assert box is not None
    assert box["height"] >= MILLIMETRE_15
    assert box["width"] >= MILLIMETRE_15
    key.click()
    expect(key).to_be_hidden()
    expect(line(page)).to_be_visible()
    assert page.evaluate("window.undone") == "612"

    write(page)
    expect(key).to_be_visible()
    page.clock.run_for(HOLD)
    expect(key).to_be_hidden()


def test_two_taps_on_undo_are_one(tablet: Visit) -> None:
    page = tablet.page
    write(page)
    key = page.get_by_role("button", name="Undo")
    key.evaluate("(key) => { key.click(); key.click(); }")
    expect(key).to_be_hidden()
    page.evaluate("outbox.status()")  # looked up after both have had their turn
    expect(page.locator(".alarm")).to_have_text("")


def test_undo_outlives_a_change_of_pages(tablet: Visit) -> None:
    page = tablet.page
    write(page)
    page.clock.run_for(2_000)
    page.reload()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("Nothing was entered on this tablet today")).to_be_visible()


def test_nothing_moves_when_the_line_turns_into_the_undo_key(tablet: Visit) -> None:
    page = tablet.page
    before = page.locator("main").bounding_box()
    write(page)
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    assert page.locator("main").bounding_box() == before


def section(page: Page, name: str) -> Locator:
    return page.locator(f"[data-section={name}]")


def test_the_page_lists_entries_by_what_they_need(tablet: Visit, server: ShopServer) -> None:
    page = tablet.page
    server.states["bad"] = REFUSED
    server.states["early"] = {
        "state": "later",
        "reasons": [{"reading": None, "field": None, "sentence": "The reading it corrects has not come."}],
    }
    server.states["good"] = {
        "state": "kept",
        "readings": [{"uuid": "r", "verdict": "outside", "sentence": 'Outside: +3/16" from target'}],
        "remarks": ["R-07 was released at 10:42; the shop lead has been told."],
    }
    for note in ("bad", "early", "good"):
        write(page, f"R-07 · {note}", note)
    send(page)
    expect(section(page, "refused")).to_contain_text("R-07 · bad")
    expect(section(page, "refused")).to_contain_text("Length must be 0 to 60 feet.")
    expect(section(page, "waiting")).to_contain_text("The reading it corrects has not come.")
    expect(section(page, "kept")).to_contain_text('Outside: +3/16" from target')
    expect(section(page, "kept")).to_contain_text("R-07 was released at 10:42")
    expect(section(page, "kept")).to_contain_text("Wren Abbey · 15:00")
    tops = [section(page, name).bounding_box() for name in ("refused", "waiting", "kept")]
    assert [box["y"] for box in tops if box] == sorted(box["y"] for box in tops if box)


def test_a_refused_entry_leads_back_to_where_it_was_typed(tablet: Visit, server: ShopServer) -> None:
    page = tablet.page
    server.states["bad"] = REFUSED
    uuid = write(page, note="bad")
    send(page)
    correct = page.get_by_role("link", name="Correct")
    expect(correct).to_have_attribute("href", f"/station/sheathing_fence/panel/1?language=en#entry={uuid}")


def test_a_refused_entry_is_set_aside_with_a_reason_and_stays_listed(
    tablet: Visit, server: ShopServer
) -> None:
    page = tablet.page
    server.states["bad"] = REFUSED
    write(page, note="bad")
    send(page)
    expect(line(page)).to_contain_text("1 needs attention")
    page.get_by_role("button", name="Set aside").click()
    page.get_by_label("Why is it set aside?").fill("Typed for the wrong panel")
    # News from the outbox does not take away what is being typed.
    page.evaluate("document.dispatchEvent(new CustomEvent('outbox:change'))")
    expect(page.get_by_label("Why is it set aside?")).to_have_value("Typed for the wrong panel")
    page.locator(".aside-form").get_by_role("button", name="Set aside").click()
    expect(section(page, "refused")).to_be_hidden()
    expect(section(page, "aside")).to_contain_text("Set aside: Typed for the wrong panel")
    expect(line(page)).not_to_contain_text("attention")


def test_what_waits_is_saved_to_a_file_without_a_network(tablet: Visit) -> None:
    page = tablet.page
    write(page)
    page.context.set_offline(True)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save to a file").click()
    file: dict[str, Any] = json.loads(download.value.path().read_bytes())
    assert file["log"] == "qc"
    assert [entry["sequence"] for entry in file["entries"]] == [1]
    expect(page.get_by_text("The file holds 1 entry")).to_be_visible()


def test_send_now_says_when_the_server_cannot_be_reached(tablet: Visit, server: ShopServer) -> None:
    page = tablet.page
    page.context.route("**/tablet/hello", nothing)
    write(page)
    page.clock.fast_forward(HOLD)
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("The server cannot be reached now.")).to_be_visible()
    page.context.unroute("**/tablet/hello", nothing)
    page.get_by_role("button", name="Send now").click()
    expect(section(page, "kept")).to_contain_text("On the server")


def test_the_page_tells_of_a_wrong_clock(tablet: Visit, server: ShopServer) -> None:
    page = tablet.page
    expect(page.locator("[data-clock]")).to_have_text("Agrees with the server to within two minutes")
    server.clock = "2026-03-02T12:00:00+00:00"
    page.get_by_role("button", name="Send now").click()
    expect(page.locator("[data-clock]")).to_have_text("3 hours ahead of the server. Set the tablet’s clock.")


def axe_findings(page: Page) -> list[str]:
    return [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in Axe().run(page).response["violations"]]


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT, (320, 700)], ids=["landscape", "portrait", "phone"])
def test_the_page_can_be_read_and_touched(visit: NewVisit, server: ShopServer, size: tuple[int, int]) -> None:
    tablet = visit(size)
    open_outbox_page(tablet, server)
    page = tablet.page
    server.states["bad"] = REFUSED
    write(page, note="bad")
    write(page)
    send(page)
    page.get_by_role("button", name="Set aside").click()
    page.clock.resume()  # the checker waits for timers
    assert axe_findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    keys = page.locator("main button:visible, main a.button:visible")
    assert keys.count() >= 4
    boxes = [key.bounding_box() for key in keys.all()]
    assert [box for box in boxes if box is None or box["height"] < CONTROL] == []
    page.locator("[data-who]").click()
    page.get_by_role("button", name="Wren Abbey", exact=True).click()
    assert axe_findings(page) == []


def test_the_page_is_the_same_whoever_is_there(tablet: Visit) -> None:
    page = tablet.page
    fetched = "fetch('/outbox').then((answer) => answer.text())"
    as_wren = page.evaluate(fetched)
    page.context.clear_cookies()
    sign_in(tablet, "mira")
    assert "data-section" in as_wren
    assert page.evaluate(fetched) == as_wren


LOT = """
async (mark) => {
  const {id} = await people.who();
  const content = {kind: "precut_members", mark, length: "8'", width: "1 1/2", depth: "11 1/4"};
  await outbox.writeEntry({form: "lot", content, title: `Lot ${mark}`, address: "/lot", person: id});
}
"""


@pytest.fixture
def browser_of_wren(visit: NewVisit) -> Visit:
    """A browser before the real server, signed in by password."""
    wren = visit()
    sign_in(wren, "wren")
    wren.page.goto(wren.address + "/outbox")
    wren.page.wait_for_selector("html[data-ready]")
    expect(wren.page.locator("[data-who]")).to_have_text("Wren Abbey")
    open_modules(wren.page)
    return wren


def test_the_real_server_keeps_an_entry_and_refuses_its_double(browser_of_wren: Visit) -> None:
    page = browser_of_wren.page
    for _ in range(2):
        page.evaluate(LOT, "LOT-9")
    send(page)
    expect(section(page, "kept")).to_contain_text("Lot LOT-9")
    expect(section(page, "refused")).to_contain_text("LOT-9")
    assert browser_of_wren.violations() == []


def test_the_file_of_an_outbox_is_taken_in_by_the_real_server(
    browser_of_wren: Visit, visit: NewVisit, tmp_path: Path
) -> None:
    page = browser_of_wren.page
    page.context.set_offline(True)
    page.evaluate(LOT, "LOT-10")
    with page.expect_download() as download:
        page.get_by_role("button", name="Save to a file").click()
    file = tmp_path / "outbox.json"
    download.value.save_as(file)

    lead = visit()
    sign_in(lead, "otto")
    lead.page.goto(lead.address + "/outbox")
    lead.page.get_by_role("link", name="Hand in the file of an outbox").click()
    lead.page.get_by_label("File").set_input_files(file)
    lead.page.get_by_role("button", name="Hand in").click()
    expect(lead.page.get_by_text("1 of 1 entries are stored")).to_be_visible()

    # The browser that wrote it sends it too, and is told that it is there.
    page.context.set_offline(False)
    send(page)
    expect(section(page, "kept")).to_contain_text("Lot LOT-10")


MATERIAL = {"Lot mark": "BAG-9", "Supplier (optional)": "Alder Fibre", "Remark (optional)": "Two bags torn."}
BAR = {"Length of the bar": "8'", "The tape reads": "8' 1/16", "Remark (optional)": "Cold. " * 499 + "Cold."}
"""The remark is longer than the server takes."""


def fill(page: Page, values: dict[str, str]) -> None:
    """Types into the fields in sight; Enter saves after the last."""
    for label, text in values.items():
        page.get_by_label(label, exact=True).locator("visible=true").fill(text)
    page.get_by_label(list(values)[-1], exact=True).press("Enter")


def go_and_correct(page: Page, address: str) -> None:
    """Sends what was entered, and follows the way from the refused entry to where it was typed."""
    send(page)
    page.goto(f"{address}/outbox")
    section(page, "refused").get_by_role("link", name="Correct").click()
    page.wait_for_selector("html[data-ready]", state="attached")


def entered_at(visit: Visit, path: str) -> Page:
    visit.page.goto(visit.address + path + "?language=en")
    visit.ready()
    open_modules(visit.page)
    return visit.page


def test_a_refused_lot_of_material_is_corrected_from_what_was_typed(browser_of_wren: Visit) -> None:
    page = entered_at(browser_of_wren, "/material")
    for _ in range(2):
        page.get_by_label("Material", exact=True).select_option(label="cellulose")
        fill(page, MATERIAL)
        expect(page.get_by_label("Lot mark", exact=True)).to_have_value("")
        expect(page.locator(".result")).to_contain_text("Lot BAG-9 booked in")
    go_and_correct(page, browser_of_wren.address)
    expect(page.locator(".error.whole")).to_contain_text("The server could not take this entry: ")
    expect(page.locator(".error.whole")).to_contain_text("BAG-9")
    for label, text in MATERIAL.items():
        expect(page.get_by_label(label, exact=True)).to_have_value(text)
    expect(page.get_by_label("Material", exact=True).locator("option:checked")).to_have_text("cellulose")
    fill(page, {"Lot mark": "BAG-10", "Remark (optional)": "Two bags torn."})
    expect(page.locator(".result")).to_contain_text("Lot BAG-10 booked in")
    open_modules(page)
    send(page)
    page.goto(f"{browser_of_wren.address}/outbox")
    expect(section(page, "kept")).to_contain_text("Lot BAG-10")
    expect(section(page, "aside")).to_contain_text("Corrected by a newer entry.")
    expect(section(page, "refused")).to_be_hidden()
    assert browser_of_wren.violations() == []


def test_a_refused_check_of_an_instrument_is_corrected_from_what_was_typed(browser_of_wren: Visit) -> None:
    page = entered_at(browser_of_wren, "/instrument/check")
    page.get_by_label("Instrument", exact=True).select_option(label="Tape 4 · Tape")
    fill(page, BAR)
    expect(page.locator(".result")).to_contain_text("Tape 4 passed")
    go_and_correct(page, browser_of_wren.address)
    expect(page.locator(".error.whole")).to_contain_text("The server could not take this entry: ")
    chosen = page.get_by_label("Instrument", exact=True).locator("option:checked")
    expect(chosen).to_have_text("Tape 4 · Tape")
    for label, text in BAR.items():
        expect(page.get_by_label(label, exact=True).locator("visible=true")).to_have_value(text)
    fill(page, {"Remark (optional)": "Cold."})
    expect(page.locator(".result")).to_contain_text("Tape 4 passed")
    open_modules(page)
    send(page)
    page.goto(f"{browser_of_wren.address}/outbox")
    expect(section(page, "kept")).to_contain_text("Tape 4 passed")
    expect(section(page, "refused")).to_be_hidden()
    assert browser_of_wren.violations() == []
