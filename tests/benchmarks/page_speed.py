"""How soon the page of five years is there, against an empty page with plotly in it.

Run it by hand: ``python tests/benchmarks/page_speed.py``; it needs the extra ``browser`` and a
Chromium. Two engines, 60 check-ups each with three placements. Both pages are opened by turns in
one browser; the ratios are those of the medians. Asked: the still page is painted before plotly
starts, the charts are drawn within 1.5 times the empty page, the file has 8 MB at most.
"""

import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright
from plotly.offline import get_plotlyjs

from vibetrend.report import page

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))
sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

from chromium import LAUNCH
from invented_report import MADE_AT, engine_record, history, series

REPEATS = 9
MOST_TIMES = 1.5
MOST_BYTES = 8_000_000
VIEW = {"width": 1280, "height": 900}

# When the page says how far it is: "near" the eye, then "drawn" altogether.
WATCH = """
window.seen = {};
window.done = new Promise((done) => {
  new MutationObserver(() => {
    const now = document.documentElement?.dataset.charts;
    if (now) window.seen[now] ??= performance.now();
    if (now === "drawn") done();
  }).observe(document, { attributes: true, subtree: true, attributeFilter: ["data-charts"] });
});
"""
TOLD = """() => window.done.then(() => ({
  ...window.seen,
  painted: performance.getEntriesByName("first-contentful-paint")[0]?.startTime,
  plotly: performance.getEntriesByName("plotly")[0]?.startTime,
}))"""
EMPTY = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Empty</title></head>
<body><div id="chart"></div><script>%s</script><script>
Plotly.newPlot("chart", [], {}).then(() => { document.documentElement.dataset.charts = "drawn"; });
</script></body></html>"""


def five_years() -> str:
    """Return the page of two engines with 60 check-ups each, three placements at each."""
    records = [
        engine_record(name, series(history(visits=60, seed=seed, bend_db_per_1000h=bend)))
        for name, seed, bend in (("port", 1, 0.4), ("starboard", 2, 0.0))
    ]
    return page(records, title="Five years", made_at=MADE_AT)


def opened(browser: Browser, path: Path) -> dict[str, Any]:
    """Return the moments of one opening in ms, nothing kept from another."""
    context = browser.new_context(viewport=VIEW, offline=True)
    shown = context.new_page()
    shown.add_init_script(WATCH)
    shown.goto(path.as_uri(), wait_until="commit")
    moments: dict[str, Any] = shown.evaluate(TOLD)
    context.close()
    return moments


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        report, empty = Path(folder, "report.html"), Path(folder, "empty.html")
        report.write_text(five_years(), encoding="utf-8")
        empty.write_text(EMPTY % get_plotlyjs(), encoding="utf-8")
        browser = playwright.chromium.launch(**LAUNCH)
        ours, theirs = [], []
        for _ in range(REPEATS + 1):
            ours.append(opened(browser, report))
            theirs.append(opened(browser, empty))
        browser.close()
        size = report.stat().st_size
    # The first opening of each warms the disk.
    plain = statistics.median(one["drawn"] for one in theirs[1:])
    print(f"empty page with plotly        {plain:7.0f} ms")
    for name, words in (
        ("painted", "ours: first contentful paint"),
        ("plotly", "ours: plotly begins"),
        ("near", "ours: charts near the eye"),
        ("drawn", "ours: all charts"),
    ):
        found = statistics.median(one[name] for one in ours[1:])
        print(f"{words:29} {found:7.0f} ms {found / plain:6.2f} times", end="")
        print(f"  (at most {MOST_TIMES})" if name in ("near", "drawn") else "")
    first = sum(one["painted"] < one["plotly"] for one in ours)
    print(f"painted before plotly begins  {first} of {len(ours)}")
    print(f"size                          {size / 1e6:7.2f} MB  (at most {MOST_BYTES / 1e6:g})")


if __name__ == "__main__":
    main()
