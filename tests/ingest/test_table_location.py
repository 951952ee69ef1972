"""Where a table tells a location: exactly the digits of it are found, in every encoding.

The checks blank these digits as the kept copy does and look for what is left. Positions are
invented, on open water.
"""

import re
import time
from pathlib import Path

import pytest
from written_tables import SAMPLES, TIMES, assert_same, table, written

from vibetrend.ingest import read
from vibetrend.recording import Recording

LATITUDE, LONGITUDE = "54.3217896", "10.1349857"
BESIDE = table(
    header="time (s),ax,ay,az,latitude,longitude,speed_kn", end=f",{LATITUDE},{LONGITUDE},5.4\n"
).replace(f"speed_kn,{LATITUDE},{LONGITUDE},5.4", "speed_kn")
FIRST = table(
    header="lat,lon,time (s),ax,ay,az",
    stamp=lambda i: f"{LATITUDE},{LONGITUDE},{TIMES[i]:.4f}",
)
PREAMBLES = (
    f"Latitude: {LATITUDE}\nLongitude: {LONGITUDE}\n",
    f"# GPS {LATITUDE}, {LONGITUDE}\n",
    f"place +{LATITUDE}+0{LONGITUDE}/ and more\n",
    f"Breitengrad;{LATITUDE}\nLängengrad;{LONGITUDE}\n",
)


def blanked(recording: Recording, data: bytes) -> bytes:
    assert recording.source is not None
    kept = bytearray(data)
    for start, end in recording.source.location:
        kept[start:end] = re.sub(rb"[1-9]", b"0", bytes(kept[start:end]))
    return bytes(kept)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "utf-32"])
@pytest.mark.parametrize(
    "text",
    [
        BESIDE,
        FIRST,
        BESIDE.replace(",", ";"),
        BESIDE.replace(",", " ").replace("time (s)", "time_s"),
        FIRST.replace("\n", "\r\n"),
        BESIDE.replace(LATITUDE, f'"{LATITUDE}"'),
        BESIDE + "\nRecording stopped, by hand\n",
        *(table(before=lines) for lines in PREAMBLES),
    ],
)
def test_blanks_the_location_and_nothing_else(text: str, encoding: str, tmp_path: Path) -> None:
    data = text.encode(encoding)
    path = written(tmp_path, data)
    recording = read(path)
    assert_same(recording)
    kept = blanked(recording, data).decode(encoding)
    zeros = re.sub(r"[1-9]", "0", LATITUDE), re.sub(r"[1-9]", "0", LONGITUDE)
    assert kept == text.replace(LATITUDE, zeros[0]).replace(LONGITUDE, zeros[1])
    assert_same(read(written(tmp_path, blanked(recording, data), "kept.csv")))


def test_a_table_without_location_has_none(tmp_path: Path) -> None:
    for text in (table(), table(before="Flat bed, long cable 12 m\nPosition: bell housing\n")):
        recording = read(written(tmp_path, text))
        assert recording.source is not None
        assert recording.source.location == ()


def test_is_fast(tmp_path: Path) -> None:
    lines = ["time (s),az (m/s^2),lat,lon"]
    lines += [f"{i / 100:.2f},{SAMPLES[i % 60, 0]},{LATITUDE},{LONGITUDE}" for i in range(200_000)]
    path = written(tmp_path, "\n".join(lines) + "\n")
    start = time.perf_counter()
    recording = read(path)
    assert time.perf_counter() - start < 5  # line by line it would be minutes on a slow machine
    assert recording.source is not None
    assert len(recording.source.location) == 400_000
