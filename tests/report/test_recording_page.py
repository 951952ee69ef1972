"""The page of one recording: every number as `measure` gives it, every name as text."""

import datetime as dt
import functools
import json
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from parsed_page import HOSTILE, Parsed, words_of

import vibetrend as vt
from vibetrend.checkup.looking import looked_at
from vibetrend.engine import Engine
from vibetrend.orders import Measurement
from vibetrend.quantities import ShownUnits, unit
from vibetrend.recording import Note, Source, Tacho
from vibetrend.report.recording.page import recording_page
from vibetrend.simulate import record
from vibetrend.trend.advice import CAUTIONS

MADE_AT = dt.datetime(2026, 6, 1, 9, 30, tzinfo=dt.UTC)
REAL = Path(__file__).parents[2].parent / "shared" / "data" / "real"
ENGINE = Engine.parse(
    'name = "main"\ncylinders = 6\nfast_idle_rpm = 1080\n'
    '[[driven]]\nname = "alternator"\nratio = 2.37\n'
)
SOURCE = Source(path="somewhere/idle.csv", sha256="ab" * 32)


@functools.cache
def recording() -> vt.Recording:
    made, _ = record(ENGINE, rpm=1080, seconds=12, rate=200, seed=1)
    return replace(made, source=SOURCE)


@functools.cache
def measured() -> Measurement:
    return vt.measure(recording(), engine=ENGINE)


def html_of(measurement: Measurement, engine: Engine | None = None, **more: Any) -> str:
    return recording_page(looked_at(measurement, engine=engine), made_at=MADE_AT, **more)


@functools.cache
def html() -> str:
    return html_of(measured(), ENGINE)


@functools.cache
def parsed() -> Parsed:
    return Parsed(html())


def table(page: Parsed, heading: str) -> list[list[float | str]]:
    """Return the rows of the first table whose head begins with a word."""
    start = next(i for i, row in enumerate(page.rows) if row and row[0] == heading)
    rows = page.rows[start + 1 :]
    heads = ("Seconds", "Hz", "Order", "Part", "Other line", "Line", "What")
    end = next((i for i, row in enumerate(rows) if not row or row[0] in heads), len(rows))
    return rows[:end]


def figures(page: Parsed) -> dict[str, dict[str, Any]]:
    """Return the charts' data by their label."""
    found = [json.loads(text) for kind, text in page.scripts if kind == "application/json"]
    return {one["label"]: one for each in found for one in each}


# Numbers


def test_every_number_of_the_order_table_is_that_of_the_json() -> None:
    told = measured().to_dict()
    rows = [[cell for cell in row if cell != "firing"] for row in table(parsed(), "Order")]
    assert len(rows) == len(told["orders"]) == 24
    keys = (
        "frequency_hz", "amplitude", "standard_error", "floor", "variation_percent",
        "velocity_mm_s", "displacement_um", "phase_deg", "phase_standard_error_deg",
        "phase_repeats_deg",
    )  # fmt: skip
    for row, one in zip(rows, told["orders"], strict=True):
        shown = [None if cell == "–" else cell for cell in row[1:-1]]
        # Units are converted to those shown and back: the last bit may differ.
        assert shown == [None if one[k] is None else pytest.approx(one[k], rel=1e-12) for k in keys]
        assert float(str(row[0])) == one["order"]
        assert str(row[-1]).startswith("yes" if one["visible"] else f"no: {one['reason']}")


def test_driven_lines_axes_and_levels_are_those_of_the_json() -> None:
    told = measured().to_dict()
    (row,) = table(parsed(), "Part")
    (part,) = told["driven"]
    assert row[:4] == ["alternator", part["order"], part["frequency_hz"], part["amplitude"]]
    by_axis = {str(row[0]): row[1:] for row in table(parsed(), "Line")}
    third = next(one for one in told["orders"] if one["order"] == 3)
    assert by_axis["3"] == [
        *(third["by_axis"][axis] for axis in "xyz"),
        third["ellipse"]["major"], third["ellipse"]["minor"],
    ]  # fmt: skip
    levels = [row[1:] for row in table(parsed(), "What")]
    assert levels == [[one["value"], *one["band_hz"]] for one in told["overall"]]


