"""Parquet files: typed columns, times in every form, what is refused, damage.

Written by pyarrow and pandas; the known values go in as numpy arrays.
"""

import datetime as dt
import io
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from vibetrend.errors import ReadError
from vibetrend.ingest import parquet, read
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated
from vibetrend.units import STANDARD_GRAVITY as G

COUNT, RATE = 400, 200.0
T = np.arange(COUNT) / RATE
SHAKE = np.random.default_rng(21).normal(loc=(0, 0, G), size=(COUNT, 3))
ACC = {"ax (m/s^2)": SHAKE[:, 0], "ay (m/s^2)": SHAKE[:, 1], "az (m/s^2)": SHAKE[:, 2]}
NAMES = ("ax", "ay", "az")
STAMPS = pd.date_range("2026-05-01 10:20:03.004", periods=COUNT, freq="5ms")


def saved(table: Any, **options: Any) -> bytes:
    buffer = io.BytesIO()
    if isinstance(table, pd.DataFrame):
        table.to_parquet(buffer, engine="pyarrow", **options)
    else:
        pq.write_table(table if isinstance(table, pa.Table) else pa.table(table), buffer, **options)
    return buffer.getvalue()


def found(data: bytes, **stated: Any) -> Found:
    assert parquet.can_read(data[:4096])
    return parquet.read(io.BytesIO(data), Stated(**stated))


def with_units() -> pa.Table:
    fields = [pa.field("t", pa.float64(), metadata={"unit": "ms"})]
    fields += [pa.field(name, pa.float64(), metadata={"unit": "g"}) for name in NAMES]
    return pa.table([T * 1000, *(SHAKE.T / G)], schema=pa.schema(fields))


def same_text(length: int, count: int) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(np.zeros(count, "i4"), ["x" * length])


CLOCKS: dict[str, Any] = {
    "seconds": {"time (s)": T, **ACC},
    "datetime64[ns]": pd.DataFrame({"time": STAMPS.astype("M8[ns]"), **ACC}),
    "datetime64[ms]": pd.DataFrame({"time": STAMPS.astype("M8[ms]"), **ACC}),
    "with a zone": pd.DataFrame({"time": STAMPS.tz_localize("Europe/Lisbon"), **ACC}),
    "timedelta": pd.DataFrame({"time": pd.to_timedelta(T, unit="s"), **ACC}),
    "named index": pd.DataFrame({"time": STAMPS, **ACC}).set_index("time"),
    "nameless index": pd.DataFrame(ACC, index=STAMPS),
    "whole epoch ns": {"time": 1_777_629_603_004_000_000 + np.arange(COUNT) * 5_000_000, **ACC},
    "epoch ms": {"timestamp": 1_777_629_603_004 + np.arange(COUNT) * 5, **ACC},
    "text": {"time": [stamp.isoformat() for stamp in STAMPS], **ACC},
    "date and time of day": {
        "date": [dt.date(2026, 5, 1)] * COUNT,
        "time": [stamp.time() for stamp in STAMPS],
        **ACC,
    },
    "decimals": {
        "time (s)": pa.array(T).cast(pa.decimal128(12, 6), safe=False),
        **ACC,
    },
    "units in the fields' metadata": with_units(),
    "two levels of names": pd.DataFrame(
        {("time", "s"): T, **{("acc", name[1:]): SHAKE[:, i] for i, name in enumerate(NAMES)}}
    ),
}


@pytest.mark.parametrize("table", CLOCKS.values(), ids=CLOCKS)
def test_clocks(table: Any) -> None:
    got = found(saved(table))
    assert_allclose(got.samples, SHAKE, rtol=1e-15)  # a product's rounding
    assert (got.axes, got.kind, got.unit) == (("x", "y", "z"), "acceleration", "m/s^2")
    assert got.times is not None
    assert_allclose(got.times, T, atol=1e-9)  # the stamps' own resolution is 1 ns or they are exact


@pytest.mark.parametrize("compression", ["none", "snappy", "gzip", "zstd", "lz4", "brotli"])
def test_compressions_and_row_groups(compression: str) -> None:
    data = saved({"time (s)": T, **ACC}, compression=compression, row_group_size=77)
    got = found(data)
    assert_array_equal(got.samples, SHAKE)
    assert_array_equal(got.times, T)


@pytest.mark.parametrize("kind", ["f2", "f4", "i2", "u2", "i4", "i8", "u8", "bool"])
def test_number_types(kind: str) -> None:
    values = np.abs(np.round(SHAKE[:, 0] * 100)).astype(kind)
    got = found(saved({"time (s)": T, "ax (g)": values}))
    assert got.samples is not None
    assert_allclose(got.samples[:, 0], values.astype(float) * G, rtol=1e-15)


def test_missing_values_are_left_out_and_noted() -> None:
    gaps = SHAKE[:, 0].copy()
    gaps[[3, 50]] = np.nan
    table = pa.table({"time (s)": T, "ax (g)": pa.array(gaps, from_pandas=True)})
    got = found(saved(table))
    assert_array_equal(got.times, np.delete(T, [3, 50]))
    assert "rows-dropped" in [note.code for note in got.notes]


