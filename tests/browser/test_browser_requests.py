"""Nothing leaves the file, and nothing complains, whatever is done with the page."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# What would make a browser fetch something.
FETCHING = """() => [...document.querySelectorAll("*")].flatMap((one) =>
  ["src", "srcset", "href", "xlink:href", "action", "formaction", "data", "poster", "ping"]
    .filter((name) => one.hasAttribute(name))
    .map((name) => one.getAttribute(name)))
  .filter((value) => !value.startsWith("#") && !value.startsWith("data:image/"))"""


@pytest.mark.parametrize("name", ["everything", "hostile", "empty"])
def test_only_the_file_itself_is_asked_for_and_the_console_stays_empty(
    browser: "Browser", written: Callable[[str], Path], name: str
) -> None:
    """The console names each violation of the policy; the context has no network as well."""
    path = written(name)
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    asked: list[str] = []
    said: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    context.on("console", lambda message: said.append(message.text))
    context.on("weberror", lambda error: said.append(str(error.error)))
    context.on("dialog", lambda dialog: said.append(dialog.message))
    page = context.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector('html[data-charts="drawn"]', state="attached")
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    for chart in page.locator(".chart.drawn").all():
        chart.scroll_into_view_if_needed()
        chart.locator(".live").hover()
        if chart.locator("select").count():
            chart.locator("select").select_option(index=1)
    page.mouse.wheel(0, 1e6)
    page.pdf()
    assert page.evaluate(FETCHING) == []
    context.close()
    assert asked == [path.as_uri()]
    assert said == []


def test_the_policy_stops_what_would_leave(
    browser: "Browser", written: Callable[[str], Path]
) -> None:
    """The check above can fail: what a page tries to fetch is seen."""
    context = browser.new_context(offline=True)
    said: list[str] = []
    context.on("console", lambda message: said.append(message.text))
    page = context.new_page()
    page.goto(written("empty").as_uri())
    refused = """() => Promise.all([
      fetch("https://example.org/").then(() => "sent", () => "refused"),
      new Promise((told) => {
        const image = new Image();
        image.onload = () => told("sent");
        image.onerror = () => told("refused");
        image.src = "https://example.org/x.png";
      }),
    ])"""
    assert page.evaluate(refused) == ["refused", "refused"]
    assert len([text for text in said if "Content Security Policy" in text]) >= 2
    context.close()
