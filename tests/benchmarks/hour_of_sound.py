"""Peak memory and time of measuring an hour of 48 kHz stereo sound.

    python tests/benchmarks/hour_of_sound.py

Writes an invented engine at 1080 rpm as WAV, FLAC and M4A into a temporary folder, block by block,
measures each in a process of its own and compares its peak with that of a process that only
imports what `measure` needs. The aim is 150 MB above those imports. `--minutes 1` for a quick look.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import soundfile
from numpy.typing import NDArray

RATE = 48_000
CRANK_HZ = 18.0  # 1080 rpm
LEVELS = {0.5: 0.004, 1.0: 0.03, 1.5: 0.02, 3.0: 0.1, 4.5: 0.03, 6.0: 0.05, 9.0: 0.02}
AIM_MB = 150.0
_IMPORTS = "import vibetrend, vibetrend.checkup.adding, vibetrend.cli.measure, vibetrend.cli.words"


def blocks(minutes: float) -> Iterator[NDArray[np.int16]]:
    """Yield a second of sound at a time, shape (samples, 2)."""
    rng = np.random.default_rng(1)
    time_s = np.arange(RATE) / RATE
    for second in range(int(60 * minutes)):
        turns = CRANK_HZ * (time_s + second)
        wave = sum(size * np.cos(2 * np.pi * order * turns) for order, size in LEVELS.items())
        both = np.stack([wave, 0.7 * wave], axis=1) + 0.01 * rng.standard_normal((RATE, 2))
        yield np.round(32_767 * both).astype(np.int16)


def write(path: Path, minutes: float) -> None:
    """Write the sound in the format that the path's ending names."""
    if path.suffix != ".m4a":
        with soundfile.SoundFile(path, "w", RATE, 2, subtype="PCM_16") as file:
            for block in blocks(minutes):
                file.write(block)
        return
    with av.open(str(path), "w", format="ipod") as container:
        track = container.add_stream("aac", rate=RATE, layout="stereo")
        track.bit_rate = 128_000
        for number, block in enumerate(blocks(minutes)):
            frame = av.AudioFrame.from_ndarray(block.reshape(1, -1), format="s16", layout="stereo")
            frame.sample_rate, frame.pts = RATE, number * RATE
            container.mux(track.encode(frame))
        container.mux(track.encode(None))


def peak_of(*command: str) -> tuple[float, float, str]:
    """Run a command; return its peak memory, MB, its seconds, and what it printed."""
    begin = time.perf_counter()
    process = subprocess.Popen([sys.executable, *command], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    printed = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
    scale = 1 if sys.platform == "darwin" else 1024  # bytes there, kilobytes elsewhere
    return usage.ru_maxrss * scale / 1e6, time.perf_counter() - begin, printed


def main() -> None:
    """Write, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--formats", nargs="+", default=["wav", "flac", "m4a"])
    options = parser.parse_args()
    bare, _, _ = peak_of("-c", _IMPORTS)
    print(f"bare imports: {bare:.0f} MB")
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for name in options.formats:
            path = Path(folder) / f"hour.{name}"
            write(path, options.minutes)
            size = path.stat().st_size / 1e6
            peak, seconds, printed = peak_of(
                "-m", "vibetrend", "measure", str(path), "--rpm", "1080"
            )
            path.unlink()
            worst = max(worst, peak - bare)
            print(
                f"{name:>5}: {size:4.0f} MB file, peak {peak:.0f} MB, {peak - bare:.0f} above the "
                f"imports (ratio {peak / bare:.2f}), {seconds:.1f} s; {printed.splitlines()[0]}"
            )
    print(
        f"largest difference {worst:.0f} MB, aim {AIM_MB:.0f} MB; own peak "
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB"
    )


if __name__ == "__main__":
    main()
