"""The browser of this computer, as Playwright starts it."""

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

from real_browser import BROWSER

if TYPE_CHECKING:  # not installed everywhere
    from playwright.sync_api import Page

Opened = Callable[..., "Page"]  # the fixture of that name

LAUNCH: dict[str, Any] = {
    "executable_path": BROWSER,
    # Chromium's own sandbox does not start for root.
    "args": ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else [],
}
