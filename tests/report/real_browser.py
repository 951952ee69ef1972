"""The browser of this computer, if it has one."""

from pathlib import Path

import pytest

from vibetrend.errors import VibetrendError
from vibetrend.report.printing import browser

try:
    BROWSER = browser.found()
except VibetrendError:
    BROWSER = Path("none is installed")

needed = pytest.mark.skipif(
    not BROWSER.is_file(), reason="no browser of Chromium's kind on this computer"
)
