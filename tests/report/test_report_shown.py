"""Velocities in the unit a person chose; what is kept and judged never changes."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented_report import MADE_AT, engine_record, history, series, worked_on
from parsed_page import Parsed, words_of

from vibetrend.checkup.records import SeriesRecord
from vibetrend.checkup.twins import side_by_side
from vibetrend.cli.standing_words import standing_words
from vibetrend.quantities import ShownUnits, unit
from vibetrend.report import page
from vibetrend.report.shown import level, unit_words

INCHES = ShownUnits(velocity=unit("in/s"))


def with_overall(one: SeriesRecord) -> SeriesRecord:
    """Return a series that holds an overall velocity of 25.4 mm/s, exactly 1 in/s, as well."""
    rows = one.history.drop_duplicates("recording").assign(
        feature="overall: velocity", order=np.nan, amplitude=25.4, standard_error=np.nan
    )
    return replace(one, history=pd.concat([one.history, rows], ignore_index=True))


def test_only_velocities_have_a_choice() -> None:
    """1 in = 25.4 mm exactly (NIST SP 811)."""
    assert level(25.4, "mm/s", INCHES) == (pytest.approx(1.0), "in/s")
    assert level(0.0254, "m/s", INCHES) == (pytest.approx(1.0), "in/s")
    assert level(0.0254, "m/s", ShownUnits()) == (pytest.approx(25.4), "mm/s")
    assert level(3.0, "m/s^2", INCHES) == (3.0, "m/s^2")


def test_a_page_writes_units_as_a_reader_knows_them() -> None:
    """A superscript for a power (SI Brochure, 9th edition, section 5.2)."""
    assert unit_words("m/s^2", "acceleration") == "m/s²"
    assert unit_words("1", "sound") == "of full scale"
    engines = [engine_record(name, series(history())) for name in ("port", "starboard")]
    html = page([worked_on(), *engines], title="t", made_at=MADE_AT, twins=side_by_side(engines))
    told = words_of(Parsed(html))
    assert "m/s^2" not in told
    assert told.count("m/s²") > 10
    assert not [value for _, _, value in Parsed(html).attributes if "m/s^2" in value]


def test_a_recording_of_velocity_has_its_pictures_in_the_unit_that_is_shown() -> None:
    one = series(history(visits=4))
    assert one.latest is not None
    info = one.info | {"kind": "velocity", "unit": "m/s"}
    fast = replace(one, info=info, latest=replace(one.latest, unit="m/s"))
    text = words_of(Parsed(page([engine_record("main", fast)], title="t", made_at=MADE_AT,
                                shown=INCHES)))  # fmt: skip
    assert "Amplitude in in/s rms" in text
    first = float(one.latest.amplitude[0]) / 0.0254
    assert f"{first:#.3g}" in text


def test_like_engines_and_steps_hold_the_same_velocity_in_another_unit() -> None:
    records = [engine_record(name, with_overall(series(history(seed=s))))
               for name, s in (("port", 7), ("starboard", 11))]  # fmt: skip
    metric = standing_words(records, today=MADE_AT.date())
    inches = standing_words(records, today=MADE_AT.date(), shown=INCHES)
    assert "25.4 mm/s" in metric
    assert "1.00 in/s" in inches
    assert "mm/s" not in inches
    twins = side_by_side(records)
    parsed = Parsed(page(records, title="t", made_at=MADE_AT, twins=twins, shown=INCHES))
    (row,) = [row for row in parsed.rows if row[0] == "velocity" and "in/s" in row]
    assert row[1] == pytest.approx(1.0)
    assert twins[0].table["first"].max() == pytest.approx(25.4)


def test_steps_across_work_keep_their_own_unit() -> None:
    parsed = Parsed(page([worked_on()], title="t", made_at=MADE_AT, shown=INCHES))
    found = worked_on().series[0].after_work
    assert found is not None
    row = found.rows.iloc[0]
    assert [row["earlier"], row["later"]] in [each[1:3] for each in parsed.rows]
