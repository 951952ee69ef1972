"""A series of run-ups on the engine's page: curves, resonances and histories as they are kept."""

import json
import math
import re
from dataclasses import replace
from typing import Any

import pytest
from invented_report import MADE_AT, engine_record, history, series
from invented_runups import (
    CRANK,
    CRANK_HZ,
    ORDERS,
    OTHER,
    SHIFT_PERCENT,
    curves,
    resonances,
    swept,
    swept_engine,
)
from parsed_page import HOSTILE, Parsed, words_of

from vibetrend.checkup.records import EngineRecord, SweepCurves
from vibetrend.quantities import ShownUnits, unit
from vibetrend.report import page
from vibetrend.report import shown as in_shown
from vibetrend.report.curves import order_curves, still
from vibetrend.report.parts import engine_part
from vibetrend.report.printing.loose import loose
from vibetrend.report.resonances import resonances as seen
from vibetrend.trend.sweeps import RUN_UP_CAUTIONS


def html_of(*records: EngineRecord) -> str:
    return page(records or (swept_engine(),), title="t", made_at=MADE_AT)


@pytest.fixture(scope="module")
def html() -> str:
    return html_of()


@pytest.fixture(scope="module")
def parsed(html: str) -> Parsed:
    return Parsed(html)


def charts(parsed: Parsed) -> dict[str, dict[str, Any]]:
    found = [json.loads(text) for kind, text in parsed.scripts if kind == "application/json"]
    return {one["label"]: one for each in found for one in each}


def test_the_curves_drawn_are_those_that_were_kept(parsed: Parsed) -> None:
    figures = charts(parsed)
    for order in ORDERS:
        name = f"order {order:g}" + ", the firing order" * (order == 3)
        reference, latest = figures[name]["data"]
        for trace, shift in ((latest, SHIFT_PERCENT), (reference, 0.0)):
            table = curves(shift, label="").table
            mine = table[table["order"] == order]
            drawn = [(x, y) for x, y in zip(trace["x"], trace["y"], strict=True) if y is not None]
            assert [x for x, _ in drawn] == pytest.approx(list(mine["speed_rpm"]), abs=0.06)
            assert [y for _, y in drawn] == pytest.approx(list(mine["amplitude"]), abs=1e-7)
        assert latest["name"] == "the latest check-up, 3 sweeps"
        assert reference["name"] == "the baseline, 9 sweeps"


def test_the_most_telling_orders_come_first() -> None:
    found = order_curves(curves(label=""), None, seen(resonances()))
    # Those of the crankshaft, the other resonance, then by strength.
    assert [one.order for one in found] == [4.5, 6.0, 3.0, 1.5]
    (first, rpm), *_ = found[0].critical
    assert first.name == CRANK
    assert rpm == pytest.approx(60 * CRANK_HZ * (1 + SHIFT_PERCENT / 100) / 4.5)


def test_each_resonance_is_marked_with_a_word_and_its_speed(html: str) -> None:
    """Never by colour alone."""
    assert "A crankshaft, 1786 rpm</text>" in html
    drawn = still(order_curves(curves(label=""), None, seen(resonances()))[2])
    assert "B unknown, 1480 rpm</text>" in drawn
    assert drawn.count('class="critical"') == 1


def test_a_speed_that_a_sweep_lacks_leaves_a_gap() -> None:
    table = curves(label="").table
    there = table[~table["speed_rpm"].between(1500, 1700)]
    (one, *_) = order_curves(SweepCurves(table=there, unit="1", label=""), None, [])
    pieces = list(one.latest.stretches())
    assert [len(piece.rpm) for piece in pieces] == [33, 34]
    assert still(one).count('class="course"') == 2


