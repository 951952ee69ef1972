"""Lives of a damper told by sweeps, from order curves to the judge's word, with known truth.

    OMP_NUM_THREADS=1 python tests/benchmarks/runup_lives.py --share 0.3 --lives 50 --seed 1

A life is a boat of `runup_world` (engine, specimen, coupling, sensor, cylinders unlike by 3 to
10 %): a baseline of three days of three sweeps, then check-ups of three sweeps; the curves are
followed by `runup.following` and judged check-up by check-up as a person would follow the judge:
on `record-again` one more sweep, on `another-day` up to three extra days. At one check-up of each
life, drawn beforehand, the damper is 10 % softer, and once more 10 % harder, beside the life that
goes on: so both changes are counted on the lives that count the false warnings. The damper's
temperature is the same at all times and known to be. A share of 1 is taken as 0.98. Intervals are
95 %. Thresholds of `runup.finding`, `naming` and `fitting` were set on seeds 1 to 5 and on those
below 10 000.
"""

import argparse
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent))

import judge_figures as figure
from runup_world import Boat, drawn_engine, drawn_habit

from vibetrend.engine import Engine
from vibetrend.runup.following import COLUMNS, Sweep, followed
from vibetrend.runup.resonances import reference
from vibetrend.trend import resonance
from vibetrend.trend.assess import CONFIRMED, assess
from vibetrend.trend.history import arrange
from vibetrend.trend.states import worst

BASELINE_HOURS = (0.0, 8.0, 20.0)
EVERY = (140.0, 220.0)
SWEEPS, CHECKUPS, EXTRA_DAYS = 3, 25, 3
CHANGES = (0.9, 1.1)  # of the damper's stiffness
AT = 9  # check-up of the changes, before it
NINETY = 1.6449
DAMPER_C = 45.0
SAME_TEMPERATURE = Engine.parse(
    'name = "i"\ncylinders = 6\nfiring_order = [1, 5, 3, 6, 2, 4]\n'
    "[damper]\nstiffness_percent_per_c = 0.02"
)  # so small that a reading two degrees off explains nothing


@dataclass
class Said:
    """What the judge said of a change."""

    flagged: bool = False
    confirmed: bool = False
    of_crank: bool = False  # a frequency of the crankshaft's moved the right way


@dataclass
class Lived:
    """What one life brought."""

    named: bool = False  # the crankshaft's resonance
    wrongly: int = 0  # others so named
    warned: str = ""  # the feature warned of while nothing changed
    checkups: int = 0  # lived
    extra_days: int = 0
    again: int = 0
    strayed: tuple[float, float] = (np.nan, np.nan)  # natural frequency: per cent, in errors
    still: list[tuple[float, float]] = field(default_factory=list)  # shifts, the same
    moved: dict[float, list[tuple[float, float]]] = field(default_factory=dict)
    said: dict[float, Said] = field(default_factory=dict)
    hertz: float = 0.0
    note: str = ""


