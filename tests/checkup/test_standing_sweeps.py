"""Baselines that do not count, days that do, and when to record again after a change."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented_life import FITTED, FITTED_HOURS, TODAY
from measured_life import baseline, check_up, engine_book, main_engine

from vibetrend.checkup import sweeps as of_sweeps
from vibetrend.checkup.standing import standing
from vibetrend.cli.standing_words import standing_words
from vibetrend.logbook import KeptSweep, Logbook
from vibetrend.report.statements import statements

LATER = FITTED + dt.timedelta(days=60)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook whose engine has a damper."""
    with engine_book(tmp_path) as opened:
        opened.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        yield opened


@pytest.mark.parametrize("manner", ["steady", "run-up"])
def test_a_baseline_that_cannot_be_used_says_why(book: Logbook, manner: str) -> None:
    baseline(book, unusable=True, manner=manner)
    engine = main_engine(book)
    (series,) = engine.series
    said = "9 recordings were added as baseline and none can be used: It is too short."
    assert said in series.verdict.advice
    told = " ".join(standing_words([engine], today=TODAY).split())
    assert told.count(said) == 1
    assert any(said in one.text for one in statements(engine, TODAY))
    assert "nothing to compare with yet" not in told


def test_sweeps_that_show_no_resonance_say_so(book: Logbook) -> None:
    baseline(book, manner="run-up")  # whose measurements hold no curves
    engine = main_engine(book)
    (series,) = engine.series
    assert series.verdict.state == "no-baseline"
    assert series.verdict.advice[0].startswith(
        "9 recordings were added as baseline and none shows a resonance that can be followed"
    )


def test_one_that_can_be_used_is_enough_not_to_complain(book: Logbook) -> None:
    check_up(book, FITTED, FITTED_HOURS, baseline=True, unusable=True, placements=2)
    check_up(book, FITTED + dt.timedelta(days=1), FITTED_HOURS + 4, baseline=True)
    (series,) = main_engine(book).series
    assert not any("none can be used" in line for line in series.verdict.advice)


def test_a_day_that_lacks_usable_recordings_is_counted_as_no_whole_one(book: Logbook) -> None:
    for day, unusable in ((1, 1), (2, 0)):
        date, hours = FITTED + dt.timedelta(days=day), FITTED_HOURS + 5 * day
        check_up(book, date, hours, baseline=True, placements=3 - unusable)
        if unusable:
            check_up(book, date, hours + 0.1, baseline=True, placements=1, unusable=True)
    engine = main_engine(book)
    told = " ".join(standing_words([engine], today=TODAY).split())
    assert "has 2 check-ups so far, 1 of them with 3 recordings that can be used." in told
    assert "two more days of three" in told


def test_after_a_change_the_next_check_up_comes_earlier_than_usual(book: Logbook) -> None:
    """100 h instead of 200; common practice, no source."""
    baseline(book)
    for days, hours in ((0, 3400.0), (1, 3404.0)):
        check_up(book, LATER + dt.timedelta(days=days), hours, {3.0: -5.0})
    (engine,) = standing(book, ["main"], today=TODAY)
    assert engine.status["state"] == "changed"
    assert engine.status["next_recording_hours"] == 3504.0
    assert any("earlier than usual" in line for line in engine.series[0].verdict.advice)


def test_the_damper_s_temperature_goes_along_with_the_history(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = [
        KeptSweep(
            recording=f"r{number}",
            visit="v",
            hours=1.0,
            date=FITTED,
            baseline=True,
            runup=pd.DataFrame(),
            circumstances={} if damper_c is None else {"damper_c": damper_c},
        )
        for number, damper_c in enumerate((40.0, None))
    ]
    baseline(book, manner="run-up")
    (series,) = book.series("main")
    rows = pd.DataFrame({"recording": ["r0", "r0", "r1"], "amplitude": 1.0})
    monkeypatch.setattr(of_sweeps, "sweeps", lambda *_: kept)
    monkeypatch.setattr(of_sweeps, "following", lambda *_, **__: rows)
    found = of_sweeps.history_of(book, series)["damper_c"].tolist()
    assert found[:2] == [40.0, 40.0]
    assert np.isnan(found[2])
