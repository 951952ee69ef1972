"""How near the order fit comes to what is possible, beside plain spectra.

    python tests/benchmarks/order_efficiency.py --trials 40 --seed 1

Invented recordings with known truth (three axes, 30 s, 10 % jitter, 24 half orders 6 to 36 dB below
the firing order, two belts, mains, the tag off by up to 3 %) are measured with `measure` and with
three plain spectra near the tag: the highest peak of one Hann FFT, of a Welch spectrum of 4 s
segments and of an average of 1 s frames; uneven samples are interpolated to an even grid for them.

Columns: error of the mean speed (rms, ppm) and its bound; amplitude efficiency (bound over mean
square error, per order, over orders above 4 bounds: median and worst of the orders); median error
of the firing order and of 1x, dB; coverage of the 95 % intervals; share of recordings with a
warning or worse; wrong speeds (off by 0.2 % or more, left out of the columns before); seconds of
processor time for one recording. Run it with one thread for each process (OMP_NUM_THREADS=1).

Bounds: amplitude, Kay, Fundamentals of Statistical Signal Processing, ex. 3.14. Speed: Rife &
Boorstyn, IEEE Trans. IT-20 (1974), and for a speed that wanders the Bayesian bound of Van Trees
(Detection, Estimation and Modulation Theory I, sec. 2.4) for one who knows how it wanders.
"""

import argparse
import math
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from scipy.signal import stft, welch

from vibetrend.orders import measure
from vibetrend.recording import FloatArray, Recording

# The invented engine is the one of the tests of this room.
sys.path.insert(0, str(Path(__file__).parents[1] / "orders"))
from invented_recordings import (
    FIRING,
    HALF_ORDERS,
    HUNTING_HZ,
    MILD,
    STEADY,
    WANDER,
    Made,
    World,
    made,
    rows,
)

WRONG = 2e-3
_CLEAR = 4.0  # bounds
_SEARCH = 0.09  # of the tag, where plain spectra look for the firing order
_DETAIL = 4  # points per engine cycle at which the bound weighs the angle

ROWS = [
    *((f"{name}, {rate:.0f} Hz", World(running=running, rate=rate))
      for rate in (400.0, 200.0)
      for name, running in (("steady", STEADY), ("mild", MILD), ("wander", WANDER))),
    ("mild, sound 60 s",
     World(running=MILD, rate=48_000.0, jitter=0.0, seconds=60.0, axes=1, kind="sound")),
]  # fmt: skip
CN0_DB = (25.0, 35.0, 45.0)


@dataclass(frozen=True)
class Outcome:
    """What was found in one recording."""

    wrong: bool
    flagged: bool
    seconds: float
    speed_ppm: float
    bound_ppm: float
    in_bounds: dict[float, float]  # error of each clear order
    covered: list[bool]
    firing_db: float
    once_db: float
    plain: dict[str, tuple[float, float, float]]  # speed ppm, 3x dB, 1x dB of each plain spectrum


def outcome(world: World, seed: int) -> Outcome:
    """Draw one recording and measure it in every way."""
    truth = made(world, seed)
    begun = time.process_time()
    measured = measure(truth.recording)
    seconds = time.process_time() - begun
    table = rows(measured)
    in_bounds, covered = {}, []
    for order, true in truth.rms.items():
        row = table[order]
        if row["visible"] and true > _CLEAR * truth.rms_bound:
            in_bounds[order] = (row["amplitude"] - true) / truth.rms_bound
            covered.append(bool(abs(row["amplitude"] - true) < 1.96 * row["standard_error"]))
    off = measured.speed.rpm / truth.rpm - 1
    return Outcome(
        wrong=abs(off) >= WRONG,
        flagged=any(note.severity != "note" for note in measured.quality),
        seconds=seconds,
        speed_ppm=1e6 * off,
        bound_ppm=1e6 * speed_bound_rpm(truth, world) / truth.rpm,
        in_bounds=in_bounds,
        covered=covered,
        firing_db=decibels(table[FIRING]["amplitude"], truth.rms[FIRING]),
        once_db=decibels(table[1.0]["amplitude"], truth.rms[1.0]),
        plain={name: method(truth) for name, method in PLAIN.items()},
    )


