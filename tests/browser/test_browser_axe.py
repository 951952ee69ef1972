"""axe-core (WCAG 2 A and AA, and its best practices) finds no fault that matters."""

from collections.abc import Callable
from pathlib import Path

import pytest
from chromium import Opened

LOOKS = (("light", 1280), ("dark", 390))  # the colours are the same at every width
RUN = """() => axe.run({ resultTypes: ["violations"] }).then((found) => found.violations
  .filter((one) => one.impact !== "minor")
  .map((one) => [one.id, one.nodes.length, ...one.nodes.slice(0, 3).map((node) => node.html)]))"""


@pytest.fixture(scope="module")
def axe() -> str:
    base = pytest.importorskip(
        "axe_playwright_python.base", reason="axe-playwright-python (extra browser) is missing"
    )
    return str(base.AXE_FILE_PATH.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["everything", "empty"])
def test_no_serious_fault_with_everything_unfolded(
    opened: Opened, written: Callable[[str], Path], axe: str, name: str
) -> None:
    page = opened(written(name))
    page.evaluate(axe)  # not a script of the page: its policy does not count
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    # Many like rows say nothing new, and take a minute.
    page.evaluate(
        """() => document.querySelectorAll("tbody tr:not([class]):nth-child(n + 4)")
        .forEach((one) => one.remove())"""
    )
    for scheme, width in LOOKS:
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate(RUN) == [], (scheme, width)
