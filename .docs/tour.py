"""Takes the README's pictures from a freshly built demo: ``python .docs/tour.py``."""

import subprocess
import sys
import tempfile
from datetime import datetime, tzinfo
from pathlib import Path
from unittest import mock

from playwright.sync_api import Locator, Page, sync_playwright

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

import seed_demo  # noqa: E402
from qc_app.records.database import Database  # noqa: E402
from qc_app.serve.listen import Listener, listening  # noqa: E402
from qc_app.web import create_app  # noqa: E402

PICTURES = Path(__file__).with_name("tour")
CHROMIUM = "/usr/bin/chromium"


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        demo = Path(folder)
        seed_demo.build(demo)
        database = Database(str(demo / "qc.db"))
        listener = Listener(create_app(database), "127.0.0.1", 0)
        with listening([listener]), sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
            )
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            tour(page, f"http://127.0.0.1:{listener.port}", demo)
            browser.close()
        database.close()


def tour(page: Page, address: str, demo: Path) -> None:
    with mock.patch("qc_app.web.request.datetime", Midday):
        lead(page, address)
    sign_in(page, address, "wren")
    enter(page, address)
    lean(page, address)
    fill(page, address)
    wait_for_network(page, address)
    sign_in(page, address, "mira")
    page.goto(f"{address}/chart/station/sheathing_fence")
    page.locator("[data-drawn]").first.wait_for()
    take(page, "chart")
    page.goto(f"{address}/panel/52")
    take(page, "panel")
    compare_plans(page, address)
    page.goto(f"{address}/file")
    page.locator("#schedule-file").set_input_files(demo / "schedule.csv")
    page.locator("section:has(#schedule-file) button").click()
    take(page, "import")
    with page.expect_download() as packet:
        page.goto(f"{address}/building/2")
        page.get_by_role("link", name="Handover packet").click()
    picture = PICTURES / "packet"
    subprocess.run(
        ["pdftoppm", "-png", "-r", "70", "-singlefile", "-f", "24", packet.value.path(), picture],  # noqa: S607
        check=True,
    )


class Midday(datetime):
    """A clock that stands at the end of the demo's weeks, so that what is open has not been so for long."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> "Midday":
        end = seed_demo.local(seed_demo.working_day(seed_demo.WORKING_DAYS - 1), seed_demo.END_HOUR)
        return cls.fromtimestamp(end.timestamp(), tz)


def lead(page: Page, address: str) -> None:
    """The board, and what keeps a panel from the next truck."""
    sign_in(page, address, "otto")
    page.goto(f"{address}/board")
    take(page, "board")
    page.goto(f"{address}/nonconformity")
    page.get_by_role("link", name="H1 R-03").click()
    take(page, "nonconformity")


def open_panel(page: Page, address: str, station: str) -> None:
    page.goto(f"{address}/station/{station}")
    page.locator(".waiting a", has_text="Closed roof panel").first.click()
    page.wait_for_selector("html[data-ready]", state="attached")
    for choice in page.locator("select[data-instrument]").locator("visible=true").all():
        choice.select_option(index=1)


def field(page: Page, label: str) -> Locator:
    return page.get_by_label(label, exact=True).locator("visible=true")


def enter(page: Page, address: str) -> None:
    """A length half entered, with its verdict."""
    open_panel(page, address, "framing")
    field(page, "Length").press_sequentially("4' 0 1/16")
    take(page, "entry")
    field(page, "Length").fill("")


def lean(page: Page, address: str) -> None:
    """A panel that leans by 1/16 in over its 8 ft, measured in the fence."""
    open_panel(page, address, "sheathing_fence")
    readings = {"AB": "24'", "DC": "24'", "DA": "8'", "CB": "8'"}
    for label, text in {**readings, "Diagonal AC": "25' 3 5/8", "Diagonal BD": "25' 3 1/2"}.items():
        field(page, label).fill(text)
    field(page, "Diagonal BD").press("Enter")
    page.get_by_text("Measured shape").wait_for()
    take(page, "fence")


def fill(page: Page, address: str) -> None:
    """Half the bays of a panel, the last of them thin."""
    open_panel(page, address, "fill")
    for pounds in ("56.8 lb", "57.4 lb", "56.1 lb", "57.0 lb", "56.5 lb", "44.0 lb"):
        field(page, "Mass blown into this bay").fill(pounds)
        field(page, "Blower setting (optional)").fill("gate 4, air 7")
        field(page, "Seconds of blowing (optional)").fill("95")
        field(page, "Seconds of blowing (optional)").press("Enter")
        page.wait_for_timeout(400)
    take(page, "fill")


def compare_plans(page: Page, address: str) -> None:
    """What a month's readings would have been under squareness of 1/32 in."""
    page.goto(f"{address}/plan")
    page.get_by_role("button", name="Begin a new version").click()
    page.get_by_role("link", name="Difference of diagonals").click()
    page.locator("#plus_minus").fill("1/32 in")
    page.get_by_role("button", name="Save in the draft").click()
    page.goto(f"{address}/plan/draft/preview?since=2026-04-22&until=2026-05-22")
    page.locator("main .lead").evaluate("sentence => sentence.scrollIntoView()")
    take(page, "plan")


def wait_for_network(page: Page, address: str) -> None:
    """The outbox while the log cannot be reached."""
    page.goto(f"{address}/outbox")
    page.wait_for_timeout(1000)
    page.context.set_offline(True)
    page.get_by_role("button", name="Send now").click()
    take(page, "outbox")
    page.context.set_offline(False)


def sign_in(page: Page, address: str, name: str) -> None:
    page.goto(f"{address}/sign-in")
    page.get_by_label("Sign-in name").fill(name)
    page.get_by_label("Password").fill(seed_demo.PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def take(page: Page, name: str) -> None:
    page.wait_for_timeout(500)
    page.screenshot(path=PICTURES / f"{name}.png")


if __name__ == "__main__":
    main()