def efficiencies(outcomes: list[Outcome]) -> FloatArray:
    """Return bound over mean square error for each order seen often enough."""
    errors = [
        [found.in_bounds[order] for found in outcomes if order in found.in_bounds]
        for order in HALF_ORDERS.tolist()
    ]
    least = max(2, len(outcomes) // 4)
    return np.array([1 / np.mean(np.square(each)) for each in errors if len(each) >= least])


def speed_bound_rpm(truth: Made, world: World) -> float:
    """Return the least standard deviation of the mean speed, rpm.

    Unknown: the start angle and mean speed (nothing known before), the governor's swing and each
    cycle's own speed (Gaussian, of the size they are drawn with).
    """
    running, hertz, seconds = world.running, truth.rpm / 60, world.seconds
    if running == STEADY:
        return truth.rpm_bound
    cycle_s = 2 / hertz
    starts = cycle_s * np.arange(math.ceil(seconds / cycle_s))[:, np.newaxis]

    def shapes(at: FloatArray) -> FloatArray:
        swing = 2 * math.pi * HUNTING_HZ * at
        common = [np.ones_like(at), at, np.sin(swing), np.cos(swing)]
        return np.vstack([*common, np.clip(at - starts, 0, cycle_s)])

    points = _DETAIL * len(starts)
    design = shapes((np.arange(points) + 0.5) * seconds / points)
    squares = HALF_ORDERS[:, np.newaxis] ** 2 * truth.peak**2
    alpha = (2 * math.pi) ** 2 * float(squares.sum()) / (2 * truth.noise**2)  # 1 / turns^2
    information = design @ design.T * alpha * truth.count / points
    swing_sd = hertz * running.hunting / (2 * math.pi * HUNTING_HZ) / math.sqrt(2)
    cycle_sd = [hertz * running.cycle_noise] * len(starts)
    known = np.array([math.inf, math.inf, swing_sd, swing_sd, *cycle_sd])
    mean_speed = np.diff(shapes(np.array([0.0, seconds])))[:, 0] / seconds
    variance = mean_speed @ np.linalg.solve(information + np.diag(known**-2.0), mean_speed)
    return float(60 * math.sqrt(variance))


def decibels(found: float, true: float) -> float:
    """Return 20 lg of a ratio; an amplitude of 0 counts as 60 dB too low."""
    return 20 * math.log10(max(found / true, 1e-3))


def even_samples(recording: Recording, rate: float) -> FloatArray:
    """Return the samples interpolated to an even grid, shape (axes, n), means removed."""
    samples, times = np.asarray(recording.samples), recording.time_s()
    grid = np.arange(times[0], times[-1], 1 / rate)
    return np.array([np.interp(grid, times, axis - axis.mean()) for axis in samples.T])


def _read_off(truth: Made, hertz: FloatArray, power: FloatArray) -> tuple[float, float, float]:
    """Return speed error (ppm) and dB errors of the firing order and 1x, of a line spectrum.

    `power` is the mean square of a line, all axes together; the highest peak near the tag's firing
    frequency is taken for the firing order, and the highest bin near 1x for 1x.
    """
    tag = (truth.recording.rpm or 0) / 60
    near = np.abs(hertz / (FIRING * tag) - 1) < _SEARCH
    peak = int(np.argmax(np.where(near, power, -1)))
    crank = hertz[peak] / FIRING
    once = int(np.argmax(np.where(np.abs(hertz - crank) <= 1.5 * hertz[1], power, -1)))
    return (
        1e6 * (60 * crank / truth.rpm - 1),
        decibels(math.sqrt(power[peak]), truth.rms[FIRING]),
        decibels(math.sqrt(power[once]), truth.rms[1.0]),
    )


def _plain_rate(truth: Made) -> float:
    return min(2000.0, truth.recording.mean_rate_hz)


def hann_peak(truth: Made) -> tuple[float, float, float]:
    """One Hann-windowed FFT of everything."""
    rate = _plain_rate(truth)
    samples = even_samples(truth.recording, rate)
    count = samples.shape[1]
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(count) * 2)) * 2 / count
    hertz = np.arange(spectrum.shape[1]) * rate / count
    return _read_off(truth, hertz, (spectrum**2).sum(axis=0) / 2)


