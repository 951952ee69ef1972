"""The system's Chromium, as Playwright starts it."""

import os
import shutil
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # not installed everywhere
    from playwright.sync_api import Page

Opened = Callable[..., "Page"]  # the fixture of that name

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
CHROMIUM = next(filter(None, map(shutil.which, _NAMES)), None)

LAUNCH: dict[str, Any] = {
    "executable_path": CHROMIUM,
    # Chromium's own sandbox does not start for root.
    "args": ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else [],
}