def test_date_tags_and_rate() -> None:
    assert found(saved(CLOCKS["datetime64[ns]"])).date == dt.date(2026, 5, 1)
    table = pa.table({**ACC, "rpm": [1000] * COUNT, "position": ["fore mount"] * COUNT})
    got = found(saved(table.replace_schema_metadata({"sample_rate": "200 Hz"})))
    assert got.sample_rate == RATE
    assert (got.stated.rpm, got.stated.position) == (1000, "fore mount")


def test_hints_count_more() -> None:
    data = saved({"a": SHAKE[:, 0], "b": SHAKE[:, 1]})
    got = found(data, columns=("b",), unit="0.5 g", rate=100.0)
    assert_allclose(got.samples, SHAKE[:, [1]] * 0.5 * G, rtol=1e-15)
    assert got.sample_rate == 100.0
    with pytest.raises(ReadError, match="full_scale is for sound files"):
        found(data, full_scale="1 g", rate=100.0)
    with pytest.raises(ReadError, match="column 'c' does not exist"):
        found(data, columns=("c",), rate=100.0)


def test_nested_columns_are_left_out_in_words() -> None:
    lists = [[1.0, 2.0]] * COUNT
    got = found(saved({"time (s)": T, **ACC, "spectrum": lists, "raw": [b"\x88"] * COUNT}))
    assert "columns of lists, structs or bytes are not read: spectrum, raw" in got.notes[0].message
    with pytest.raises(ReadError, match=r"lists, structs or bytes \(spectrum\); save"):
        found(saved({"spectrum": lists}))


def test_through_the_front_door(tmp_path: Path) -> None:
    file = tmp_path / "idle_1000rpm.parquet"
    file.write_bytes(saved({"time (s)": T, **ACC}))
    recording = read(file)
    assert (recording.rpm, recording.kind) == (1000, "acceleration")
    assert_array_equal(recording.samples, SHAKE)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"PARE" + saved({"x": T})[4:], "locked with a password"),
        (saved({"x": T})[:-9], "damaged as a Parquet file"),
        (b"PAR1" + bytes(99), "damaged as a Parquet file"),
        (saved({"word": ["a"] * 9}), "no column holds a signal"),
        (saved({"ax (g)": T[:0], "time (s)": T[:0]}), "column holds|two complete rows"),
        (saved({"ax (g)": pa.nulls(9, pa.float64())}), "column|rows"),
        (saved({f"c{i}": [1.0] for i in range(201)}), "more than 200 columns"),
        (saved({"x": np.ones(21_000_000, "i1")}), "too long to hold at once"),
        (saved({"t": same_text(1000, 300_000)}), "too long to hold at once"),
    ],
    ids=range(9),
)
def test_says_what_is_wrong(data: bytes, message: str) -> None:
    with pytest.raises(ReadError, match=message):
        found(data)


@pytest.mark.parametrize("year", [1, 9999])
def test_times_beyond_the_clock_end_in_words_or_numbers(year: int) -> None:
    stamps = np.array([f"{year:04d}-05-01"], "M8[us]") + np.arange(COUNT) * np.timedelta64(5000)
    got = found(saved({"time": stamps, **ACC}))
    assert_allclose(got.times, T, atol=1e-9)


def test_says_how_to_get_the_optional_part(monkeypatch: pytest.MonkeyPatch) -> None:
    data = saved({"time (s)": T, **ACC})
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(ReadError, match=r"pip install 'vibetrend\[parquet\]' .* or save .* as CSV"):
        found(data)


def test_does_not_claim_other_files() -> None:
    for head in (b"", b"PAR", b"par1", b"RIFF" + bytes(99)):
        assert not parquet.can_read(head)


FILES = {
    "plain": saved({"time (s)": T, **ACC, "name": ["a"] * COUNT}, compression="none"),
    "packed": saved(CLOCKS["datetime64[ns]"], compression="zstd"),
}


@pytest.mark.parametrize("data", FILES.values(), ids=FILES)
def test_damage_ends_in_one_plain_error_or_a_recording(data: bytes) -> None:
    generator = np.random.default_rng(13)
    damaged_files = [data[:end] for end in generator.integers(4, len(data), 60)]
    for number in range(300):
        damaged = bytearray(data)
        begin = 4 if number % 2 else len(data) - 3000  # where the metadata are
        for place in generator.integers(begin, len(data), generator.integers(1, 8)):
            damaged[place] = generator.integers(0, 256)
        damaged_files.append(bytes(damaged))
    begun = time.perf_counter()
    whole, said = 0, []
    for damaged_file in damaged_files:
        try:
            parquet.read(io.BytesIO(damaged_file), Stated())
            whole += 1
        except ReadError as error:
            said.append(str(error))
    assert all(len(text) < 350 and "\n" not in text for text in said)
    assert min(whole, len(said)) > 10  # the damage was not all fatal, so values were read too
    assert time.perf_counter() - begun < 15  # 40 ms each, ten times what they take
