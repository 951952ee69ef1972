import gzip
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.recording import Recording
from vibetrend.simulate import MICROPHONE, SimulateError, record, write_sound, write_table
from vibetrend.simulate.scenario import CHARGER_TOML, MAIN_TOML


@pytest.fixture(scope="module")
def table() -> Recording:
    return record(Engine.parse(MAIN_TOML), rpm=1080, seconds=2, rate=400, seed=1)[0]


@pytest.fixture(scope="module")
def sound() -> Recording:
    engine = Engine.parse(CHARGER_TOML)
    return record(engine, rpm=1300, seconds=2, rate=8000, seed=1, sensor=MICROPHONE)[0]


def test_a_table_holds_times_and_axes(table: Recording, tmp_path: Path) -> None:
    write_table(table, tmp_path / "a.csv")
    lines = (tmp_path / "a.csv").read_text().splitlines()
    assert lines[0] == "time (s),ax (m/s^2),ay (m/s^2),az (m/s^2)"
    found = np.loadtxt(lines[1:], delimiter=",")
    assert table.samples is not None
    assert_allclose(found[:, 0], table.time_s(), atol=0.501e-5)  # digits written
    assert_allclose(found[:, 1:], table.samples, atol=0.501e-4)


def test_a_compressed_table_is_the_same_and_always_the_same_bytes(
    table: Recording, tmp_path: Path
) -> None:
    for name in ("a.csv", "a.csv.gz", "b.csv.gz"):
        write_table(table, tmp_path / name)
    packed = (tmp_path / "a.csv.gz").read_bytes()
    assert packed == (tmp_path / "b.csv.gz").read_bytes()
    assert packed[4:8] == bytes(4)  # RFC 1952: modification time, 0 for none
    assert gzip.decompress(packed) == (tmp_path / "a.csv").read_bytes()


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_sound_comes_back_sample_for_sample(sound: Recording, tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a{suffix}"
    write_sound(sound, path)
    found, rate = soundfile.read(path, always_2d=True)
    about = soundfile.info(path)
    assert (rate, about.subtype, about.channels) == (8000, "PCM_16", 1)
    assert sound.samples is not None
    assert np.array_equal(found, sound.samples)
    with soundfile.SoundFile(path) as file:
        assert "invented" in file.comment


def test_refuses_what_the_format_cannot_hold(
    table: Recording, sound: Recording, tmp_path: Path
) -> None:
    with pytest.raises(SimulateError, match=r"a\.csv: a table takes acceleration, not sound"):
        write_table(sound, tmp_path / "a.csv")
    with pytest.raises(SimulateError, match=r"a\.txt: name the table \.csv or \.csv\.gz"):
        write_table(table, tmp_path / "a.txt")
    with pytest.raises(SimulateError, match=r"a\.wav: a sound file takes even sound, not accel"):
        write_sound(table, tmp_path / "a.wav")
    with pytest.raises(SimulateError, match=r"a\.mp4: name the sound file \.wav or \.flac"):
        write_sound(sound, tmp_path / "a.mp4")
    uneven = Recording(np.zeros(8), sample_rate=8000.5, kind="sound")
    with pytest.raises(SimulateError, match=r"needs a whole rate in Hz, not 8000\.5"):
        write_sound(uneven, tmp_path / "a.wav")
    assert not list(tmp_path.iterdir())
