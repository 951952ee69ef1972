"""The page in a real browser; left out where no Chromium is installed."""

import re
import subprocess
from pathlib import Path

from invented_report import MADE_AT, engine_record, history, series
from real_browser import BROWSER, needed

from vibetrend.report import page, write

pytestmark = needed


def test_charts_are_drawn_without_a_complaint(tmp_path: Path) -> None:
    """The console also names every violation of the policy and every request that failed."""
    target = tmp_path / "page.html"
    html = page([engine_record("main", series(history()))], title="t", made_at=MADE_AT)
    write(target, html)
    done = subprocess.run(
        [
            str(BROWSER), "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            f"--user-data-dir={tmp_path / 'profile'}", "--enable-logging=stderr",
            "--virtual-time-budget=20000", "--dump-dom", target.as_uri(),
        ],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert "CONSOLE" not in done.stderr
    assert 'data-charts="drawn"' in done.stdout
    charts = html.count('<figure class="chart"')
    assert charts >= 4
    assert done.stdout.count('<figure class="chart drawn"') == charts
    assert done.stdout.count('class="main-svg"') >= charts
    # Every check-up's line of the history is really there.
    assert re.search(r'class="js-line"[^>]*d="M[^"]{80,}"', done.stdout)