def welch_peak(truth: Made) -> tuple[float, float, float]:
    """Welch's average of segments of 4 s."""
    rate = _plain_rate(truth)
    samples = even_samples(truth.recording, rate)
    hertz, power = welch(samples, rate, nperseg=int(4 * rate), scaling="spectrum")
    return _read_off(truth, hertz, power.sum(axis=0))


def frames_peak(truth: Made) -> tuple[float, float, float]:
    """Mean magnitude of frames of 1 s, padded to 4 s."""
    rate = _plain_rate(truth)
    samples = even_samples(truth.recording, rate)
    hertz, _, frames = stft(samples, rate, nperseg=int(rate), nfft=int(4 * rate), padded=False)
    magnitude = np.abs(frames).mean(axis=-1)
    return _read_off(truth, hertz, 2 * (magnitude**2).sum(axis=0))


PLAIN: dict[str, Callable[[Made], tuple[float, float, float]]] = {
    "Hann FFT, peak": hann_peak,
    "Welch, 4 s": welch_peak,
    "frames of 1 s": frames_peak,
}

HEAD = (
    f"{'world':20} {'dB-Hz':>5} | {'speed ppm':>9} {'bound':>6} | {'eff.':>5} {'worst':>5} | "
    f"{'3x dB':>7} {'1x dB':>7} | {'95 %':>5} | {'flag':>5} {'wrong':>5} | {'s':>5}"
)


def _rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values)))) if values else math.nan


def print_row(name: str, cn0_db: float, outcomes: list[Outcome]) -> None:
    """Print what was found for one world, and the plain spectra below it."""
    right = [found for found in outcomes if not found.wrong]
    orders = efficiencies(right)
    covered = [inside for found in right for inside in found.covered]
    print(
        f"{name:20} {cn0_db:5.0f} | {_rms([found.speed_ppm for found in right]):9.2f} "
        f"{_rms([found.bound_ppm for found in right]):6.2f} | "
        f"{np.median(orders):5.2f} {orders.min():5.2f} | "
        f"{np.median([found.firing_db for found in right]):7.4f} "
        f"{np.median([found.once_db for found in right]):7.3f} | "
        f"{100 * np.mean(covered):5.1f} | "
        f"{100 * np.mean([found.flagged for found in outcomes]):4.0f}% "
        f"{len(outcomes) - len(right):5d} | "
        f"{np.median([found.seconds for found in outcomes]):5.2f}"
    )
    for method in PLAIN:
        ppm, firing, once = zip(*(found.plain[method] for found in outcomes), strict=True)
        print(
            f"  {method:24} | {_rms(list(ppm)):9.0f} {'':6} | {'':5} {'':5} | "
            f"{np.median(firing):7.2f} {np.median(once):7.2f} |",
            flush=True,
        )


def main() -> None:
    """Read the command line and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--trials", type=int, default=40, help="recordings in each row")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processes at once")
    parser.add_argument("--only", default="", help="only worlds whose name contains this")
    stated = parser.parse_args()
    seeds = [100_000 * stated.seed + trial for trial in range(stated.trials)]
    print(HEAD)
    with ProcessPoolExecutor(stated.jobs) as pool:
        for name, world in ROWS:
            if stated.only not in name:
                continue
            for cn0_db in CN0_DB:
                one = partial(outcome, replace(world, cn0_db=cn0_db))
                print_row(name, cn0_db, list(pool.map(one, seeds)))


if __name__ == "__main__":
    main()
