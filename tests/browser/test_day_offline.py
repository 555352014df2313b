"""A day's work at one station without a network, with the real server, a real browser and its own memory."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.tablet import OutboxEntry, Tablet
from qc_app.work.outbox.sequence import missing
from tests.browser.conftest import FLAGS, LANDSCAPE, Visit, chromium, notices_just_raised
from tests.browser.demo_server import DemoServer
from tests.browser.more_panels import add_panels, person
from tests.browser.test_entry import field as input_of
from tests.browser.test_entry import result
from tests.browser.test_offline import ALL_KEPT

pytestmark = pytest.mark.browser

LIST = "/station/sheathing_fence?language=en"

LENGTHS = ("9' 11 31/32", "10'", "10' 1/32")
# A rectangle of 10 by 8 ft has diagonals of 153.675 in: 12' 9 11/16" on a tape. 1/8 in between is a lean.
SQUARE = ("12' 9 11/16", "12' 9 11/16")
LEANING = ("12' 9 3/4", "12' 9 5/8")

OF_PANEL = "a[data-item='panel {}']"


@dataclass
class Typed:
    """One entry as it was typed, by check and place, with the times before and after."""

    panel: int
    entries: dict[tuple[str, str], dict[str, str]]
    began: datetime
    ended: datetime


@dataclass
class Day:
    """The tablet through the day, and what was typed on it."""

    browser: Browser
    folder: Path
    address: str
    typed: list[Typed] = field(default_factory=list)

    def switch_on(self) -> Visit:
        """Opens the browser with all that it remembers."""
        self.context: BrowserContext = self.browser.browser_type.launch_persistent_context(
            self.folder,
            executable_path=chromium(),
            args=list(FLAGS),
            viewport={"width": LANDSCAPE[0], "height": LANDSCAPE[1]},
        )
        return Visit(self.context.pages[0], self.address)

    def switch_off(self) -> None:
        self.context.close()

    def save(self, panel: int, entries: dict[tuple[str, str], dict[str, str]], page: Page, said: str) -> None:
        """Presses Enter or Save, by what is shown, and sees what the tablet says."""
        began = datetime.now(UTC)
        last = page.get_by_label("Diagonal BD", exact=True).locator("visible=true")
        if last.count():
            last.press("Enter")
        else:
            page.get_by_role("button", name="Save", exact=True).click()
        expect(result(page).locator("visible=true")).to_contain_text(said)
        self.typed.append(Typed(panel, entries, began, datetime.now(UTC)))


@pytest.fixture
def server(database: Database) -> Iterator[DemoServer]:
    opened = DemoServer(database)
    opened.start()
    yield opened
    opened.stop()


@pytest.fixture
def day(browser: Browser, server: DemoServer, tmp_path: Path) -> Iterator[Day]:
    opened = Day(browser, tmp_path / "tablet", server.address)
    yield opened
    opened.switch_off()


def six(edge: str, diagonals: tuple[str, str]) -> dict[str, str]:
    """Six readings by the labels of their fields."""
    ac, bd = diagonals
    return {"AB": edge, "DC": edge, "DA": "8'", "CB": "8'", "Diagonal AC": ac, "Diagonal BD": bd}


def as_entries(readings: dict[str, str]) -> dict[tuple[str, str], dict[str, str]]:
    """The same by check and place, as they are stored."""
    kinds = {"AB": "edge_length", "DC": "edge_length", "DA": "end_length", "CB": "end_length"}
    sides = {(kind, place): {"length": readings[place]} for place, kind in kinds.items()}
    return {**sides, ("squareness", ""): {"ac": readings["Diagonal AC"], "bd": readings["Diagonal BD"]}}


def measure(day: Day, page: Page, panel: int, readings: dict[str, str], said: str) -> None:
    """Types six readings into their fields and saves them."""
    for label, text in readings.items():
        input_of(page, label).fill(text)
    day.save(panel, as_entries(readings), page, said)


def do_panel(day: Day, visit: Visit, number: int, panel: int) -> None:
    """All checks of one panel; every sixth leans first and is measured again, and one page is reloaded."""
    page = visit.page
    page.locator(OF_PANEL.format(panel)).click()
    page.wait_for_url(f"**/panel/{panel}**")
    visit.ready()
    visit.choose_instruments()
    edge = LENGTHS[number % 3]
    if number == 4:
        input_of(page, "AB").fill(edge)
        page.reload()
        visit.ready()
        expect(input_of(page, "AB")).to_have_value(edge)
    if number % 6 == 1:
        measure(day, page, panel, six(edge, LEANING), "1 of 5 readings not within")
        page.get_by_role("button", name="Measure again").click()
    measure(day, page, panel, six(edge, SQUARE), "All 5 readings within")
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("Yes", exact=True).locator("visible=true").check()
    day.save(panel, {("nailing_check", ""): {"passed": "yes"}}, page, "within")
    page.get_by_role("link", name="Next panel").click()
    page.wait_for_url("**/station/sheathing_fence**")
    visit.ready()
    expect_noted(visit, day, panel)


def expect_noted(visit: Visit, day: Day, panel: int) -> None:
    """The list says how many entries of a panel wait on this tablet."""
    count = sum(typed.panel == panel for typed in day.typed)
    note = visit.page.locator(OF_PANEL.format(panel)).locator(".entered")
    expect(note).to_have_text(f"{count} entries here wait to be sent")


def test_eighteen_panels_measured_without_a_network_arrive_whole_in_the_evening(
    day: Day, server: DemoServer, database: Database
) -> None:
    panels = add_panels(database, 18)
    tablet = day.switch_on()
    tablet.enrol(database)
    tablet.sign_in_by_pin("Wren Abbey")
    tablet.page.goto(tablet.address + LIST)
    expect(tablet.page.locator(".kept-pages")).to_have_text(ALL_KEPT, timeout=180_000)

    server.stop()
    for number, panel in enumerate(panels[:9]):
        do_panel(day, tablet, number, panel)
    day.switch_off()
    tablet = day.switch_on()
    tablet.page.goto(tablet.address + "/station")
    tablet.ready()
    expect(tablet.page.locator("[data-who]")).to_have_text("Wren Abbey")
    for panel in panels[:9]:
        expect_noted(tablet, day, panel)
    for number, panel in enumerate(panels[9:], 9):
        do_panel(day, tablet, number, panel)
    assert len(day.typed) == 39

    server.start()
    tablet.page.reload()
    tablet.ready()
    tablet.send()
    expect(tablet.page.locator(".outbox-bar")).to_contain_text("All on the server")
    assert {entry["state"] for entry in tablet.entries()} == {"kept"}
    expect_arrived_whole(database, day, panels)
    tablet.page.reload()
    expect(tablet.page.get_by_role("heading", name="1 panel waits here")).to_be_visible()


def expect_arrived_whole(database: Database, day: Day, panels: list[int]) -> None:
    """What the server holds is what was typed: once, in order, by whom, where and when."""
    with database.read() as session:
        tablet, wren = session.scalars(select(Tablet)).one(), person(session, "wren")
        rows = session.scalars(select(OutboxEntry).order_by(OutboxEntry.sequence)).all()
        assert [row.sequence for row in rows] == list(range(1, len(day.typed) + 1))
        assert {(row.kept, row.tablet_id, row.person_id) for row in rows} == {(True, tablet.id, wren.id)}
        recorded = session.scalars(
            select(Reading).where(Reading.tablet_id == tablet.id).order_by(Reading.id)
        ).all()
        for typed, row in zip(day.typed, rows, strict=True):
            uuids = [reading["uuid"] for reading in row.content["readings"]]
            expect_as_typed(typed, [r for r in recorded if str(r.uuid) in uuids], wren.id)
        assert len(recorded) == sum(len(typed.entries) for typed in day.typed)
        assert tablet.outbox is not None
        assert (tablet.written, missing(session, tablet.outbox, len(rows))) == (len(rows), [])
        assert notices_just_raised(session) == []
        waiting = session.scalars(select(Panel.waiting_at).where(Panel.id.in_(panels))).all()
        assert waiting == ["final"] * len(panels)


def expect_as_typed(typed: Typed, recorded: list[Reading], author: int) -> None:
    found: dict[tuple[str, str], Any] = {(r.characteristic.key, r.place): r.entries for r in recorded}
    assert found == typed.entries
    assert len(recorded) == len(typed.entries)
    assert {(reading.panel_id, reading.person_id) for reading in recorded} == {(typed.panel, author)}
    slack = timedelta(milliseconds=50)
    assert all(typed.began - slack <= r.measured_at <= typed.ended + slack for r in recorded)