def test_the_table_of_resonances_tells_every_number(parsed: Parsed) -> None:
    kept = resonances()
    joint = kept[kept["order"].isna()].iloc[0]
    (row,) = [each for each in parsed.rows if each and each[0] == CRANK and "A" in each]
    assert [cell for cell in row if isinstance(cell, float)] == pytest.approx(
        [joint[name] for name in ("frequency_hz", "damping_ratio", "shift_percent")]
    )
    assert row[-1] == "the crankshaft's own, in orders 4.5, 6"
    in_order = next(each for each in parsed.rows if each and each[0] == "4.5" and len(each) == 8)
    mine = kept[kept["order"] == 4.5].iloc[0]
    assert [cell for cell in in_order if isinstance(cell, float)] == pytest.approx(
        [mine[name] for name in ("speed_rpm", "frequency_hz", "damping_ratio", "height")]
    )
    text = words_of(parsed)
    assert f"Order by order: {CRANK}" in text
    assert f"Order by order: {OTHER}" not in text  # one order alone: its line says it


def test_an_unknown_resonance_is_said_to_be_one(parsed: Parsed) -> None:
    row = next(row for row in parsed.rows if row and row[0] == OTHER and "B" in row)
    assert row[-1] == "cause unknown, in order 3 at 1480 rpm"
    text = words_of(parsed)
    assert "Most peaks that a block shows are its mounts, covers, exhaust or the room" in text
    assert "at the flywheel sits near the node" in text


def test_a_frequency_is_told_in_per_cent_and_never_in_db(html: str) -> None:
    part = engine_part(swept_engine(), "e", MADE_AT.date(), ShownUnits(), {}).series[0]
    units = {group.title: group.scale.unit for group in part.groups}
    assert units == {
        "Natural frequency": "%", "Height of the peak": "dB", "Width of the peak": "%",
    }  # fmt: skip
    first = part.groups[0]
    (fact,) = [fact for fact, _ in first.rows if fact.moved]
    assert first.name(fact) == CRANK
    assert first.scale.of(fact.change_db) == pytest.approx(SHIFT_PERCENT, abs=0.5)
    own = html[html.index('id="engine-1-series-1-history"') :]
    assert re.search(r"latest -\d\.\d %", own)
    figures = charts(Parsed(html))
    name = f"frequency of the crankshaft's resonance {CRANK.removeprefix('crankshaft ')}"
    layout = figures[name]["layout"]
    assert layout["yaxis"]["title"]["text"] == "change against the baseline, %"
    assert "0" in layout["yaxis"]["ticktext"]
    told = figures[name]["data"][-1]
    assert told["customdata"][-1] == pytest.approx(SHIFT_PERCENT, abs=0.6)
    assert "dB" not in told["hovertemplate"]


def test_the_scale_of_frequencies_does_not_hold_the_widths() -> None:
    part = engine_part(swept_engine(), "e", MADE_AT.date(), ShownUnits(), {}).series[0]
    low, high = (part.groups[0].scale.of(db) for db in part.groups[0].reach)
    assert -8 <= low <= -5
    assert high <= 5


def test_the_settings_used_tell_each_scatter_in_its_own_unit(html: str) -> None:
    (row,) = re.findall(r"<td>(natural frequency ±[^<]*)</td>", html)
    assert re.fullmatch(
        r"natural frequency ±\S+ to ±\S+ %; height of the peak ±\S+ to ±\S+ dB; "
        r"width of the peak ±\S+ to ±\S+ %",
        row,
    )


def test_nothing_of_a_sweep_is_said_of_orders(html: str) -> None:
    own = html[html.index('<section class="series') : html.index('class="method"')]
    text = words_of(Parsed(own))
    for wrong in ("Everything together", "order spectrum", "Change of each order",
                  "All orders at all check-ups", "Speed and steadiness", "taken out"):  # fmt: skip
        assert wrong not in text
    assert "Change of each resonance against the baseline" in text
    assert "Mean speed" in text


def test_the_cautions_of_a_run_up_stand_where_it_is_shown(parsed: Parsed) -> None:
    text = words_of(parsed)
    for caution in RUN_UP_CAUTIONS:
        assert text.count(caution) >= 2  # beside the resonances, and in the method


