"""How well resonances are measured and their shifts found, from order curves with known truth.

Run ``python tests/benchmarks/runup_shift.py --worlds 20 --seed 1`` with OMP_NUM_THREADS=1.

A world is an in-line six with its twist at 188.25 Hz and three decoys (mount 17 Hz, exhaust 96 Hz,
cover 240 Hz) of fixed frequency, seen on three axes in 24 orders from 900 to 3200 rpm; noise of
0.02 beside a firing order of about 1, each order breathing by 3 % from point to point, its level
changing by 0.5 dB and the gain by 2 dB from sweep to sweep. The baseline is nine sweeps, a check-up
three. "Found" means that the mean shift of the three lies beyond 2.6 standard errors of it.
"""

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "runup"))

from invented_curves import DECOYS, STIFFNESS_TO_FREQUENCY, TWIST, TWISTING, World, sweeps

from vibetrend.runup.powers import powers
from vibetrend.runup.resonances import reference

SHARES = (0.3, 0.5, 1.0)
CHANGES = (0.0, -1.0, -2.0, -3.0, -5.0, -10.0, 10.0)
NINETY = 1.645
BEYOND = 2.6


def measured(worlds: int, seed: int) -> None:
    """Print a block for each share."""
    for share in SHARES:
        frequency: list[tuple[float, float]] = []
        shifts: dict[float, list[tuple[float, float]]] = {change: [] for change in CHANGES}
        found: dict[float, list[bool]] = {change: [] for change in CHANGES}
        named = wrong = 0
        still: list[float] = []
        for number in range(worlds):
            first = 10_000 * seed + 100 * number
            world = World(seed=first, modes=(replace(TWIST, share=share), *DECOYS))
            before = reference(sweeps(world, range(first, first + 9)), excited=TWISTING)
            crank = [one for one in before.named if one.cause == "crankshaft"]
            near = [one for one in crank if abs(one.log_frequency - np.log(TWIST.hz)) < 0.05]
            wrong += len(crank) - len(near)
            named += bool(near)
            if not near:
                continue
            strayed = near[0].log_frequency - np.log(TWIST.hz)
            frequency.append((100 * strayed, strayed / near[0].resonance.log_frequency_error))
            for place, change in enumerate(CHANGES):
                true = np.log1p(change / 100 * STIFFNESS_TO_FREQUENCY)
                visit = range(first + 20 + 5 * place, first + 23 + 5 * place)
                mine = []
                for sweep in sweeps(world.stiffer(change), visit):
                    for one, shift in before.shifts(powers(sweep)):
                        if one is near[0]:
                            mine.append((shift.shift, shift.error))
                        elif change == -10.0:
                            still.append(100 * shift.shift)
                if len(mine) < 3:
                    continue
                value, error = np.array(mine).T
                whole = np.sqrt(1 + before.own_share)
                shifts[change] += [
                    (100 * (one - true), (one - true) / (each * whole)) for one, each in mine
                ]
                both = np.sqrt((error**2).mean() * (1 / 3 + before.own_share))
                found[change].append(bool(abs(value.mean()) > BEYOND * both))
        print(
            f"twist share {share:g}: named in {named} of {worlds}, a decoy so named {wrong} times"
        )
        if not frequency:
            continue
        _line("  natural frequency, baseline", frequency)
        for change in CHANGES:
            if shifts[change]:
                _line(f"  shift of {change:+3.0f} % stiffness", shifts[change], found[change])
        print(f"  decoys meanwhile: mean {np.mean(still):+.3f} %, sd {np.std(still):.3f} %")


def _line(what: str, values: list[tuple[float, float]], found: list[bool] | None = None) -> None:
    strayed, scaled = np.array(values).T
    covered = np.mean(np.abs(scaled) < NINETY)
    text = f"{what:32} bias {np.mean(strayed):+.3f} %, error {np.std(strayed):.3f} % (typical "
    text += (
        f"{np.median(np.abs(strayed)) / 0.6745:.3f}), 90 % interval covers {100 * covered:.0f} %"
    )
    print(text + ("" if found is None else f", found in {100 * np.mean(found):.0f} %"))


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--worlds", type=int, default=20)
    arguments.add_argument("--seed", type=int, default=1)
    chosen = arguments.parse_args()
    measured(chosen.worlds, chosen.seed)
