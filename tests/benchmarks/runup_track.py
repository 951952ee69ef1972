"""How well the speed of a sweep is followed, and whether the errors of its order curves are honest.

    OMP_NUM_THREADS=1 python tests/benchmarks/runup_track.py --trials 4 --seed 1

Invented sweeps of tests/runup/invented_sweeps.py: 700 to 2400 rpm, all half orders to 12, 4 to
20 dB below the firing order, a resonance at 100 Hz of damping ratio 0.05, hunting 0.3 %, cycle
noise 0.05 %, tags off by up to 8 %. CN0 is that of the firing order on its loudest axis, at its
median over the sweep: some 35 dB-Hz and more in an engine room.
"""

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "runup"))
from invented_sweeps import HALF_ORDERS, Sweep, Swept, swept

from vibetrend.orders import Measurement
from vibetrend.recording import FloatArray
from vibetrend.runup import measure

LENGTHS_S = (15.0, 30.0, 60.0, 120.0)
CN0_DB = (20.0, 25.0, 30.0, 35.0, 45.0)
KINDS = {
    "clean": Sweep(),
    "mains": Sweep(mains_hz=50.0),
    "belts": Sweep(belts=(1.9013, 2.3718)),
    "phone": Sweep(rate=400.0, jitter=0.2, axes=3, cn0_db=40.0),
    "coast-down": Sweep(start_rpm=2400.0, end_rpm=700.0),
    "holds": Sweep(hold_s=(6.0, 6.0)),
    "15 s": Sweep(seconds=15.0),
}


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    speed_table(options.trials, options.seed)
    curve_table(options.trials, options.seed)


def speed_table(trials: int, seed: int) -> None:
    """Print the rms error of the speed, median and worst of the trials."""
    print("rms error of the speed, per cent: median (worst)")
    print("CN0, dB-Hz".ljust(14) + "".join(f"{seconds:>18.0f} s" for seconds in LENGTHS_S))
    for cn0 in CN0_DB:
        line = f"{cn0:<14.0f}"
        for seconds in LENGTHS_S:
            errors = []
            for trial in range(trials):
                tags = np.random.default_rng(seed + trial).uniform(0.92, 1.08, 2).tolist()
                world = Sweep(seconds=seconds, cn0_db=cn0, tags=(tags[0], tags[1]))
                made = swept(world, seed + trial)
                table = measure(made.recording).speed.track
                errors.append(made.speed_error_percent(*table.to_numpy().T))
            line += f"{np.median(errors):>12.3f} ({max(errors):.3f})"
        print(line, flush=True)


def curve_table(trials: int, seed: int) -> None:
    """Print how many of the order curves' values lie within what is stated of them."""
    print("\norder curves, values above 4 standard errors: share within 1.645 and 1.96 of them")
    print("(90 and 95 % are right), mean deviation, median error in dB, CPU seconds")
    for name, world in KINDS.items():
        off, decibel, spent = [], [], []
        for trial in range(trials):
            made = swept(
                world if name == "15 s" else replace(world, seconds=45.0), seed + 100 + trial
            )
            began = time.process_time()
            measured = measure(made.recording)
            spent.append(time.process_time() - began)
            each, levels = deviations(made, measured)
            off.append(each)
            decibel.append(levels)
        z = np.concatenate(off)
        print(
            f"{name:<14}{np.mean(np.abs(z) < 1.645):>8.3f}{np.mean(np.abs(z) < 1.96):>8.3f}"
            f"{np.mean(z):>8.2f}{np.median(np.abs(np.concatenate(decibel))):>8.2f}"
            f"{np.median(spent):>8.2f}",
            flush=True,
        )


def deviations(made: Swept, measured: Measurement) -> tuple[FloatArray, FloatArray]:
    """Return by how many standard errors and dB each clear value is off."""
    off, decibel = [], []
    for order in HALF_ORDERS.tolist():
        rows = measured.runup[measured.runup["order"] == order]
        truth = made.rms(order, rows["speed_rpm"].to_numpy())
        amplitude, error = rows["amplitude"].to_numpy(), rows["standard_error"].to_numpy()
        clear = (truth > 4 * error) & (amplitude > 0)
        off.append(((amplitude - truth) / error)[clear])
        decibel.append(20 * np.log10(amplitude[clear] / truth[clear]))
    return np.concatenate(off), np.concatenate(decibel)


if __name__ == "__main__":
    main()
