"""The whole way in a real browser: a worker logs a panel, a quality manager takes files in and proof out."""

import io
from pathlib import Path

import pandas as pd
import pikepdf
import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import LANDSCAPE, PORTRAIT, NewVisit, Visit
from tests.browser.test_entry import SQUARE, enter, field, result

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("few_kept")]


MISREAD = {**SQUARE, "AB": "24' 1"}


def open_waiting(worker: Visit, station: str, mark: str) -> None:
    """Opens a panel from the list of those that wait at a station."""
    worker.send()
    worker.page.goto(f"{worker.address}/station/{station}?language=en")
    worker.page.locator(".waiting a", has_text=mark).click()
    worker.page.wait_for_url("**/panel/*")
    worker.ready()


def pass_check(worker: Visit) -> None:
    """Answers the check that is shown with yes, and waits for what comes next."""
    name = worker.page.locator("h2:visible").inner_text()
    worker.page.get_by_label("Yes", exact=True).locator("visible=true").check()
    worker.page.get_by_role("button", name="Save", exact=True).click()
    expect(worker.page.locator("h2:visible")).not_to_have_text(name)


@pytest.mark.parametrize("size", [LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def test_a_worker_logs_a_panel_and_finds_the_flagged_point_on_the_chart(
    visit: NewVisit, size: tuple[int, int]
) -> None:
    worker = visit(size)
    page = worker.page
    worker.sign_in("wren")

    worker.open_panel("sheathing_fence", "Closed roof panel")
    mark = page.locator(".where strong").inner_text()
    expect(page.locator(".where .size")).to_contain_text("24' 0\" × 8' 0\" ×")

    # An inch misread on one side cannot be, beside the other five.
    enter(worker, MISREAD)
    expect(page.locator(".doubt")).to_contain_text("Measure again before it leaves")
    expect(page.locator(".doubt")).to_contain_text("AB alone could explain it")
    assert worker.entries() == []
    # Entered again the same, it is believed, and flagged.
    enter(worker, MISREAD)
    expect(result(page)).to_contain_text("1 of 5 readings not within")
    page.get_by_role("button", name="Go on").click()
    pass_check(worker)

    # The edge outside its limits keeps the panel here until all six are measured again within them.
    expect(page.get_by_role("heading", name="Six readings")).to_be_visible()
    # The tape is remembered for the next reading; what was measured is not.
    assert page.get_by_label("Tape", exact=True).locator("visible=true").input_value()
    expect(field(page, "AB")).to_have_value("")
    enter(worker, SQUARE)
    expect(result(page)).to_contain_text("All 5 readings within")
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_role("heading", name=f"{mark} is done here")).to_be_visible()

    open_waiting(worker, "services", mark)
    sleeves = page.locator(".steps a", has_text="Sleeve as scheduled").count()
    assert sleeves >= 1
    for _ in range(1 + sleeves):
        pass_check(worker)
    for moisture in ("14.2", "13.1 %"):
        name = page.locator("h2:visible").inner_text()
        enter(worker, {"Moisture": moisture})
        expect(result(page)).to_contain_text(f"{name}: within")
    expect(page.get_by_role("heading", name=f"{mark} is done here")).to_be_visible()

    open_waiting(worker, "fill", mark)
    bays = page.locator(".bay-key")
    for number in range(1, bays.count() + 1):
        expect(page.locator("h2:visible")).to_have_text(f"Fill of bay, bay {number}")
        worker.fill_bay("4.0")
    expect(page.locator("h2:visible")).to_contain_text("Core-sample density, bay")
    depth = page.locator(".where .size").inner_text().rpartition("× ")[2]
    core = page.locator("h2:visible").inner_text()
    # 4 lb/ft³ in a bore of 2 1/2 in through the depth of 11 1/4 in weigh 58.0 g.
    enter(worker, {"Mass of the core": "58 g", "Depth of the core": depth, "Tare (optional)": "0 g"})
    expect(result(page)).to_contain_text(f"{core}: within")
    pass_check(worker)
    expect(page.get_by_role("heading", name=f"{mark} is done here")).to_be_visible()

    worker.send()
    page.goto(worker.address + "/chart/station/sheathing_fence")
    chart = page.locator("figure", has=page.locator('[aria-label^="Length of edge, AB"]'))
    expect(chart.locator("[data-drawn]")).to_be_visible()
    row = chart.locator("table.signals tbody tr").first
    expect(row).to_contain_text(mark)
    expect(row).to_contain_text('+1"')
    expect(row).to_contain_text("One point beyond a control limit")
    drawn = chart.locator(".plot").evaluate("plot => plot.data[1].text")
    assert any("One point beyond a control limit" in text for text in drawn)
    assert worker.violations() == []
    assert worker.complaints == []


def test_a_quality_manager_imports_two_files_and_takes_packet_and_export(visit: NewVisit, demo: Path) -> None:
    manager = visit()
    page = manager.page
    manager.sign_in("mira")

    import_file(page, "Import a panel schedule", demo / "schedule.csv")
    expect(page.get_by_text("1 row cannot be read")).to_be_visible()
    expect(page.get_by_role("cell", name="5/0", exact=True)).to_be_visible()
    page.get_by_role("button", name="Take the").click()
    expect(page.get_by_text("Taken on")).to_be_visible()

    import_file(page, "Import readings", demo / "readings.xlsx")
    expect(page.get_by_text("1 row cannot be read")).to_be_visible()
    expect(page.get_by_role("cell", name="R-99", exact=True)).to_be_visible()
    page.get_by_role("button", name="Take the").click()
    expect(page.get_by_text("Taken on")).to_be_visible()
    with page.expect_download() as bad_rows:
        page.get_by_role("link", name="Get these rows as a file").click()
    assert b"R-99" in bad_rows.value.path().read_bytes()

    page.get_by_role("link", name="Buildings").click()
    page.get_by_role("link", name="Tern Point Studio").click()
    with page.expect_download() as packet:
        page.get_by_role("link", name="Handover packet").click()
    with pikepdf.open(packet.value.path()) as pdf:
        assert len(pdf.pages) >= 1 + 6

    page.get_by_role("link", name="Files", exact=True).click()
    with page.expect_download() as export:
        page.get_by_role("link", name="Readings as CSV").click()
    table = pd.read_csv(io.BytesIO(export.value.path().read_bytes()), dtype=str, encoding="utf-8-sig")
    assert set(table.loc[table["building"] == "H4", "mark"]) == {"R-01", "R-02", "R-03"}
    assert manager.violations() == []
    assert manager.complaints == []


def import_file(page: Page, heading: str, path: Path) -> None:
    page.get_by_role("link", name="Files", exact=True).click()
    section = page.locator("section", has=page.get_by_role("heading", name=heading))
    section.get_by_label("CSV or XLSX file").set_input_files(path)
    section.get_by_role("button", name="Look at the file").click()
