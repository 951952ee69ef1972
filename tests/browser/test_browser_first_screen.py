"""The essentials need no script, and no waiting for one."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from chromium import Opened

if TYPE_CHECKING:
    from playwright.sync_api import Page

# What was there when plotly began, and whether a frame ever showed a chart without its picture.
WATCH = """
window.before = null;
window.bare = 0;
const mark = performance.mark.bind(performance);
performance.mark = (name, more) => {
  window.before ??= { library: typeof Plotly, drawn: document.querySelectorAll(".drawn").length };
  return mark(name, more);
};
const look = () => {
  for (const one of document.querySelectorAll(".chart.drawn"))
    if (!one.querySelector(".main-svg")) window.bare += 1;
  requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""


def is_all_there(page: "Page", stills: int) -> None:
    assert page.locator(".standing .word").count() >= 12  # 4 engines, 3 lines each at least
    for words in (".standing .word", ".standing .said", ".caution", ".changes", "h3", "h4"):
        told = page.locator(f"article {words}:not(details *)")
        assert told.count()
        assert all(one.is_visible() for one in told.all()), words
    shown = [one for one in page.locator(".still > svg").all() if one.is_visible()]
    assert len(shown) == stills


def test_without_script_states_tables_and_pictures_are_there(
    opened: Opened, written: Callable[[str], Path]
) -> None:
    page = opened(written("everything"), java_script_enabled=False)
    unseen = page.locator("details:not([open]) .chart").count()
    is_all_there(page, stills=page.locator(".chart").count() - unseen)
    for nothing in (".live", ".choose"):
        assert not any(one.is_visible() for one in page.locator(nothing).all())
    folded = page.locator("details.numbers", has=page.locator("table")).first
    folded.locator("> summary").click()  # unfolding needs none either
    assert folded.locator("table").is_visible()


def test_the_still_page_is_painted_before_plotly_begins(
    opened: Opened, written: Callable[[str], Path]
) -> None:
    page = opened(written("everything"), watch=WATCH)
    painted, began = page.evaluate(
        """() => ["first-contentful-paint", "plotly"]
          .map((name) => performance.getEntriesByName(name)[0].startTime)"""
    )
    assert painted < began
    assert page.evaluate("window.before") == {"library": "undefined", "drawn": 0}
    assert page.evaluate("window.bare") == 0


def test_a_chart_takes_the_place_of_its_picture(
    opened: Opened, written: Callable[[str], Path]
) -> None:
    page = opened(written("everything"))
    for chart in page.locator(".chart.drawn").all():
        assert chart.locator(".main-svg").first.is_visible()
        assert not chart.locator(".still").is_visible()
    folded = page.locator("details:not([open]) .chart")
    assert folded.count() > 0
    assert page.locator(".chart:not(.drawn)").count() == folded.count()
    page.locator("details:not([open])", has=page.locator(".chart")).first.locator(
        "> summary"
    ).click()
    page.locator("details[open] .chart.drawn .main-svg").first.wait_for()