class Life:
    """One boat's history as it grows."""

    def __init__(self, seed: int, share: float, unlike: float | None = None) -> None:
        self.rng = np.random.default_rng([seed, 7])
        rng = self.rng
        unlike = float(rng.uniform(0.03, 0.1)) if unlike is None else unlike
        for _ in range(20):
            self.habit = drawn_habit(rng)
            self.boat = Boat(
                drawn_engine(rng), self.habit, share=share, specimen=seed, unlike=unlike
            )
            if self.boat.frequency_hz() < 0.8 * self.habit.rate / 2:
                break  # else the sampling does not reach the resonance, and `measure` says so
        self.rows: list[dict[str, object]] = []
        self.visit = 0
        self.shifts: list[tuple[float, float]] = []
        tables = [self.boat.sweep(rng) for _ in BASELINE_HOURS for _ in range(SWEEPS)]
        self.against = reference(tables, engine=SAME_TEMPERATURE)
        for number, hours in enumerate(BASELINE_HOURS):
            self._visit(hours, tables[SWEEPS * number : SWEEPS * (number + 1)], baseline=True)

    def _visit(self, hours: float, tables: list[pd.DataFrame], *, baseline: bool = False) -> None:
        self.visit += 1
        self.hours = hours
        for table in tables:
            self._follow(table, baseline=baseline)

    def _follow(self, table: pd.DataFrame, *, baseline: bool = False) -> None:
        sweep = Sweep(
            recording=f"{len(self.rows)}", visit=f"{self.visit}", hours=self.hours, date=None,
            baseline=baseline, runup=table, damper_c=DAMPER_C,
        )  # fmt: skip
        self.rows += followed(sweep, self.against, baseline_c=DAMPER_C, engine=SAME_TEMPERATURE)

    def judged(self) -> tuple[str, list[tuple[str, float]]]:
        """Return the judge's state, and what is confirmed with its direction."""
        if not self.rows:
            return "no-baseline", []
        history = arrange(pd.DataFrame(self.rows, columns=list(COLUMNS)), limit_db=6.0)
        if history.levels is None:
            return "no-baseline", []
        result = assess(history.levels)
        state = worst([*result.state, result.common_state, *result.asks])
        confirmed = [
            (history.features[k][0], float(result.bends.z[k]))
            for k in np.argsort(-np.abs(result.bends.z), kind="stable")
            if result.state[k] in CONFIRMED
        ]
        return state, confirmed

    def checkup(
        self, hours: float, stiffness: float = 1.0
    ) -> tuple[bool, list[tuple[str, float]], int, int]:
        """Return whether it was flagged, what was confirmed, extra days and sweeps."""
        flagged, extra, again = False, 0, 0
        for day in range(EXTRA_DAYS + 1):
            extra += day > 0
            before = len(self.rows)
            self._visit(hours, [self.boat.sweep(self.rng, stiffness=stiffness) for _ in range(3)])
            if len(self.rows) == before:  # reaches no resonance: nothing to judge
                return flagged, [], extra, again
            state, confirmed = self.judged()
            if state == "record-again":
                again += 1
                self._follow(self.boat.sweep(self.rng, stiffness=stiffness))
                state, confirmed = self.judged()
            flagged |= state in ("another-day", *CONFIRMED)
            if confirmed or state != "another-day":
                return flagged, confirmed, extra, again
            hours += float(self.rng.uniform(1, 8))
        return flagged, confirmed, extra, again

    def crank_shifts(self, stiffness: float, since: int) -> list[tuple[float, float]]:
        """Return how far told shifts strayed from the truth, per cent and in errors."""
        base = [one for one in self.against.named if one.cause == "crankshaft"]
        base = [
            one for one in base if abs(one.log_frequency - np.log(self.boat.frequency_hz())) < 0.08
        ]
        if not base:
            return []
        name = f"resonance: {base[0].name} frequency"
        true = np.log(self.boat.frequency_hz(stiffness) / self.boat.frequency_hz())
        told = []
        for row in self.rows[since:]:
            if row["feature"] != name:
                continue
            moved = np.log(row["amplitude"] / base[0].resonance.mode.frequency_hz)
            error = row["standard_error"] / row["amplitude"] * np.sqrt(1 + self.against.own_share)
            told.append((100 * (moved - true), (moved - true) / error))
        return told


def live(seed: int, share: float, unlike: float | None = None, checkups: int = CHECKUPS) -> Lived:
    """Live one life."""
    life = Life(seed, share, unlike)
    truth = np.log(life.boat.frequency_hz())
    crank = [one for one in life.against.named if one.cause == "crankshaft"]
    near = [one for one in crank if abs(one.log_frequency - truth) < 0.08]
    own = np.log(life.boat.fresh.damped_modes.frequency_hz[:3])
    other = [one for one in crank if np.abs(one.log_frequency - own).min() > 0.08]
    out = Lived(
        named=bool(near), wrongly=len(other), hertz=life.boat.frequency_hz(),
        said={change: Said() for change in CHANGES}, moved={change: [] for change in CHANGES},
    )  # fmt: skip
    there = [one for one in life.against.named if abs(one.log_frequency - truth) < 0.08]
    if near:
        strayed = near[0].log_frequency - truth
        out.strayed = 100 * strayed, strayed / near[0].resonance.log_frequency_error
    else:
        out.note = there[0].why_unknown if there else "not found"
    if not life.against.named:
        out.checkups = checkups
        return out
    at = int(life.rng.integers(0, min(AT, checkups)))
    hours, begun = BASELINE_HOURS[-1], len(life.rows)
    for number in range(checkups):
        hours = max(hours, life.hours) + float(life.rng.uniform(*EVERY))
        if number == at:
            for change in CHANGES:
                out.said[change] = _changed(life, hours, change, out)
        _, confirmed, extra, again = life.checkup(hours)
        out.checkups += 1
        out.extra_days += extra
        out.again += again
        if confirmed:
            out.warned = confirmed[0][0]
            break
    out.still = life.crank_shifts(1.0, begun)
    return out


