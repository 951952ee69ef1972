"""The page never scrolls sideways; wide tables do so within their own region."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from chromium import Opened

if TYPE_CHECKING:
    from playwright.sync_api import Page

# Elements that stick out of the page and not merely of a region that scrolls by itself.
OUTSIDE = """(width) => [...document.querySelectorAll("main *, header *")]
  .filter((one) => !one.closest(".scroll, .skip, .live > *, thead, .invented, svg"))
  .filter((one) => one.checkVisibility())
  .filter((one) => one.getBoundingClientRect().right > width + 0.5)
  .map((one) => one.outerHTML.slice(0, 120))"""

# Charts that are wider or narrower than their place once they are looked at, in px.
UNFIT = """async () => {
  const off = [];
  for (const one of document.querySelectorAll(".chart.drawn")) {
    one.scrollIntoView({ block: "center" });
    const chart = one.querySelector(".main-svg");
    const differs = () => Math.abs(one.clientWidth - Number(chart.getAttribute("width")));
    for (let i = 0; i < 50 && differs() > 1; i++) await new Promise(requestAnimationFrame);
    off.push(differs());
  }
  return off.filter((pixels) => pixels > 1);
}"""


@pytest.fixture(scope="module")
def page(opened: Opened, written: Callable[[str], Path]) -> "Page":
    shown = opened(written("everything"))
    shown.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    return shown


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_no_scrolling_to_the_side(page: "Page", width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert page.evaluate(OUTSIDE, width) == []
    assert page.evaluate(UNFIT) == []


def test_a_long_reason_is_read_on_a_phone_without_scrolling_aside(page: "Page") -> None:
    page.set_viewport_size({"width": 360, "height": 900})
    table = page.locator("table.corrections")
    row, why = table.locator("tbody tr").bounding_box(), table.locator(".why").bounding_box()
    assert row is not None
    assert why is not None
    assert why["x"] >= 0
    assert why["x"] + why["width"] <= 360
    assert row["height"] - why["height"] < 250  # the rest: six short lines, and nothing blank


def test_a_wide_table_scrolls_in_its_own_region(page: "Page") -> None:
    page.set_viewport_size({"width": 390, "height": 900})
    region = page.locator(".scroll", has=page.locator("table.recordings")).first
    region.evaluate("one => { one.scrollLeft = 1e6; }")
    assert region.evaluate("one => one.scrollLeft") > 100
    last = region.locator("td.hash").first.bounding_box()
    assert last is not None
    assert last["x"] + last["width"] <= 390
