"""The card printed by a real browser: one page of either paper; left out without Chromium."""

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from invented_report import MADE_AT, engine_record, history, series
from parsed_page import HOSTILE

from vibetrend.installation.use import Reached
from vibetrend.report import write
from vibetrend.report.card import LONGEST_PLACE, Paper, card, html
from vibetrend.report.link import LONGEST, link

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
POINTS: dict[Paper, tuple[float, float]] = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this computer")


def printed(folder: Path, page: str) -> bytes:
    write(folder / "card.html", page)
    subprocess.run(
        [
            str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            f"--user-data-dir={folder / 'profile'}", "--no-pdf-header-footer",
            f"--print-to-pdf={folder / 'card.pdf'}", (folder / "card.html").as_uri(),
        ],
        capture_output=True, timeout=120, check=True,
    )  # fmt: skip
    return (folder / "card.pdf").read_bytes()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("crowded", [False, True], ids=["usual", "crowded"])
def test_it_prints_on_one_page(tmp_path: Path, paper: Paper, crowded: bool) -> None:
    """Crowded: an overdue renewal, and every text as long and as hostile as can be."""
    one = series(history())
    if crowded:
        words = dict.fromkeys(("position", "device", "condition"), HOSTILE)
        one = replace(one, info=one.info | words)
    record = engine_record(HOSTILE[:500] if crowded else "main", one, overdue=crowded)
    if crowded:  # the longest that can be said of when to record next
        today = MADE_AT.date()
        past = Reached(early=today, middle=today, late=today)
        record = replace(record, meter_offset=3000.0, next_recording=past)
    page = html(
        card(
            record,
            made_on=MADE_AT.date(),
            paper=paper,
            place="W " * (LONGEST_PLACE // 2) if crowded else "",
            link=link("http://boat.example/".ljust(LONGEST if crowded else 30, "x"), where="x"),
        )
    )
    pdf = printed(tmp_path, page)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    # PDF points, 1/72 in; browsers round to whole CSS pixels, 0.75 points.
    assert [float(each) for each in box.groups()] == pytest.approx(POINTS[paper], abs=1.5)