def test_the_first_screen_says_what_it_is() -> None:
    said = words_of(parsed())
    speed = measured().speed
    first = said[: said.index("Evidence, never a clearance")]
    for words in (
        "idle.csv", "acceleration", "12.0 s", "3 axes: x, y, z", "200 samples per second",
        "no date known", "engine main", "Stated: 1080 rpm",
        "found in the recording itself".capitalize(), "the firing order",
        "No other speed explains it", "A check-up",
    ):  # fmt: skip
        assert words in first, words
    told = re.search(r"Speed: ([\d.]+) ± ([\d.]+) rpm", first)
    assert told is not None
    assert float(told[1]) == pytest.approx(speed.rpm, abs=0.06 * speed.standard_error_rpm)
    assert float(told[2]) == pytest.approx(speed.standard_error_rpm, rel=0.05)  # two digits
    assert all(caution in said for caution in CAUTIONS)
    assert "somewhere" not in html()  # where a person keeps files is nobody else's business
    assert SOURCE.sha256 in said


def test_velocities_are_shown_in_the_unit_that_is_wanted() -> None:
    inches = html_of(measured(), ENGINE, units=ShownUnits(velocity=unit("in/s")))
    rows = table(Parsed(inches), "Order")
    third = next(one for one in measured().to_dict()["orders"] if one["order"] == 3)
    row = next(row for row in rows if row[0] == "3")
    assert row[row.index("firing") + 6] == pytest.approx(third["velocity_mm_s"] / 25.4)
    assert "in/s rms" in inches


# Doubts


@pytest.mark.parametrize(
    ("severities", "word", "first"),
    [
        (["note", "unusable", "warning"], "Nothing, it is unusable", "Unusable"),
        (["note", "warning"], "A check-up, with care: 1 warning", "Warning"),
        (["note"], "A check-up", "Note"),
        ([], "A check-up", ""),
    ],
)
def test_doubts_stand_worst_first_in_words(severities: list[str], word: str, first: str) -> None:
    notes = [Note("code", severity, f"this is {severity}") for severity in severities]  # type: ignore[arg-type]
    said = words_of(Parsed(html_of(replace(measured(), quality=notes))))
    assert word in said
    order = re.findall(r"(Unusable|Warning|Note): This is", said)
    assert order[:1] == [first][: len(severities)]
    assert len(order) == len(severities)
    if "unusable" in severities:  # the fault itself goes first
        assert said.index("this is unusable") < said.index("Speed:")


# Pictures


def test_the_charts_hold_what_was_recorded() -> None:
    found = figures(parsed())
    samples = recording().samples
    assert samples is not None
    traces = found["values over time"]["data"]
    for trace, column in zip(traces, samples.T, strict=True):
        assert max(trace["y"]) == pytest.approx(column.max(), rel=1e-3)  # four digits
        assert min(trace["y"]) == pytest.approx(column.min(), rel=1e-3)
    names = {trace["name"] for trace in found["amplitude spectrum"]["data"]}
    assert names >= {"spectrum", "order", "firing order", "driven line"}
    assert set(found) >= {"values over time", "speed over time", "over time"}
    assert np.mean(found["speed over time"]["data"][0]["y"]) == pytest.approx(
        measured().speed.rpm, rel=1e-4
    )


def test_a_gap_and_cut_off_tops_are_marked_and_named() -> None:
    time = np.arange(8000) / 400
    wave = np.sin(2 * np.pi * 54 * time) + 0.5 * np.sin(2 * np.pi * 9 * time)
    wave += 0.05 * np.random.default_rng(2).standard_normal(time.size)
    wave[5000:] = np.minimum(2 * wave[5000:], 2.0)
    there = (time < 5) | (time > 7)
    one = vt.Recording(wave[there], times=time[there], rpm=1080)
    page = Parsed(html_of(vt.measure(one)))
    chart = figures(page)["values over time"]
    cut = next(trace for trace in chart["data"] if trace["name"] == "cut off")
    assert set(cut["y"]) == {2.0}
    assert min(cut["x"]) == pytest.approx(12.5, abs=0.1)
    assert "2 s missing" in {note["text"] for note in chart["layout"]["annotations"]}
    assert "2 s missing" in words_of(page)  # of the picture without script
    classes = {value for tag, name, value in page.attributes if name == "class"}
    assert {"lost", "cut"} <= classes
    assert None in chart["data"][0]["y"]


def test_tooth_times_alone_have_a_page() -> None:
    angle = np.arange(36 * 90) / 36
    edges = 100 + (angle + 0.0004 * np.sin(2 * np.pi * 0.5 * angle)) / 18
    page = Parsed(html_of(vt.measure(vt.Recording(tacho=Tacho(edges, 36.0)))))
    said = words_of(page)
    assert "tooth times" in said
    assert "Taken from the tacho" in said
    assert set(figures(page)) == {"order spectrum", "speed over time"}
    assert figures(page)["speed over time"]["data"][0]["x"][0] < 1  # from the first tooth on


