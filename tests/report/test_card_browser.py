"""The card printed by a real browser: one page of either paper; left out without Chromium."""

import re
from dataclasses import replace

import pytest
from invented_report import MADE_AT, engine_record, history, series
from parsed_page import HOSTILE
from real_browser import BROWSER, needed

from vibetrend.installation.use import Reached
from vibetrend.report.card import LONGEST_PLACE, card, html
from vibetrend.report.document import Paper
from vibetrend.report.link import LONGEST, link
from vibetrend.report.printing.browser import to_pdf

POINTS: dict[Paper, tuple[float, float]] = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}

pytestmark = needed


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("crowded", [False, True], ids=["usual", "crowded"])
@pytest.mark.parametrize("swept", [False, True], ids=["steady", "swept"])
def test_it_prints_on_one_page(paper: Paper, crowded: bool, swept: bool) -> None:
    """Crowded: an overdue renewal, and every text as long and as hostile as can be."""
    one = series(history())
    if crowded:
        words = dict.fromkeys(("position", "device", "condition"), HOSTILE)
        one = replace(one, info=one.info | words)
    record = engine_record(HOSTILE[:500] if crowded else "main", one, overdue=crowded)
    if swept:
        other = replace(one, info=one.info | {"id": 9, "manner": "run-up", "position": HOSTILE[9:]})
        record = replace(record, series=(one, other))
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
    pdf = to_pdf(page, BROWSER)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    # PDF points, 1/72 in; browsers round to whole CSS pixels, 0.75 points.
    assert [float(each) for each in box.groups()] == pytest.approx(POINTS[paper], abs=1.5)
