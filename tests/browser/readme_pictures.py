"""Makes the README's pictures again: ``python tests/browser/readme_pictures.py``, in the checkout.

From the invented demo recordings; with the extra ``browser`` and a Chromium.
"""

import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from chromium import LAUNCH
from PIL import Image
from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHECKOUT = Path(__file__).parents[2]
REPORTS = CHECKOUT / "reports"
A4_INSIDE = 695  # px: 210 mm less the margins of the page's print style, at 96 px per inch
MAIN = "recordings_demo/main/2026-11-18_5160h_1080rpm_1.csv.gz"
PHONE = {"width": 390, "height": 844}


def vibetrend(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "vibetrend", *words], cwd=CHECKOUT, check=True)


def take(
    browser: "Browser",
    page: Path,
    name: str,
    size: dict[str, int],
    *,
    scheme: str = "light",
    paper: bool = False,
    of: str = "",
) -> None:
    """Save what a screen of that size shows of a page, or one element of it."""
    context = browser.new_context(viewport=size, color_scheme=scheme, device_scale_factor=1.5)
    shown = context.new_page()
    if paper:
        shown.emulate_media(media="print")
    shown.goto(page.as_uri())
    if "<script>" in page.read_text(encoding="utf-8"):
        shown.wait_for_selector('html[data-charts="drawn"]', state="attached")
    target = REPORTS / name
    if of:
        part = shown.locator(of).first
        part.scroll_into_view_if_needed()
        shown.wait_for_timeout(500)  # what was far from the eye is laid out only now
        part.screenshot(path=target)
    else:
        shown.screenshot(path=target)
    context.close()
    with Image.open(target) as whole:
        few = whole.convert("RGB").quantize(256)  # inks on white: half the size
    few.save(target, optimize=True)
    print(target.relative_to(CHECKOUT))


def main() -> None:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        logbook = ("--logbook", str(folder / "logbook"))
        demo, one, card = (folder / f"{name}.html" for name in ("demo", "recording", "card"))
        vibetrend("demo", *logbook, "--output", str(demo))
        vibetrend(
            "measure", MAIN, "--engine", "recordings_demo/main.toml", "--page", "--output", str(one)
        )
        vibetrend("card", *logbook, "--engine", "main", "--output", str(card),
                  "--link", "http://boat.example/main.html")  # fmt: skip
        with sync_playwright() as started:
            browser = started.chromium.launch(**LAUNCH)
            take(browser, demo, "demo.png", {"width": 1180, "height": 1180})
            take(browser, demo, "phone.png", PHONE)
            take(browser, demo, "dark.png", PHONE, scheme="dark", of=".changes")
            take(browser, demo, "print.png", {"width": A4_INSIDE, "height": 980}, paper=True)
            take(browser, demo, "interference.png", {"width": 1100, "height": 900},
                 of="#engine-1-interference .chart")  # fmt: skip
            take(browser, demo, "record.png", {"width": 1100, "height": 900}, of=".turns")
            take(browser, one, "measured.png", {"width": 1180, "height": 1180})
            take(browser, card, "card.png", {"width": 860, "height": 1080})
            browser.close()


if __name__ == "__main__":
    main()
