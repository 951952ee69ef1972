"""One Chromium for all tests here; every page is opened without a network."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))  # the invented histories

from chromium import LAUNCH, Opened
from real_browser import BROWSER

if TYPE_CHECKING:  # not installed everywhere
    from playwright.sync_api import Browser, Page

DRAWN = 'html[data-charts="drawn"]'


@pytest.fixture(scope="session")
def browser() -> Iterator["Browser"]:
    playwright = pytest.importorskip("playwright.sync_api", reason="the extra browser is missing")
    if not BROWSER.is_file():
        pytest.skip("no browser of Chromium's kind on this computer")
    with playwright.sync_playwright() as started:
        launched = started.chromium.launch(**LAUNCH)
        yield launched
        launched.close()


@pytest.fixture(scope="module")
def opened(browser: "Browser") -> Iterator[Opened]:
    """Opens a file in a context of its own; waits till its charts are drawn."""
    contexts = []

    def opening(path: Path, *, width: int = 1280, watch: str = "", **options: Any) -> "Page":
        context = browser.new_context(
            viewport={"width": width, "height": 900}, offline=True, **options
        )
        contexts.append(context)
        page = context.new_page()
        page.add_init_script(watch)
        page.goto(path.as_uri())
        if options.get("java_script_enabled", True):
            page.wait_for_selector(DRAWN, state="attached")
        return page

    yield opening
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Returns the file of one of the invented pages, each made once."""
    import invented_pages

    folder = tmp_path_factory.mktemp("pages")

    def file(name: str) -> Path:
        path = folder / f"{name}.html"
        if not path.exists():
            path.write_text(getattr(invented_pages, name)(), encoding="utf-8")
        return path

    return file
