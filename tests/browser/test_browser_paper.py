"""On paper, A4 and Letter: nothing is wider than the sheet, nothing folded, nothing cut."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from chromium import Opened

if TYPE_CHECKING:
    from playwright.sync_api import Page

MM = 96 / 25.4  # CSS pixels per millimetre (W3C CSS Values and Units 3, section 6.2)
SHEETS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI/ASME Y14.1
MARGINS = """() => {
  const rules = [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules])
    .flatMap((rule) => [rule, ...(rule instanceof CSSMediaRule ? rule.cssRules : [])]);
  const style = rules.find((rule) => rule instanceof CSSPageRule).style;
  return ["Left", "Right", "Top", "Bottom"].map((side) => style[`margin${side}`]);
}"""
WIDER = """(width) => [...document.querySelectorAll("body *")]
  .filter((one) => one.checkVisibility() && !one.closest("#js-plotly-tester"))
  .filter((one) => one.matches("svg, table, img, p, td, th, dd, figure") || one.scrollWidth > width)
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([one, box]) => box.left < -0.5 || box.right > width + 0.5)
  .map(([one]) => one.outerHTML.slice(0, 160))"""
CUT = """(height) => [...document.querySelectorAll(".chart, .turn, .multiples li, .photos li")]
  .filter((one) => one.checkVisibility())
  .filter((one) => getComputedStyle(one).breakInside !== "avoid" || one.offsetHeight > height)
  .map((one) => one.outerHTML.slice(0, 160))"""


@pytest.fixture(scope="module")
def page(opened: Opened, written: Callable[[str], Path]) -> "Page":
    return opened(written("everything"), color_scheme="dark")


@pytest.fixture(params=SHEETS)
def sheet(request: pytest.FixtureRequest, page: "Page") -> tuple[str, float, float]:
    """Name, and room between the margins in px, with the page as it is for paper."""
    margins = [float(re.fullmatch(r"([\d.]+)mm", one)[1]) for one in page.evaluate(MARGINS)]
    left, right, top, bottom = margins
    wide, high = SHEETS[request.param]
    width, height = (wide - left - right) * MM, (high - top - bottom) * MM
    page.set_viewport_size({"width": int(width), "height": int(height)})
    page.emulate_media(media="print", color_scheme="dark")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    return request.param, int(width), height


def test_nothing_is_wider_than_the_sheet(page: "Page", sheet: tuple[str, float, float]) -> None:
    _, width, _ = sheet
    assert page.evaluate(WIDER, width) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_charts_are_still_pictures_that_fit_on_one_page(
    page: "Page", sheet: tuple[str, float, float]
) -> None:
    _, _, height = sheet
    assert not any(one.is_visible() for one in page.locator(".live").all())
    for one in page.locator(".chart.drawn .still > svg").all():
        assert one.is_visible()
    assert page.evaluate(CUT, height) == []


def test_the_first_screen_of_the_first_engine_fits_on_the_first_sheet(
    page: "Page", sheet: tuple[str, float, float]
) -> None:
    _, _, height = sheet
    caution = page.locator(".caution").first.bounding_box()
    assert caution is not None
    top = page.evaluate("scrollY")
    assert top + caution["y"] + caution["height"] <= height


def test_what_is_true_of_the_file_alone_is_not_printed(
    page: "Page", sheet: tuple[str, float, float]
) -> None:
    assert sheet
    told = page.locator(".on-screen")
    assert told.count() >= 3
    assert not any(one.is_visible() for one in told.all())


def test_what_is_meant_for_paper_is_unfolded_and_folded_again(
    page: "Page", sheet: tuple[str, float, float]
) -> None:
    assert sheet
    meant = page.locator("details.printed:not(details:not(.printed) *)")
    assert meant.count() >= 3
    assert all(one.locator("> :not(summary)").first.is_visible() for one in meant.all())
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("details.printed[open]").count() == 0


def test_it_is_printed_dark_on_white(page: "Page", sheet: tuple[str, float, float]) -> None:
    assert sheet
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


@pytest.mark.parametrize("name", SHEETS)
def test_the_pdf_has_as_many_pages_as_it_needs(page: "Page", name: str) -> None:
    page.emulate_media(media="print")
    pdf = page.pdf(format=name, prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page\b", pdf))
    assert 8 <= pages <= 40
