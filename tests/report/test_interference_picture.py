"""The interference diagram: rays, levels and crossings where arithmetic puts them."""

import re
from dataclasses import replace

import pytest
from invented_report import MADE_AT
from invented_runups import CRANK, INTERFERENCE, resonances, swept_engine
from parsed_page import Parsed, words_of

from vibetrend.report import interference, page
from vibetrend.report.interference import Diagram, diagram, diagram_of
from vibetrend.report.resonances import resonances as seen


def drawn(**values: object) -> Diagram:
    found = diagram_of(replace(INTERFERENCE, **values), seen(resonances()))  # type: ignore[arg-type]
    assert found is not None
    return found


def test_an_order_meets_a_frequency_at_sixty_times_it_over_the_order() -> None:
    one = drawn()
    for each in one.crossings:
        assert each.speed_rpm == pytest.approx(60 * each.frequency_hz / each.order)
    figure = interference.figure(one)
    weak, strong, _ = figure["data"]
    assert all("hardly excites it" in text for text in weak["text"])
    assert all("excites it" in text and "hardly" not in text for text in strong["text"])
    assert "order 6 meets mode 1 at 1425 rpm, excites it strongly" in strong["text"]


def test_the_larger_the_vector_sum_the_larger_the_mark() -> None:
    found = {each.order: each for each in drawn().crossings if each.mode == 1}
    assert found[6.0].radius > found[4.5].radius > found[4.0].radius
    assert found[6.0].excites
    assert not found[4.0].excites


def test_what_the_model_says_of_exciting_goes_before_our_own_threshold() -> None:
    table = INTERFERENCE.table.assign(drives=INTERFERENCE.table["order"] == 4.0)
    found = {each.order: each for each in drawn(table=table).crossings if each.mode == 1}
    assert found[4.0].excites
    assert not found[6.0].excites


def test_a_weak_order_is_said_to_be_weak() -> None:
    table = INTERFERENCE.table.assign(strong=INTERFERENCE.table["order"] == 6.0, drives=True)
    told = interference.figure(drawn(table=table))["data"][1]["text"]
    assert [each for each in told if "strongly" in each and "order 6 " not in each] == []
    assert any(each.endswith("excites it weakly") for each in told)


def test_letters_stand_away_from_the_discs() -> None:
    one = drawn()  # 133.95 Hz below the mode at 142.5 Hz, 74 Hz below it, too
    places = interference.figure(one)["data"][-1]["textposition"]
    assert places == ["bottom center"] * 3
    seen = one.measured[0]
    higher = replace(seen, together=replace(seen.together, frequency_hz=150.0))
    assert interference.above(one, higher)


def test_the_operating_range_is_shaded_and_told() -> None:
    one = drawn()
    (shade,) = [each for each in interference.figure(one)["layout"]["shapes"]
                if each["type"] == "rect"]  # fmt: skip
    assert (shade["x0"], shade["x1"]) == (600, 2600)
    assert one.end_rpm > 2600
    picture = interference.still(one)
    assert picture.count('class="band"') == 1
    # Orders 4.5, 6, 7.5 and so on to 12 of mode 1, 6 to 12 of mode 2: within 600 to 2600 rpm.
    count = sum(each.excites and each.within for each in one.crossings)
    assert f"{count} speeds between 600 and 2600 rpm" in picture
    assert count == 11


def test_typical_values_are_marked_as_typical() -> None:
    assert "mode 1, 142 Hz (typical)" in interference.still(drawn())
    assert "(typical)" not in interference.still(drawn(typical=()))
    text = words_of(Parsed(page([swept_engine()], title="t", made_at=MADE_AT)))
    assert "nobody stated the crank's stiffness; the ring's loss factor" in text


def test_what_was_measured_stands_in_its_orders_with_its_error() -> None:
    one = drawn()
    points = interference.figure(one)["data"][-1]
    assert points["x"] == pytest.approx([1339.5, 1786.0, 1480.0], abs=0.06)
    assert points["y"] == pytest.approx([133.95, 133.95, 74.0])
    assert points["error_y"]["array"] == [0.7, 0.7, 0.7]
    picture = interference.still(one)
    assert picture.count('class="measured"') == 3
    assert picture.count('class="measured-error"') == 3
    assert f"{CRANK}, order 4.5, 1786 rpm" in picture


def test_the_table_has_every_crossing_that_is_drawn() -> None:
    one = drawn()
    rows = interference.table(one).rows
    assert len(rows) == len(one.drawn)
    within = [row for row in rows if (row.words or "").startswith("yes, excites it ")]
    assert len(within) == sum(each.excites and each.within for each in one.crossings)


def test_names_of_orders_do_not_run_into_each_other() -> None:
    picture = interference.still(drawn())
    places = [
        (float(x), float(y))
        for x, y in re.findall(r'<text class="tick" x="([\d.]+)%" y="([\d.]+)"', picture)
    ]
    rim = [place for place in places if place[0] > 30 and place[1] < 380]
    for i, (x, y) in enumerate(rim):
        for other_x, other_y in rim[i + 1 :]:
            assert abs(x - other_x) > 3 or abs(y - other_y) > 10


def test_without_a_model_there_is_no_diagram() -> None:
    record = replace(swept_engine(), interference=None)
    assert diagram(record) is None
    assert diagram_of(replace(INTERFERENCE, table=INTERFERENCE.table.head(0)), []) is None
    html = page([record], title="t", made_at=MADE_AT)
    assert "engine-1-interference" not in html


def test_resonances_of_an_ended_series_are_not_measured_now() -> None:
    record = swept_engine()
    ended = replace(record, series=tuple(replace(one, ended=True) for one in record.series))
    found = diagram(ended)
    assert found is not None
    assert found.measured == []