def test_an_engine_that_is_off_has_a_page_and_no_speed() -> None:
    noise = 0.01 * np.random.default_rng(3).standard_normal(2000)
    said = words_of(Parsed(html_of(vt.measure(vt.Recording(noise, sample_rate=200, rpm=1080)))))
    assert "Nothing, it is unusable" in said
    assert "1080 rpm, not found" in said
    assert "No speed of the engine was found" in said


def test_sound_is_told_as_a_share_of_full_scale() -> None:
    time = np.arange(8000) / 2000
    wave = 0.1 * np.sin(2 * np.pi * 60 * time) + 0.02 * np.sin(2 * np.pi * 15 * time)
    wave += 0.002 * np.random.default_rng(4).standard_normal(time.size)
    one = vt.Recording(wave, sample_rate=2000, kind="sound", rpm=1800)
    said = words_of(Parsed(html_of(vt.measure(one))))
    assert "1 channel" in said
    assert "of full scale rms" in said
    assert not re.search(r"\d 1 rms", said)
    assert "4.0 s" in said


def test_a_long_fast_recording_stays_small() -> None:
    """The issue's limit is 8 MB; plotly.js itself has 4.8."""
    rate, seconds = 4800, 200
    time = np.arange(rate * seconds) / rate
    wave = np.cos(2 * np.pi * 18 * time) + np.cos(2 * np.pi * 54 * time)
    wave += 0.1 * np.random.default_rng(5).standard_normal(time.size)
    text = html_of(vt.measure(vt.Recording(wave, sample_rate=rate, rpm=1080)))
    assert len(text.encode()) < 6e6
    assert "not measured" in text  # the middle two minutes count


# Safety


def test_hostile_names_are_text() -> None:
    one = vt.Recording(
        recording().samples[:, :2],  # type: ignore[index]
        times=recording().times,
        sample_rate=recording().sample_rate,
        axes=(HOSTILE, "<b>y</b>"),
        rpm=1080,
        position=HOSTILE,
        source=Source(
            path=f"here/{HOSTILE.replace('/', '_')}.csv",
            sha256="cd" * 32,
            reading={"unit": HOSTILE},
        ),
    )
    bad = ENGINE.model_copy(update={"name": HOSTILE})
    text = html_of(vt.measure(one, engine=bad), bad)
    page = Parsed(text)
    assert len(page.scripts) == len(parsed().scripts)
    assert {kind for kind, _ in page.scripts} == {"application/json", "text/plain", None}
    assert not any(name.startswith("on") for _, name, _ in page.attributes)
    assert "<script>alert" not in text
    said = " ".join(page.text)
    assert said.count('<script>alert("x")</script>') >= 4
    assert "{{ 7*7 }}" in said
    names = [trace["name"] for trace in figures(page)["values over time"]["data"]]
    assert names[1] == "&lt;b&gt;y&lt;/b&gt;"  # plotly would read tags


def test_nothing_leaves_the_page() -> None:
    assert "default-src 'none'" in parsed().meta["Content-Security-Policy"]
    assert not [value for _, name, value in parsed().attributes if name in ("src", "href")
                and not value.startswith(("#", "data:"))]  # fmt: skip
    assert len(parsed().ids) == len(set(parsed().ids))


@pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")
@pytest.mark.parametrize(
    ("name", "stated", "charts"),
    [
        ("motor_1721rpm.csv.zip", {}, 4),
        ("genset_noload.txt.zip", {"columns": [3], "unit": "V", "rpm": 3150}, 3),
        ("phone_v6_idle_start.csv", {"rpm": 1049}, 4),
        ("piston_four_idle.wav", {"rpm": 870}, 4),
        ("crank_teeth_36-2-1.csv", {"tacho_column": "Channel 0", "teeth": "36-2-1"}, 2),
    ],
)
def test_real_recordings_have_a_page(name: str, stated: dict[str, Any], charts: int) -> None:
    measurement = vt.measure(vt.read(REAL / name, **stated))
    page = Parsed(html_of(measurement))
    assert name in words_of(page)
    assert len(figures(page)) == charts
    rows = table(page, "Order")
    found = [row[[cell != "firing" for cell in row].index(True) + 2] for row in rows]
    told = [one["amplitude"] for one in measurement.to_dict()["orders"]]
    assert found == ["–" if math.isnan(float(v)) else pytest.approx(v) for v in told]
