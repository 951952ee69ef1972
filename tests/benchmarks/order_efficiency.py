"""How near the order fit comes to what is possible, beside plain spectra.

    python tests/benchmarks/order_efficiency.py --trials 12 --seed 1
    python tests/benchmarks/order_efficiency.py --only intervals
    python tests/benchmarks/order_efficiency.py --look "mild, 400 Hz, 35 dB-Hz" 100003

Invented recordings with known truth are measured with `measure` and with plain spectra near the
tag. A section for each target; each begins with the target and ends with the worst recordings,
whose row and seed `--look` takes. Sections: amplitude, bias, speed, wrong-speed, ambiguous,
intervals, aliasing, flags, awkward, time.

Unless a row says otherwise: three axes, 30 s, 10 % jitter, 24 half orders 6 to 36 dB below the
firing order, two belts, mains, the tag off by up to 3 %; dB-Hz is the firing order on its loudest
axis over the noise density. Efficiency is bound over mean square error of an order's amplitude,
over orders above 4 bounds that share their frequency with no other line. Run with one thread for
each process (OMP_NUM_THREADS=1). An hour of sound: hour_of_sound.py.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import librosa
import numpy as np
import soundfile

from vibetrend import read
from vibetrend.orders import measure

# The invented engines are those of the tests of this room.
sys.path.insert(0, str(Path(__file__).parents[1] / "orders"))
from invented_recordings import MILD, World
from order_cases import CASES, RUNNINGS, Run
from order_outcomes import Case, Truth, decibels, measured, outcome, truth
from order_sections import SECTIONS, Worst

_WORST_SHOWN = 6
_SOUND = Case(World(running=MILD, rate=48_000.0, jitter=0.0, seconds=60.0, axes=1, kind="sound"))


def clocked(run: Run) -> list[Worst]:
    print(
        "target: 30 s x 3 axes x 400 Hz <= 0.4 s, aim 0.1 s; 60 s of sound < 2 times decoding it,"
    )
    print("and beyond decoding <= 0.6 of one librosa.stft")
    for name, running in RUNNINGS.items():
        recording = truth(Case(World(running=running, cn0_db=35.0)), run.seed).recording
        seconds = _shortest(lambda recording=recording: measure(recording))
        print(f"{name}: {seconds:.3f} s")
    sound = truth(_SOUND, run.seed)
    _time_sound(sound)
    found = outcome(_SOUND, run.seed)
    errors = [each.in_bounds for each in found.orders.values() if each.clear]
    print(f"its speed off by {1e6 * found.off:+.2f} ppm (bound {1e6 * found.off_bound:.2f}), "
          f"efficiency over {len(errors)} clear orders {1 / np.mean(np.square(errors)):.2f}, "
          f"flags: {', '.join(found.flags) or 'none'}")  # fmt: skip
    return []


def _time_sound(sound: Truth) -> None:
    samples = np.asarray(sound.recording.samples)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "engine.flac"
        soundfile.write(path, 0.7 * samples / np.abs(samples).max(), 48_000, subtype="PCM_16")
        short = soundfile.read(path, dtype="float32")[0]
        librosa.stft(short[:48_000])  # its first call imports and compiles
        decode = _shortest(lambda: soundfile.read(path))
        frames = _shortest(lambda: librosa.stft(short))
        reading = _shortest(lambda: read(path, rpm=sound.recording.rpm))
        whole = _shortest(lambda: measure(read(path, rpm=sound.recording.rpm)))
    print(f"sound: decode {decode:.3f} s, read {reading:.3f} s, file to result {whole:.3f} s, "
          f"one stft {frames:.3f} s")  # fmt: skip
    print(f"sound: {whole / decode:.2f} times decoding; beyond decoding "
          f"{(whole - decode) / frames:.2f} of one stft")  # fmt: skip


def _shortest(once: Callable[[], object], times: int = 5) -> float:
    def clock() -> float:
        begun = time.perf_counter()
        once()
        return time.perf_counter() - begun

    return min(clock() for _ in range(times))


def look(row: str, seed: int) -> None:
    """Print one recording's result beside its truth."""
    true = truth(CASES[row], seed)
    result = measured(CASES[row], true.recording)
    speed = result.speed
    print(f"{CASES[row]}\ntrue {true.rpm:.4f} rpm, found {speed.rpm:.4f} +- "
          f"{speed.standard_error_rpm:.4f}, tag {speed.tag_rpm:.1f}, candidates "
          f"{[round(rpm, 2) for rpm in speed.candidates_rpm]}, "
          f"spread {speed.spread_percent:.2f} %")  # fmt: skip
    for note in result.quality:
        print(f"{note.severity}: {note.code}: {note.message}")
    print(f"{'order':>5} {'true':>9} {'process':>9} {'found':>9} {'dB':>7} {'bounds':>7} "
          f"{'st.err.':>9} {'bound':>9}")  # fmt: skip
    for row_of in result.orders.itertuples():
        size, order = row_of.amplitude, row_of.order
        print(f"{order:5g} {true.rms[order]:9.5f} {true.process[order]:9.5f} {size:9.5f} "
              f"{decibels(size, true.rms[order]):7.2f} "
              f"{(size - true.rms[order]) / true.bound[order]:7.1f} {row_of.standard_error:9.5f} "
              f"{true.bound[order]:9.5f} {'' if row_of.visible else row_of.reason}")  # fmt: skip


def main() -> None:
    """Read the command line and print the tables."""
    sections = {**SECTIONS, "time": clocked}
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--trials", type=int, default=12, help="recordings in a usual row")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--only", action="append", choices=sections, help="sections, all if none")
    parser.add_argument("--look", nargs=2, metavar=("ROW", "SEED"), help="show one recording")
    stated = parser.parse_args()
    if stated.look:
        look(stated.look[0], int(stated.look[1]))
        return
    run = Run(stated.trials, stated.seed, stated.jobs)
    for name in stated.only or sections:
        print(f"\n== {name}")
        begun = time.perf_counter()
        worst = sorted(sections[name](run), reverse=True)
        for _, row, seed, words in worst[:_WORST_SHOWN]:
            print(f'worst: --look "{row}" {seed}: {words}')
        print(f"({time.perf_counter() - begun:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