def _changed(life: Life, hours: float, change: float, out: Lived) -> Said:
    """Let the damper be softer or harder from a check-up on, and take all back."""
    rows, visit, at, since = list(life.rows), life.visit, life.hours, len(life.rows)
    flagged, confirmed, _, _ = life.checkup(hours, change)
    out.moved[change] = life.crank_shifts(change, since)
    right = [
        resonance.of_crankshaft(what)
        and resonance.parts(what).quantity == "frequency"
        and (z > 0) == (change > 1)
        for what, z in confirmed
    ]
    life.rows, life.visit, life.hours = rows, visit, at
    return Said(flagged=flagged, confirmed=bool(confirmed), of_crank=any(right))


def report(lives: list[Lived]) -> None:
    """Print what the lives of one share brought."""
    print(figure.share("crankshaft's resonance named", [each.named for each in lives]))
    print(figure.share("another so named", [each.wrongly > 0 for each in lives]))
    print(figure.one_in("false warnings", [bool(each.warned) for each in lives], lives=100))
    lived = sum(each.checkups for each in lives)
    print(f"  per check-up: {sum(e.extra_days for e in lives) / lived:.3f} extra days, "
          f"{sum(e.again for e in lives) / lived:.3f} sweeps again; {lived} check-ups")  # fmt: skip
    _line("natural frequency", [e.strayed for e in lives if e.named])
    _line("shift, no change", [each for e in lives for each in e.still])
    for change in CHANGES:
        what = f"{100 * (change - 1):+.0f} % stiffness"
        alive = [each for each in lives if not (each.warned and not each.moved[change])]
        said = [each.said[change] for each in alive]
        print(figure.share(f"{what}: flagged at the next", [s.flagged for s in said], least=0.9))
        print(figure.share(f"{what}: confirmed by it", [s.confirmed for s in said]))
        print(figure.share(f"{what}: as the crankshaft's", [s.of_crank for s in said]))
        _line(f"shift, {what}", [each for e in lives for each in e.moved[change]])
    for text, kind in (
        ((e.warned for e in lives if e.warned), "warned of"),
        ((e.note for e in lives if e.note), "not named"),
    ):
        for what, often in Counter(text).most_common(8):
            print(f"    {kind} {often}: {what}")


def _line(what: str, values: list[tuple[float, float]]) -> None:
    array = np.array([each for each in values if np.isfinite(each[0])])
    if not len(array):
        return
    held = figure.share(
        f"{what}: 90 % interval holds",
        (np.abs(array[:, 1]) < NINETY).tolist(),
        least=0.85,
        most=0.95,
    )
    print(f"{held}\n    bias {np.median(array[:, 0]):+.2f} %, sd {np.std(array[:, 0]):.2f} %, "
          f"typical {np.median(np.abs(array[:, 0])) / 0.6745:.2f} %, of {len(array)}")  # fmt: skip


def main() -> None:
    """Live the lives asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--share", type=float, default=0.3)
    parser.add_argument("--lives", type=int, default=30)
    parser.add_argument("--checkups", type=int, default=CHECKUPS)
    parser.add_argument("--unlike", type=float, help="0.03 to 0.1 by life if left out")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=280.0, help="then it stops")
    chosen = parser.parse_args()
    begun, lives = time.process_time(), []
    for number in range(chosen.lives):
        seed = 100_000 * chosen.seed + number
        lives.append(live(seed, chosen.share, chosen.unlike, chosen.checkups))
        if time.process_time() - begun > chosen.seconds:
            break
    print(f"twist share {chosen.share:g}, {len(lives)} lives, seed {chosen.seed}, "
          f"{time.process_time() - begun:.0f} s")  # fmt: skip
    report(lives)


if __name__ == "__main__":
    main()
