"""Draws the icons of the home screen from the mark: ``python .docs/icons.py``."""

from pathlib import Path

from playwright.sync_api import sync_playwright

STATIC = Path(__file__).parents[1] / "static"

PAPER = "#faf8f4"

ICONS = {"icon-192.png": (192, 0.84), "icon-512.png": (512, 0.84), "icon-maskable-512.png": (512, 0.62)}
"""Side in pixels, and how much of it the mark fills.

Of a maskable icon only a circle of 80 % of its side is sure to be seen (W3C, Web Application Manifest, "Icon
masks and safe zone"). The mark's corners are 0.574 of its width from the middle: 0.36 of the side here.
"""


def main() -> None:
    """Writes every icon."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        page = browser.new_page()
        for name, (side, share) in ICONS.items():
            page.set_viewport_size({"width": side, "height": side})
            page.set_content(_drawn((STATIC / "mark.svg").read_text(), side, share))
            page.screenshot(path=STATIC / name)
        browser.close()


def _drawn(mark: str, side: int, share: float) -> str:
    style = f"margin:0;height:{side}px;display:grid;place-items:center;background:{PAPER}"
    width = round(side * share)
    return f'<body style="{style}"><div style="width:{width}px;height:{width}px">{mark}</div>'


if __name__ == "__main__":
    main()
