"""One invented recording, and ways to write it as a table."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from vibetrend.recording import Recording

ROWS = 60
RATE = 200.0
TIMES = np.arange(ROWS) / RATE
# Invented, but shaped like a phone lying flat: gravity on z.
SAMPLES = np.column_stack(
    [
        0.8 * np.sin(2 * np.pi * 25 * TIMES),
        -0.5 * np.cos(2 * np.pi * 50 * TIMES),
        9.81 + 0.3 * np.sin(2 * np.pi * 75 * TIMES + 0.4),
    ]
).round(4)
EPOCH_S = 1_777_630_803  # 2026-05-01 10:20:03 UTC


def table(
    *,
    separator: str = ",",
    header: str | None = "time (s),ax (m/s^2),ay (m/s^2),az (m/s^2)",
    stamp: Callable[[int], str] = lambda i: f"{TIMES[i]:.4f}",
    value: Callable[[float], str] = lambda v: f"{v:.4f}",
    decimal_comma: bool = False,
    before: str = "",
    after: str = "",
    end: str = "\n",
) -> str:
    lines = [] if header is None else [header.replace(",", separator)]
    for i in range(ROWS):
        fields = [stamp(i), *(value(v) for v in SAMPLES[i])]
        line = separator.join(fields)
        lines.append(line.replace(".", ",") if decimal_comma else line)
    return before + end.join(lines) + end + after


def written(tmp_path: Path, content: str | bytes, name: str = "clip.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def assert_same(recording: Recording, rows: slice | None = None) -> None:
    rows = rows or slice(None)
    assert recording.samples is not None
    assert recording.times is not None
    assert recording.axes == ("x", "y", "z")
    assert (recording.kind, recording.unit) == ("acceleration", "m/s^2")
    assert_allclose(recording.samples, SAMPLES[rows], atol=1e-9)  # 4 digits were written
    # Near an epoch time in seconds a float64 has steps of 2.4e-7.
    assert_allclose(recording.times, (TIMES - TIMES[rows][0])[rows], atol=2.5e-7)
