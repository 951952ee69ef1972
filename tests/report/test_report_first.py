"""The first screen and the order of what follows it."""

import re
from dataclasses import replace
from typing import Any

import pytest
from invented_fitting import record
from invented_report import MADE_AT, START, engine_record, history, series, worked_on
from parsed_page import Parsed, words_of

from vibetrend.checkup.records import EngineRecord, Happening
from vibetrend.report import page
from vibetrend.report.parts import FIRST_ADVICE
from vibetrend.report.settings_used import reading_words
from vibetrend.trend import nothing_judged

HAPPENED = (Happening(date=START, hours=3120.0, meter_hours=3120.0, what="work", words="mounts"),)


def whole() -> EngineRecord:
    """Return an engine with work, a record and a log."""
    return replace(worked_on(), installation_record=record(), happenings=HAPPENED)


@pytest.fixture(scope="module")
def html() -> str:
    return page([whole()], title="t", made_at=MADE_AT)


def test_what_stands_behind_what(html: str) -> None:
    text = words_of(Parsed(html))
    order = (
        "Idle trend:", "Damper resonance:", "What to do next:", "Next check-up:", "Damper renewal:",
        "Evidence, never a clearance.", "On this page:", "Change of each order",
        "History over engine hours", "Everything together as a table", "Latest order spectrum",
        "All orders at all check-ups", "Speed and steadiness", "Overall values",
        "What was concluded, in numbers", "What was left out, and why", "Recordings File hash",
        "Ended by work", "Work on this engine", "Run-out of each surface", "Log of everything",
        "How this was measured Amplitudes",
    )  # fmt: skip
    places = [text.find(each) for each in order]
    assert -1 not in places, [each for each in order if each not in text]
    assert places == sorted(places)


def test_the_contents_lead_to_what_is_there(html: str) -> None:
    (contents,) = re.findall(r'<nav class="contents".*?</nav>', html, re.DOTALL)
    links = re.findall(r'href="#([^"]+)"', contents)
    assert len(links) > 10
    assert set(links) <= set(Parsed(html).ids)
    without = series(history(visits=2).assign(baseline=False))
    html = page([engine_record("new", without)], title="t", made_at=MADE_AT)
    (contents,) = re.findall(r'<nav class="contents".*?</nav>', html, re.DOTALL)
    assert set(re.findall(r'href="#([^"]+)"', contents)) <= set(Parsed(html).ids)
    bare = page([engine_record("new")], title="t", made_at=MADE_AT)
    (contents,) = re.findall(r'<nav class="contents".*?</nav>', bare, re.DOTALL)
    assert re.findall(r'href="#([^"]+)"', contents) == ["method"]


def test_no_anchor_stands_twice() -> None:
    ids = Parsed(page([whole(), whole()], title="t", made_at=MADE_AT)).ids
    assert len(ids) == len(set(ids))


def test_three_sentences_at_once_and_the_others_unfolded_on_paper() -> None:
    one = series(history())
    advice = [f"Sentence {number}." for number in range(10)]
    told = replace(one, verdict=replace(one.verdict, advice=advice))
    html = page([engine_record("main", told)], title="t", made_at=MADE_AT)
    todo = html.partition("What to do next:")[2].partition('class="caution"')[0]
    at_once, _, folded = todo.partition('<details class="printed">')
    assert at_once.count("<li>") == FIRST_ADVICE == 3
    assert folded.count("<li>") == 7
    assert "7 more: what to look at and how to tell causes apart" in folded
    assert '<ol class="advice" start="4">' in folded


def test_recordings_that_cannot_be_used_are_shown_with_the_reason() -> None:
    one = series(history(visits=1))
    short: dict[str, Any] = {"code": "too-short", "severity": "unusable", "message": "It is short."}
    bad = replace(
        one,
        history=one.history.iloc[:0],
        verdict=replace(nothing_judged(), state="record-again"),
        recordings=one.recordings.assign(baseline=False, quality=[[short]] * 3),
        latest=None,
        reference=None,
    )
    parsed = Parsed(page([engine_record("main", bad)], title="t", made_at=MADE_AT))
    left_out = [row for row in parsed.rows if row[-1:] == ["cannot be used: It is short."]]
    assert len(left_out) == 3
    text = words_of(parsed)
    assert "A recording of the latest check-up looks wrong: take it again." in text


def test_trend_and_resonance_each_have_a_line_of_their_own(html: str) -> None:
    lines = re.findall(r'<div class="line lead" data-state="[^"]+">\s*<dt>(.*?)</dt>', html)
    assert lines == ["Idle trend:", "Damper resonance:"]
    late = page([engine_record("old", series(history()), overdue=True)], title="t", made_at=MADE_AT)
    lines = re.findall(r'<div class="line lead" data-state="[^"]+">\s*<dt>(.*?)</dt>', late)
    assert lines == ["Damper renewal:", "Idle trend:", "Damper resonance:"]


