"""Takes the README's pictures from a freshly built demo: ``python .docs/tour.py``."""

import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

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
    sign_in(page, address, "wren")
    page.goto(f"{address}/station/fill")
    page.locator(".waiting a").first.click()
    take(page, "station")
    page.get_by_label("Mass of the core").fill("50.1 g")
    page.get_by_label("Depth of the core").fill(page.locator(".which").inner_text().rpartition("× ")[2])
    page.get_by_role("button", name="Save").click()
    take(page, "verdict")
    lean(page, address)
    sign_in(page, address, "mira")
    page.goto(f"{address}/chart/station/sheathing_fence")
    page.locator("[data-drawn]").first.wait_for()
    take(page, "chart")
    page.goto(f"{address}/panel/52")
    take(page, "panel")
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


def lean(page: Page, address: str) -> None:
    """A panel that leans by 1/16 in over its 8 ft, measured in the fence."""
    page.goto(f"{address}/station/sheathing_fence")
    page.locator(".waiting a", has_text="Closed roof panel").first.click()
    page.get_by_label("Tape", exact=True).select_option("Tape 7")
    readings = {"AB": "24'", "DC": "24'", "DA": "8'", "CB": "8'"}
    for label, text in {**readings, "Diagonal AC": "25' 3 5/8", "Diagonal BD": "25' 3 1/2"}.items():
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Measured shape").wait_for()
    take(page, "fence")


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
