"""The page of one sweep: its speed, order curves and resonances; nothing of a steady recording."""

import functools
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from invented_report import MADE_AT
from invented_runup_recording import FROM_RPM, TO_RPM, measured_sweep, sweep_look
from invented_runups import CRANK, ORDERS, curves
from parsed_page import Parsed, words_of

from vibetrend.recording import Note
from vibetrend.report.recording.page import recording_page
from vibetrend.runup.maps import SweepMap
from vibetrend.trend.sweeps import RUN_UP_CAUTIONS


@functools.cache
def html() -> str:
    return recording_page(sweep_look(), made_at=MADE_AT)


def figures() -> dict[str, dict[str, Any]]:
    scripts = Parsed(html()).scripts
    found = [json.loads(text) for kind, text in scripts if kind == "application/json"]
    return {one["label"]: one for each in found for one in each}


def test_the_first_screen_says_what_kind_of_recording_it_is() -> None:
    text = words_of(Parsed(html()))
    assert "One sweep of a check-up" in text
    last = measured_sweep().speed.track["rpm"].iloc[-1]
    assert f"1100 to {last:.0f} rpm" in text
    assert f"{CRANK[0].upper()}{CRANK[1:]}, the crankshaft's own: 141.00 ± 0.40 Hz" in text
    assert "tells nothing of the damper's stiffness" not in text
    for caution in RUN_UP_CAUTIONS:
        assert caution in text


def test_what_a_sweep_does_not_have_is_left_out() -> None:
    text = words_of(Parsed(html()))
    for heading in ("Amplitude at each frequency", "Driven parts", "Other lines", "Every order",
                    "the mean, "):  # fmt: skip
        assert heading not in text


def test_the_speed_runs_from_start_to_end_without_a_mean() -> None:
    shown = figures()["speed over time"]
    (track,) = shown["data"]
    assert (track["y"][0], track["y"][-1]) == pytest.approx((FROM_RPM, TO_RPM), rel=0.01)
    assert shown["layout"]["shapes"] == []


def test_the_curves_are_those_of_the_measurement() -> None:
    table = curves(label="").table
    for order in ORDERS:
        name = f"order {order:g}" + ", the firing order" * (order == 3)
        (trace,) = figures()[name]["data"]
        values = [value for value in trace["y"] if value is not None]
        kept = table.loc[table["order"] == order, "amplitude"]
        assert values == pytest.approx(list(kept), abs=1e-7)


def test_orders_are_drawn_over_the_frequencies_as_they_follow_the_speed() -> None:
    shown = figures()["over time"]
    lines = {one["name"]: one for one in shown["data"] if one["type"] == "scatter"}
    assert set(lines) == {f"{order:g}" for order in ORDERS}
    assert [one["text"] for one in shown["layout"]["annotations"]] == list(lines)
    assert lines["3"]["y"][0] == pytest.approx(3 * FROM_RPM / 60)
    assert lines["3"]["y"][-1] == pytest.approx(3 * TO_RPM / 60, rel=0.01)


def test_the_order_map_keeps_its_speeds_where_they_are() -> None:
    """Levels of a grid that grows by shares are drawn on even speeds, so none stands elsewhere."""
    rpm, order = 1000 * 1.01 ** np.arange(80), np.arange(0.5, 6.5, 0.5)
    level = np.full((order.size, rpm.size), -80.0)
    strong = int(np.argmin(abs(rpm - 1600)))
    level[8, strong] = -20.0  # 20 dB stronger elsewhere would be wrong: this is the strongest
    map_ = SweepMap(speed_rpm=rpm, place=order, level_db=level, over="order")
    page = recording_page(replace(sweep_look(), order_map=map_), made_at=MADE_AT)
    found = [json.loads(text) for kind, text in Parsed(page).scripts if kind == "application/json"]
    (shown,) = [one for each in found for one in each if one["label"] == "order map"]
    (heat,) = shown["data"]
    row = heat["z"][8]
    assert max(row) == 0
    assert heat["x"][row.index(0)] == pytest.approx(rpm[strong], rel=0.01)
    assert min(row) == -60
    assert "Order map as a table" in page


def test_orders_run_level_through_the_order_map() -> None:
    found = sweep_look().order_map
    assert found is not None
    strong = found.place[np.argmax(np.nanmean(found.level_db, axis=1))]
    assert min(abs(strong - order) for order in ORDERS) < 0.1


def test_where_nothing_was_found_it_says_so() -> None:
    measured = measured_sweep()
    lost = replace(
        measured,
        speed=replace(
            measured.speed, method="tag", rpm=1720.0, spread_percent=float("nan"),
            track=pd.DataFrame({"time_s": [0.0, 20.0], "rpm": [FROM_RPM, TO_RPM]}),
        ),
        runup=measured.runup.head(0), resonances=measured.resonances.head(0),
        quality=[Note("speed-not-found", "unusable", "no speed was found")],
    )  # fmt: skip
    look = sweep_look(lost)
    assert look.order_map is None
    text = words_of(Parsed(recording_page(look, made_at=MADE_AT)))
    assert "The speed through this recording was not found." in text
    assert "No resonance stands out" in text
    assert "Nothing, it is unusable" in text


def test_the_model_of_an_engine_gives_its_interference_diagram() -> None:
    assert sweep_look().interference is not None
    assert "interference diagram" in figures()
    assert "By typical values:" in words_of(Parsed(html()))