def test_with_what_each_series_was_read_and_judged(html: str) -> None:
    rows = [row for row in Parsed(html).rows if row[:1] == ["main"]]
    assert len(rows) == 2  # the present series and the one that work has ended
    assert rows[1][2] == "as the files say (47 files); rate 200.0 (1 file)"
    assert rows[1][3:5] == ["1", "3 days, 1 May 2026 to 7 May 2026"]
    assert rows[1][-1] == "+6.0 dB"  # twice the baseline: 20 lg 2
    text = words_of(Parsed(html))
    assert "Between check-ups lie 200 h while nothing is open" in text
    assert "Made by vibetrend" in text


def test_a_baseline_of_one_day_names_the_day_once() -> None:
    text = words_of(
        Parsed(page([engine_record("m", series(history(visits=1)))], title="t", made_at=MADE_AT))
    )
    assert "1 day, 1 May 2026 ±" in text or "1 day, 1 May 2026 –" in text
    assert "1 day, 1 May 2026 to" not in text
    assert "The baseline has 1 check-up so far." in text


def test_a_complete_baseline_without_a_later_check_up_says_that_nothing_was_compared() -> None:
    only = series(history(visits=3))
    assert only.verdict.state == "no-change-seen"
    text = words_of(Parsed(page([engine_record("m", only)], title="t", made_at=MADE_AT)))
    assert (
        "Idle trend: No change seen The baseline is complete. There is no check-up after the "
        "baseline yet; the next one is compared with it."
    ) in text
    assert "No order has moved" not in text
    assert "Largest difference" not in text
    later = series(history(visits=6, bend_db_per_1000h=0))
    text = words_of(Parsed(page([engine_record("m", later)], title="t", made_at=MADE_AT)))
    assert "No order has moved beyond" in text


def test_a_first_jump_of_all_orders_says_what_jumped() -> None:
    table = history(visits=8, bend_db_per_1000h=0)
    latest = table["visit"] == table["visit"].iloc[-1]
    table.loc[latest, "amplitude"] *= 1.7
    one = series(table)
    assert (one.verdict.state, one.verdict.common_state) == ("another-day", "another-day")
    change = one.verdict.common_change_db
    text = words_of(Parsed(page([engine_record("m", one)], title="t", made_at=MADE_AT)))
    assert (
        f"Idle trend: Look again on another day All orders together stand {change:+.1f} dB from "
        f"the baseline. Not confirmed yet."
    ) in text


def test_the_overview_says_of_the_next_check_up_what_the_engine_itself_says() -> None:
    at_once = engine_record("port", series(history()))
    status = at_once.status | {"next_recording_hours": at_once.status["hours"]}
    ahead = engine_record("starboard", series(history()))
    both = [replace(at_once, status=status), ahead]
    rows = Parsed(page(both, title="t", made_at=MADE_AT)).rows
    told = [next(row for row in rows if row[:1] == [name]) for name in ("port", "starboard")]
    assert "Now" in told[0]
    assert f"At {ahead.status['next_recording_hours']:.0f}\xa0h" in told[1]


def test_options_of_reading_are_counted() -> None:
    assert reading_words([]) == "–"
    assert reading_words([{}, {}]) == "as the files say"
    assert reading_words([{"columns": [2, 3], "rate": 200}] * 2) == "columns 2, 3, rate 200"


def test_a_picture_over_time_is_one_small_picture() -> None:
    """A cell each as an element of its own would be ten thousand."""
    import numpy as np

    from vibetrend.orders import Spectrogram

    level = np.linspace(-60, 0, 96 * 110).reshape(96, 110)
    drawn = Spectrogram(np.linspace(0, 20, 110), np.linspace(2, 200, 96), level, "clip")
    one = replace(series(history()), spectrogram=drawn)
    html = page([engine_record("main", one)], title="t", made_at=MADE_AT)
    (source,) = re.findall(r'<image class="levels"[^>]* href="([^"]+)"', html)
    assert source.startswith("data:image/png;base64,")
    assert len(source) < 20_000
    assert "img-src data:" in html


def test_a_long_history_keeps_the_page_small() -> None:
    """60 check-ups, every order: each element costs a phone time; 9000 is what it has now."""
    html = page([engine_record("main", series(history(visits=60)))], title="t", made_at=MADE_AT)
    still = re.sub(r"<(script|style)\b.*?</\1>", "", html, flags=re.DOTALL)
    assert len(re.findall(r"<[a-z]", still)) < 9500
