"""Everything that can be used is reached with the keyboard, in reading order, and seen there."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from chromium import Opened

if TYPE_CHECKING:
    from playwright.sync_api import Page

USABLE = """() => {
  const all = [...document.querySelectorAll("a[href], select, summary, button, input, .scroll")]
    .filter((one) => one.checkVisibility());
  all.forEach((one, place) => { one.dataset.place = place; });
  return all.length;
}"""
FOCUS = """() => {
  const { outlineStyle, outlineWidth } = getComputedStyle(document.activeElement);
  const { top, bottom } = document.activeElement.getBoundingClientRect();
  return {
    place: Number(document.activeElement.dataset.place ?? -1),
    ringed: outlineStyle !== "none" && parseFloat(outlineWidth) >= 2,
    seen: bottom > 0 && top < innerHeight,
  };
}"""


@pytest.fixture(scope="module")
def page(opened: Opened, written: Callable[[str], Path]) -> "Page":
    return opened(written("everything"))


def test_tab_goes_through_everything_in_reading_order(page: "Page") -> None:
    many = page.evaluate(USABLE)
    assert many > 20
    stops = []
    page.locator(".skip").focus()
    for _ in range(many):
        stops.append(page.evaluate(FOCUS))
        page.keyboard.press("Tab")
    assert [stop["place"] for stop in stops] == list(range(many))
    assert all(stop["ringed"] for stop in stops)
    assert all(stop["seen"] for stop in stops)


def test_the_skip_link_leads_to_the_engines(page: "Page") -> None:
    page.locator(".skip").focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_details_unfold_with_enter(page: "Page") -> None:
    details = page.locator("details.numbers", has=page.locator("table")).first
    details.locator("> summary").focus()
    page.keyboard.press("Enter")
    assert details.locator("table").is_visible()
    page.keyboard.press("Enter")
    assert not details.locator("table").is_visible()


def test_the_order_shown_is_chosen_with_the_keyboard(page: "Page") -> None:
    chart = page.locator('[data-chart="history"]').first
    course = chart.locator(".js-line").last
    before = course.get_attribute("d")
    chart.locator("select").focus()
    page.keyboard.press("ArrowDown")
    assert chart.locator("select").input_value() == "1"
    assert course.get_attribute("d") != before
