"""How long a table of a million rows takes to read, against pandas with the right options given.

Run it by hand: ``python tests/benchmarks/table_speed.py``. Ours works out the layout, hashes the
file, checks every row and converts it to SI; pandas is told all there is to know and only parses.
Both read by turns in one run; the ratio is that of the medians.

Since pandas 3.1 ``read_csv`` uses several threads for a file on disk, so do we; both ratios, to
that and to one thread of pandas, are printed.
"""

import contextlib
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import vibetrend as vt

ROWS = 1_000_000
RATE = 1000.0
REPEATS = 9
MORNING = np.datetime64("2026-05-01T10:00:00.000000")
EPOCH_NS = 1_777_630_803_000_000_000

Format = tuple[str, Callable[[np.ndarray, np.ndarray, Path], None], dict[str, Any]]


def seconds(time_s: np.ndarray, axes: np.ndarray, path: Path) -> None:
    with path.open("w") as file:
        file.write("time (s),ax (m/s^2),ay (m/s^2),az (m/s^2)\n")
        file.writelines(
            f"{t:.3f},{x:.4f},{y:.4f},{z:.4f}\n" for t, (x, y, z) in zip(time_s, axes, strict=True)
        )


def decimal_comma(time_s: np.ndarray, axes: np.ndarray, path: Path) -> None:
    seconds(time_s, axes, path)
    path.write_text(path.read_text().replace(",", ";").replace(".", ","))


def epoch_ns(time_s: np.ndarray, axes: np.ndarray, path: Path) -> None:
    stamps = EPOCH_NS + np.rint(1e9 * time_s).astype(np.int64)
    with path.open("w") as file:
        file.write("time,x [g],y [g],z [g]\n")
        file.writelines(
            f"{t},{x:.4f},{y:.4f},{z:.4f}\n" for t, (x, y, z) in zip(stamps, axes, strict=True)
        )


FORMATS: tuple[Format, ...] = (
    ("seconds, comma", seconds, {"sep": ","}),
    ("decimal comma, semicolon", decimal_comma, {"sep": ";", "decimal": ","}),
    ("epoch ns", epoch_ns, {"sep": ",", "dtype": {"time": "int64"}}),
)


@contextlib.contextmanager
def one_thread() -> Iterator[None]:
    """Hold pandas to one thread, where it knows more."""
    try:
        with pd.option_context("mode.max_threads", 1):
            yield
    except pd.errors.OptionError:
        yield


def timed(read: Callable[[], object]) -> float:
    start = time.perf_counter()
    read()
    return time.perf_counter() - start


def compare(path: Path, options: dict[str, Any]) -> tuple[float, float, float]:
    """Return the medians of ours, of pandas, and of one thread of pandas, seconds."""
    times = []
    for _ in range(REPEATS):
        ours = timed(lambda: vt.read(path))
        theirs = timed(lambda: pd.read_csv(path, **options))
        with one_thread():
            alone = timed(lambda: pd.read_csv(path, **options))
        times.append((ours, theirs, alone))
    ours, theirs, alone = (statistics.median(each) for each in zip(*times, strict=True))
    return ours, theirs, alone


def peak_mb(code: str) -> float:
    """Return the largest memory of a process of its own that runs `code`, MB (Linux only)."""
    report = "print(open('/proc/self/status').read())"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\n{report}"], check=True, capture_output=True, text=True
    )
    peak = next(line for line in done.stdout.splitlines() if line.startswith("VmHWM"))
    return float(peak.split()[1]) * 1024 / 1e6


def largest(path: Path) -> None:
    """Write a table of written times close to the largest that is read."""
    with path.open("w") as file:
        file.write("time,x\n")
        for start in range(0, 8_000_000, 100_000):
            microseconds = 2500 * np.arange(start, start + 100_000)
            stamps = np.datetime_as_string(MORNING + microseconds)
            file.writelines(f"{stamp},0.{i % 10}\n" for i, stamp in enumerate(stamps))


def main() -> None:
    rng = np.random.default_rng(1)
    time_s = np.arange(ROWS) / RATE
    axes = rng.normal(loc=(0.0, 0.0, 9.81), size=(ROWS, 3))
    with tempfile.TemporaryDirectory() as folder:
        for name, write, options in FORMATS:
            path = Path(folder) / "table.csv"
            write(time_s, axes, path)
            vt.read(path)  # what is imported or cached on first use
            ours, theirs, alone = compare(path, options)
            bare = peak_mb("import vibetrend.ingest")
            peak = peak_mb(f"import vibetrend as vt; vt.read({str(path)!r})")
            print(
                f"{name:26s} {path.stat().st_size / 1e6:5.1f} MB: read {1e3 * ours:4.0f} ms, "
                f"read_csv {1e3 * theirs:4.0f} ms, ratio {ours / theirs:.2f}; "
                f"read_csv in one thread {1e3 * alone:4.0f} ms, ratio {ours / alone:.2f}; "
                f"peak memory {peak - bare:.0f} MB above the bare import"
            )
        path = Path(folder) / "largest.csv"
        largest(path)
        for condition, first in (("", ""), (" without pyarrow", "sys.modules['pyarrow'] = None; ")):
            peak = peak_mb(f"import sys; {first}import vibetrend as vt; vt.read({str(path)!r})")
            print(f"{path.stat().st_size / 1e6:.0f} MB of written times: {peak:.0f} MB{condition}")


if __name__ == "__main__":
    main()
