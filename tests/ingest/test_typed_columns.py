"""Tables of typed columns, as formats that are no text hand them over, read like text tables.

Expected values are those that were put in.
"""

import datetime as dt
import time

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from written_tables import EPOCH_S, ROWS, SAMPLES, TIMES

from vibetrend.errors import ReadError
from vibetrend.ingest.frame import of_columns
from vibetrend.ingest.tags import Stated

AXES = {f"a{axis} (m/s^2)": SAMPLES[:, k] for k, axis in enumerate("xyz")}
NS = 10**9 * EPOCH_S + 5_000_000 * np.arange(ROWS)


@pytest.mark.parametrize(
    "stamps",
    [
        pd.Series(TIMES),
        pd.Series(NS),
        pd.Series(NS, dtype="Int64"),
        pd.Series(NS.astype("M8[ns]")),
        pd.Series(NS.astype("M8[ns]")).dt.tz_localize("UTC").dt.tz_convert("Europe/Paris"),
        pd.Series((NS - NS[0]).astype("m8[ns]")),
        pd.Series(NS.astype("M8[ns]")).dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        pd.Series(NS // 1000, dtype="uint64"),
    ],
    ids=lambda series: str(series.dtype),
)
def test_times_of_every_type(stamps: "pd.Series[float]") -> None:
    found = of_columns(pd.DataFrame({"time": stamps, **AXES}), Stated())
    assert found.times is not None
    assert found.samples is not None
    assert_allclose(found.times, TIMES, atol=1e-9)
    assert_allclose(found.samples, SAMPLES, rtol=1e-15)
    assert (found.kind, found.unit, found.axes) == ("acceleration", "m/s^2", ("x", "y", "z"))


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone cannot be set here")
def test_moments_with_a_zone_have_the_local_date_and_others_their_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Half past midnight in UTC is still the day before, 7 hours behind."""
    moments = pd.date_range("2026-05-02 00:30", periods=ROWS, freq="5ms")
    with monkeypatch.context() as patched:
        patched.setenv("TZ", "MST7")
        time.tzset()
        for given, day in ((moments, 2), (moments.tz_localize("UTC"), 1)):
            found = of_columns(pd.DataFrame({"time": given, **AXES}), Stated())
            assert found.date == dt.date(2026, 5, day)
    time.tzset()


def test_missing_moments_leave_their_rows_out() -> None:
    moments = pd.Series(NS.astype("M8[ns]"))
    moments[7] = pd.NaT
    whole = pd.Series(NS, dtype="Int64")
    whole[7] = pd.NA
    for stamps in (moments, whole):
        found = of_columns(pd.DataFrame({"time": stamps, **AXES}), Stated())
        assert found.times is not None
        assert_allclose(found.times, np.delete(TIMES, 7), atol=1e-9)


def test_units_rate_date_and_tags_beside_the_columns() -> None:
    named = pd.DataFrame({"x": SAMPLES[:, 0], "y": SAMPLES[:, 1], "rpm": 1000, "device": "phone"})
    found = of_columns(
        named,
        Stated(),
        units=["g", "g", "", ""],
        preamble=["Sampling rate: 200 Hz", "Recorded: 2026-05-01"],
    )
    assert found.samples is not None
    assert_allclose(found.samples, SAMPLES[:, :2] * 9.80665, rtol=1e-15)
    assert (found.sample_rate, found.date) == (200, dt.date(2026, 5, 1))
    assert (found.stated.rpm, found.stated.device) == (1000, "phone")


def test_what_is_no_recording_is_said() -> None:
    for named in (
        pd.DataFrame(),
        pd.DataFrame({"name": ["a", "b"]}),
        pd.DataFrame({"time": TIMES}),
        pd.DataFrame({"time": TIMES, "z": np.full(ROWS, np.nan)}),
        pd.DataFrame({"time": pd.Series([pd.NaT] * ROWS), "z (g)": SAMPLES[:, 2]}),
        pd.DataFrame({"time": TIMES, "z": SAMPLES[:, 2] * 1j}),
    ):
        with pytest.raises(ReadError, match=r"no column holds|two complete rows"):
            of_columns(named, Stated())