def test_a_steady_series_stays_what_it_is_beside_one_of_sweeps() -> None:
    html = html_of(swept_engine("main", series(history())))
    text = words_of(Parsed(html))
    assert "Everything together" in text
    assert "Change of each order against the baseline" in text
    assert "Change of each resonance against the baseline" in text
    assert len(re.findall(r'id="[^"]*-curves"', html)) == 1


def test_before_there_is_a_baseline_the_curves_are_shown_alone() -> None:
    new = replace(swept(visits=1, moves_at=9), reference_curves=None, resonances=resonances(None))
    html = html_of(engine_record("main", new))
    (own,) = re.findall(r'<section class="sheet" id="[^"]*-curves".*?</section>', html, re.DOTALL)
    assert "Grey line" not in own
    assert "Frequency against" not in html


def test_a_sweep_without_a_resonance_says_so() -> None:
    none = replace(swept(), resonances=resonances().head(0))
    assert "No resonance stands out of the latest run-up." in html_of(engine_record("main", none))
    bare = replace(none, resonances=None, curves=None, reference_curves=None)
    assert "-curves" not in html_of(engine_record("main", bare))


def test_of_a_joint_fit_alone_no_orders_are_told() -> None:
    """So are resonances told that only the curves of all orders together follow."""
    joint = resonances()
    joint = joint[joint["order"].isna()].assign(orders_seen=[[] for _ in range(2)])
    html = html_of(engine_record("main", replace(swept(), resonances=joint)))
    row = next(row for row in Parsed(html).rows if row and row[0] == CRANK and "A" in row)
    assert row[-1] == "the crankshaft's own"


def test_heights_and_curves_come_in_the_unit_that_is_wanted() -> None:
    """An inch is 25.4 mm by definition."""
    one = swept()
    kept = replace(
        one,
        info=one.info | {"unit": "m/s", "kind": "velocity"},
        curves=replace(curves(label=""), unit="m/s"),
    )
    shown = in_shown.series(kept, ShownUnits(velocity=unit("in/s")))
    assert shown.curves is not None
    assert shown.resonances is not None
    assert kept.curves is not None
    assert shown.curves.unit == "in/s"
    for now, then, column in (
        (shown.curves.table, kept.curves.table, "amplitude"),
        (shown.resonances, resonances(), "height"),
    ):
        factor = (now[column] / then[column]).dropna()
        assert list(factor) == pytest.approx([1000 / 25.4] * len(factor))
    assert math.isclose(shown.resonances["frequency_hz"].iloc[0], 133.95)


def test_amplitudes_without_a_unit_are_a_share_of_full_scale() -> None:
    assert in_shown.rms_words("of full scale") == "as a share of full scale (rms)"
    assert in_shown.rms_words("m/s²") == "in m/s² rms"


def test_names_are_text() -> None:
    table = resonances()
    table["name"] = table["name"].replace(OTHER, HOSTILE)
    html = html_of(engine_record("main", replace(swept(), resonances=table)))
    assert "<script>alert" not in html
    assert not any("alert" in text for kind, text in Parsed(html).scripts if kind is None)


def test_each_picture_of_a_sweep_as_a_page_of_its_own() -> None:
    found = loose([swept_engine()], made_at=MADE_AT, shown=ShownUnits())
    names = [one.name for one in found]
    assert [name for name in names if "curve" in name] == [
        f"main-1-curve-order-{order}.png" for order in ("04.5", "06.0", "03.0", "01.5")
    ]
    assert "main-interference.png" in names
    assert [name for name in names if "changes" in name] == [
        "main-1-changes-natural-frequency.png",
        "main-1-changes-height-of-the-peak.png",
        "main-1-changes-width-of-the-peak.png",
    ]
    assert not any("together" in name or "map" in name for name in names)
    assert "What all orders did together" not in "".join(one.html for one in found)
