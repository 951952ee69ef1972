"""Speed and overall values: what was measured stands beside the chart that draws it."""

import json
import re
from dataclasses import replace

import pandas as pd
import pytest
from invented_report import MADE_AT, engine_record, history, series
from parsed_page import Parsed, words_of

from vibetrend.checkup.records import SeriesRecord
from vibetrend.quantities import ShownUnits, unit
from vibetrend.report import page, running

USED = {f"v{visit:02d}-{placement}" for visit in range(16) for placement in range(3)}
KEPT = ShownUnits()


@pytest.fixture(scope="module")
def one() -> SeriesRecord:
    return series(history())


def html_of(one: SeriesRecord) -> str:
    return page([engine_record("main", one)], title="t", made_at=MADE_AT)


def test_the_speed_of_every_recording_with_its_spread(one: SeriesRecord) -> None:
    found = running.speed(one, USED - {"v09-1"}, 1000.0)
    assert found is not None
    assert found.shows_reference
    table = one.recordings.sort_values("hours", kind="stable").reset_index(drop=True)
    pd.testing.assert_series_equal(
        found.table["spread"].reset_index(drop=True),
        table["speed_rpm"] * table["speed_spread_percent"] / 100,
        check_names=False,
    )
    assert found.table["used"].sum() == 47
    (used, out, _) = running.figure(found)["data"]
    assert (len(used["x"]), len(out["x"])) == (47, 1)
    assert used["error_y"]["array"] == used["customdata"]


def test_a_fast_idle_far_from_what_was_recorded_is_told_and_not_drawn(one: SeriesRecord) -> None:
    far = running.speed(one, USED, 1500.0)
    assert far is not None
    assert not far.shows_reference
    assert 'class="reference"' not in running.still(far)
    low, high = running.figure(far)["layout"]["yaxis"]["range"]
    assert high - low < 100
    none = running.speed(one, USED, None)
    assert none is not None
    assert not none.shows_reference


def test_a_run_up_has_no_one_speed(one: SeriesRecord) -> None:
    swept = replace(one, info=one.info | {"manner": "run-up"})
    assert running.speed(swept, USED, 1000.0) is None
    unknown = replace(one, recordings=one.recordings.assign(speed_rpm=float("nan")))
    assert running.speed(unknown, USED, 1000.0) is None


def test_each_overall_band_by_itself_in_its_own_unit(one: SeriesRecord) -> None:
    bands = running.overall(one, USED, KEPT)
    assert [(b.name, b.unit, b.band) for b in bands] == [
        ("acceleration", "m/s²", "2 to 160 Hz"),
        ("velocity", "mm/s", "2 to 160 Hz"),
    ]
    table = one.recordings.copy()
    levels = table["overall"].tolist()
    levels[3] = [{**each, "band_hz": [2.0, 80.0]} for each in levels[3]]
    table["overall"] = pd.Series(levels, index=table.index)
    bands = running.overall(replace(one, recordings=table), USED, KEPT)
    assert [len(band.table) for band in bands] == [47, 47, 1, 1]


def test_velocities_come_in_the_unit_that_is_wanted(one: SeriesRecord) -> None:
    kept = running.overall(one, USED, KEPT)[1]
    inches = running.overall(one, USED, ShownUnits(velocity=unit("in/s")))[1]
    assert inches.unit == "in/s"
    # An inch is 25.4 mm by definition.
    pd.testing.assert_series_equal(inches.table["value"] * 25.4, kept.table["value"])


def test_the_tables_hold_what_the_charts_draw(one: SeriesRecord) -> None:
    parsed = Parsed(html_of(one))
    row = one.recordings.iloc[-1]
    values = [f"{level['value']:#.3g}" for level in row["overall"]]
    assert ["25 March 2028", "5510", *values, "used"] in parsed.rows
    spread = f"{row['speed_spread_percent']:.2f}"
    assert ["25 March 2028", "5510", f"{row['speed_rpm']:.1f}", "0.20", spread, "used"] in (
        parsed.rows
    )
    assert any(each[-1] == "left out" and each[0] == "12 May 2027" for each in parsed.rows if each)


def test_it_says_what_they_cannot_show(one: SeriesRecord) -> None:
    text = words_of(Parsed(html_of(one)))
    assert "it cannot show the damper" in text
    assert "it cannot show which part did" in text


def test_a_recording_without_levels_leaves_no_empty_sheet(one: SeriesRecord) -> None:
    bare = one.recordings.assign(speed_rpm=float("nan"), overall=pd.Series([[] for _ in range(48)]))
    html = html_of(replace(one, recordings=bare))
    assert "Overall values" not in html
    assert "Speed and steadiness" not in html
    charts = re.findall(r'<script type="application/json">(.*?)</script>', html)
    assert len([json.loads(chart) for chart in charts]) == 4
