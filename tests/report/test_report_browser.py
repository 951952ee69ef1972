"""The page in a real browser; left out where no Chromium is installed."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from invented_report import MADE_AT, engine_record, history, series

from vibetrend.report import page, write

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this computer")


def test_charts_are_drawn_without_a_complaint(tmp_path: Path) -> None:
    """The console also names every violation of the policy and every request that failed."""
    target = tmp_path / "page.html"
    write(target, page([engine_record("main", series(history()))], title="t", made_at=MADE_AT))
    done = subprocess.run(
        [
            str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            f"--user-data-dir={tmp_path / 'profile'}", "--enable-logging=stderr",
            "--virtual-time-budget=20000", "--dump-dom", target.as_uri(),
        ],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert "CONSOLE" not in done.stderr
    assert 'data-charts="drawn"' in done.stdout
    assert len(re.findall(r'class="chart drawn"', done.stdout)) == 4
    assert done.stdout.count('class="main-svg"') >= 4
    # Every check-up's line of the history is really there.
    assert re.search(r'class="js-line"[^>]*d="M[^"]{80,}"', done.stdout)
