"""The charts: a value with its unit under the pointer, colours that follow the page."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from chromium import Opened

if TYPE_CHECKING:
    from playwright.sync_api import Page

VALUE = re.compile(r"[-+−]?\d[\d.,]*\s*(dB|m/s²|m/s\^2|mm/s|Hz|rpm|%)")
COLOURS = """() => {
  const wanted = getComputedStyle(document.body).getPropertyValue("--soft").trim();
  const probe = document.createElement("i");
  probe.style.color = wanted;
  document.body.append(probe);
  const soft = getComputedStyle(probe).color;
  probe.remove();
  const ticks = [...document.querySelectorAll(".live .xtick text, .live .ytick text")];
  return [soft, [...new Set(ticks.map((one) => getComputedStyle(one).fill))]];
}"""


@pytest.fixture(scope="module")
def page(opened: Opened, written: Callable[[str], Path]) -> "Page":
    return opened(written("everything"))


def test_every_kind_of_chart_tells_a_value_with_its_unit(page: "Page") -> None:
    kinds = page.evaluate(
        "[...new Set([...document.querySelectorAll('.chart')].map((one) => one.dataset.chart))]"
    )
    assert {"history", "together", "spectrum", "map", "over-time"} <= set(kinds)
    for kind in kinds:
        chart = page.locator(f'.chart.drawn[data-chart="{kind}"]').first
        chart.locator(".live").hover()  # comes near
        points = chart.locator(".trace .point")
        target = points.last if points.count() else chart.locator(".nsewdrag").first
        box = target.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        label = chart.locator(".hoverlayer .hovertext").first
        label.wait_for()
        assert VALUE.search(label.text_content() or ""), (kind, label.text_content())
        page.mouse.move(0, 0)


def test_a_change_of_the_colour_scheme_draws_the_charts_anew(page: "Page") -> None:
    page.emulate_media(color_scheme="light")
    light, ticks = page.evaluate(COLOURS)
    assert ticks == [light]
    page.emulate_media(color_scheme="dark")
    page.evaluate("() => new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn)))")
    dark, ticks = page.evaluate(COLOURS)
    assert dark != light
    assert ticks == [dark]
