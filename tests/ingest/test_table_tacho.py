"""A tacho in a table: sampled beside a vibration, edge times alone, changes of level.

How edges are found and teeth told is tested with the tacho itself; here it is what of a table
goes there. Signals are made with a known speed; tolerances are the sampling.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from written_tables import written

from vibetrend.errors import ReadError
from vibetrend.ingest import read

RATE, TURNS_PER_S = 5000.0, 16.5
TIME = np.arange(20_000) / RATE
SHAKE = 0.4 * np.sin(2 * np.pi * 3 * TURNS_PER_S * TIME)
MARK = (TIME * TURNS_PER_S % 1 < 0.2).astype(float)  # one tape on the shaft
EDGES = np.arange(1, 66) / TURNS_PER_S


def sampled(header: str, *columns: np.ndarray) -> str:
    rows = zip(*columns, strict=True)
    return header + "\n" + "".join(",".join(f"{v:.6f}" for v in row) + "\n" for row in rows)


def test_a_switch_beside_a_vibration_is_named_and_not_used(tmp_path: Path) -> None:
    path = written(tmp_path, sampled("time (s),az (g),mark (V)", TIME, SHAKE, 4.5 * MARK))
    recording = read(path)
    assert (recording.axes, recording.tacho) == (("z",), None)
    assert "mark" in recording.notes[0].message
    unnamed = read(written(tmp_path, sampled("0,0,0", TIME, SHAKE, 4.5 * MARK)))
    assert unnamed.axes == ("column 2",)
    assert "tacho_column and teeth" in unnamed.notes[0].message


@pytest.mark.parametrize("options", [{}, {"columns": ["az (g)"]}, {"columns": [2]}])
def test_a_sampled_tacho_is_taken_beside_the_signals(
    options: dict[str, Any], tmp_path: Path
) -> None:
    path = written(tmp_path, sampled("time (s),az (g),mark (V)", TIME, SHAKE, 4.5 * MARK))
    recording = read(path, tacho_column="mark (V)", teeth="1", **options)
    assert recording.samples is not None
    assert_allclose(recording.samples[:, 0], SHAKE * 9.80665, atol=1e-5)  # 6 digits were written
    assert recording.tacho is not None
    steps = np.diff(recording.tacho.edge_times)
    assert_allclose(steps, 1 / TURNS_PER_S, atol=1.01 / RATE)


def test_a_tacho_sampled_without_times_takes_the_rate(tmp_path: Path) -> None:
    path = written(tmp_path, sampled("az (g),mark (V)", SHAKE, 4.5 * MARK))
    recording = read(path, tacho_column="mark (V)", teeth="1", rate=RATE)
    assert recording.tacho is not None
    assert_allclose(np.diff(recording.tacho.edge_times), 1 / TURNS_PER_S, atol=1.01 / RATE)


def test_a_tacho_that_is_the_only_column_asked_for_comes_alone(tmp_path: Path) -> None:
    path = written(tmp_path, sampled("time (s),az (g),mark (V)", TIME, SHAKE, 4.5 * MARK))
    recording = read(path, tacho_column="mark (V)", columns=["mark (V)"], teeth="1")
    assert recording.samples is None
    assert recording.tacho is not None
    assert len(recording.tacho.edge_times) == pytest.approx(4 * TURNS_PER_S, abs=1)


@pytest.mark.parametrize(
    ("header", "scale"),
    [("edges (s)", 1), ("edge_ms", 1e3), ("pulse time [us]", 1e6), ("time (ns)", 1e9), ("0", 1)],
)
def test_edge_times_alone(header: str, scale: float, tmp_path: Path) -> None:
    text = header + "\n" + "".join(f"{scale * edge:.6f}\n" for edge in EDGES)
    path = written(tmp_path, text)
    recording = read(path, tacho_column=1, teeth="1")
    assert recording.samples is None
    assert recording.tacho is not None
    first = 0.0 if header == "0" else EDGES[0]  # the header is then the first edge
    assert_allclose(recording.tacho.edge_times[-1], EDGES[-1] - first, atol=1e-6)
    with pytest.raises(ReadError, match="may hold a tacho: to use it give tacho_column and teeth"):
        read(path)


def test_edge_times_beside_samples_stay_on_their_clock(tmp_path: Path) -> None:
    lines = ["time (s),az (g),edge (s)"]
    for i in range(len(TIME)):
        edge = f"{100 + EDGES[i]:.6f}" if i < len(EDGES) else ""
        lines.append(f"{100 + TIME[i]:.6f},{SHAKE[i]:.6f},{edge}")
    path = written(tmp_path, "\n".join(lines) + "\n")
    recording = read(path, tacho_column="edge (s)", teeth="1")
    assert recording.count == len(TIME)
    assert recording.tacho is not None
    assert_allclose(recording.tacho.edge_times, EDGES, atol=1e-6)  # digits written


def test_a_row_for_each_change_of_level(tmp_path: Path) -> None:
    times = np.sort(np.concatenate([EDGES, EDGES + 0.2 / TURNS_PER_S]))
    levels = np.tile([1.0, 0.0], len(EDGES))
    text = sampled("Time[s], Channel 0, Channel 1", times, levels, np.repeat([0.0, 1.0], 65))
    recording = read(written(tmp_path, text), tacho_column="Channel 0", teeth="1")
    assert recording.samples is None
    assert recording.tacho is not None
    assert_allclose(np.diff(recording.tacho.edge_times), 1 / TURNS_PER_S, atol=2e-6)


def test_a_tacho_column_that_is_not_there_is_said(tmp_path: Path) -> None:
    path = written(tmp_path, sampled("time (s),az (g),mark (V)", TIME, SHAKE, 4.5 * MARK))
    with pytest.raises(ReadError, match="'mrak' does not exist; did you mean 'mark"):
        read(path, tacho_column="mrak", teeth="1")
