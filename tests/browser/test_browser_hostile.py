"""Hostile names and notes show as text, and only where they stand."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from chromium import Opened
from invented_pages import HOSTILE

from vibetrend.report.isolating import closed

if TYPE_CHECKING:
    from playwright.sync_api import Page

# Our own words right behind a hostile text, and every text without one: the first two letters on
# one line must stand from left to right.
TURNED = """(end) => {
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const turned = [];
  for (let text; (text = texts.nextNode()); ) {
    if (text.parentElement.closest("script, style, bdi, .own, title")) continue;
    const from = text.data.lastIndexOf(end) < 0 ? 0 : text.data.lastIndexOf(end) + end.length;
    const box = (at) => {
      const range = document.createRange();
      range.setStart(text, at);
      range.setEnd(text, at + 1);
      return range.getBoundingClientRect();
    };
    const pair = /[A-Za-z]{2}/.exec(text.data.slice(from));
    if (!pair) continue;
    const [one, other] = [box(from + pair.index), box(from + pair.index + 1)];
    if (one.width && Math.abs(one.top - other.top) < 2 && one.left > other.left)
      turned.push(text.data.slice(from, from + 60));
  }
  return turned;
}"""


@pytest.fixture(scope="module")
def page(opened: Opened, written: Callable[[str], Path]) -> "Page":
    shown = opened(written("hostile"))
    shown.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    return shown


def test_it_shows_as_text_and_runs_nothing(page: "Page") -> None:
    shown = closed(HOSTILE)
    assert page.title() == " ".join(str(shown).split())
    assert page.locator("h1").text_content() == shown
    assert page.locator("h2").first.text_content() == shown
    assert page.locator("table.recordings bdi").first.text_content() == shown
    assert page.evaluate("window.ran") is None
    assert page.locator("img[src=x]").count() == 0


@pytest.mark.parametrize("width", [1280, 390])
def test_it_does_not_widen_the_page(page: "Page", width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.parametrize("width", [1280, 390])
def test_it_does_not_turn_its_neighbours(page: "Page", width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate(TURNED, HOSTILE[-6:-1]) == []


def test_the_look_for_turned_text_sees_it(opened: Opened, written: Callable[[str], Path]) -> None:
    page = opened(written("empty"))
    page.evaluate("document.querySelector('.empty').textContent = '\\u202exxxxx our own words'")
    assert page.evaluate(TURNED, "xxxxx") == [" our own words"]


def test_charts_take_it_as_text(page: "Page") -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    chart = page.locator('[data-chart="history"]').first
    options = chart.locator("option").all_text_contents()
    assert any("<script>window.ran=1</script>" in option for option in options)
    place = next(i for i, option in enumerate(options) if "<script>" in option)
    chart.locator("select").select_option(index=place)
    for live in page.locator(".live").all():
        live.scroll_into_view_if_needed()
        live.hover()
        assert live.locator("a, img, script, [onerror]").count() == 0
    ticks = page.locator('[data-chart="map"] .ytick text').all_text_contents()
    assert any(tick.startswith("<script>") for tick in ticks)
    assert page.evaluate("window.ran") is None


@pytest.mark.parametrize("width", [1280, 390])
def test_hover_shows_it_as_text_inside_the_window(page: "Page", width: int) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    chart = page.locator('[data-chart="map"]').first
    chart.locator(".live").hover()  # comes near
    row = chart.locator(".ytick", has_text="<script>").first.bounding_box()
    points = [point.bounding_box() for point in chart.locator(".trace .point").all()]
    assert row is not None
    level = row["y"] + row["height"] / 2
    box = next(
        b for b in points if b and b["width"] > 8 and abs(b["y"] + b["height"] / 2 - level) < 4
    )
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    label = chart.locator(".hoverlayer .hovertext")
    label.first.wait_for()
    assert "<script>" in "".join(label.all_text_contents())
    seen = label.first.bounding_box()
    assert seen is not None
    assert seen["x"] >= 0
    assert seen["x"] + seen["width"] <= width
    page.mouse.move(0, 0)
