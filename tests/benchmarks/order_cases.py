"""What the rows of the benchmark of the order fit are drawn from, and running them."""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial

from awkward_engine import HUNTING as AWKWARD_HUNTING
from awkward_engine import MILD as AWKWARD_MILD
from awkward_engine import STEADY as AWKWARD_STEADY
from awkward_engine import Awkward, Pace
from invented_recordings import MILD, STEADY, WANDER, World
from order_outcomes import Case, Outcome, outcome

RUNNINGS = {"steady": STEADY, "mild": MILD, "hunting": WANDER}
CN0_DB = (25.0, 35.0, 45.0)
_GAP = ((12.0, 13.0),)


def _grid() -> dict[str, Case]:
    return {
        f"{name}, {rate:.0f} Hz, {cn0_db:.0f} dB-Hz": Case(
            World(running=running, rate=rate, cn0_db=cn0_db)
        )
        for rate in (400.0, 200.0, 100.0)
        for name, running in RUNNINGS.items()
        for cn0_db in CN0_DB
    }


_CLOCKS = {
    "jitter 5 %": World(jitter=0.05),
    "jitter 20 %": World(jitter=0.2),
    "1 ms stamps": World(stamp_s=1e-3),
    "5 % dropped, a gap": World(drops=0.05, gaps_s=_GAP),
}
CLOCKS = {
    f"mild, {name}": Case(replace(world, running=MILD, cn0_db=35.0))
    for name, world in _CLOCKS.items()
}
GRID = _grid()

SEARCH = {
    f"{name}, {cn0_db:.0f} dB-Hz, tag off by up to 5 %": Case(
        World(running=running, cn0_db=cn0_db, tag_error=0.05), rpm=(900.0, 1150.0)
    )
    for name, running in RUNNINGS.items()
    for cn0_db in (20.0, 25.0, 35.0)
}
SEARCH |= {
    f"pulses, {name}, {cn0_db:.0f} dB-Hz, tag off by up to 5 %": Case(
        Awkward(pace=pace, cn0_db=cn0_db, tag_error=0.05), rpm=(900.0, 1150.0)
    )
    for name, pace in (("mild", AWKWARD_MILD), ("hunting", AWKWARD_HUNTING))
    for cn0_db in (25.0, 35.0)
}
_ALONE = World(running=MILD, cn0_db=35.0, levels_db=(70.0, 80.0), tag_error=0.05)
_LOUD = World(running=MILD, cn0_db=35.0, belts_db=(-6.0, 0.0), tag_error=0.05)
AMBIGUOUS = {
    f"{name}, {'with' if told else 'no'} engine": Case(world, rpm=(900.0, 1150.0), engine=told)
    for name, world in {
        "firing order and belts": _ALONE,
        "firing order alone": replace(_ALONE, belts=(), mains_hz=0.0),
        "hunting, firing order and belts": replace(_ALONE, running=WANDER),
        "belt stronger": _LOUD,
        "belt stronger, orders weak": replace(_LOUD, levels_db=(20.0, 36.0)),
        "hunting, belt stronger": replace(_LOUD, running=WANDER),
    }.items()
    for told in (False, True)
}

_COSINES = Awkward(pulses=False, mount=False, roll_off=0.0)
INTERVALS = {
    name: Case(world)
    for name, world in {
        "noise only": _COSINES,
        "breathing 5 %, 0.2 s": replace(_COSINES, breathing=0.05, breathing_s=0.2),
        "breathing 5 %, 1 s": replace(_COSINES, breathing=0.05),
        "breathing 5 %, 3 s": replace(_COSINES, breathing=0.05, breathing_s=3.0),
        "breathing 5 %, 1 s, 45 dB-Hz": replace(_COSINES, breathing=0.05, cn0_db=45.0),
        "5 % dropped and a gap": replace(_COSINES, drops=0.05, gap_s=_GAP[0]),
        "jitter of 20 %": replace(_COSINES, jitter=0.2),
        "coloured noise": replace(_COSINES, coloured=True),
        "stamps of 1 ms": replace(_COSINES, stamp_s=1e-3),
        "hunting": replace(_COSINES, pace=AWKWARD_HUNTING),
        "pulses through a mount": Awkward(),
    }.items()
}

ALIASING = {
    f"100 Hz, {name}, {clock}, {cn0_db:.0f} dB-Hz": Case(
        World(running=running, rate=100.0, jitter=jitter, cn0_db=cn0_db), rpm=(985.0, 1015.0)
    )
    for name, running in (("mild", MILD), ("hunting", WANDER))
    for clock, jitter in (("even", 0.0), ("jitter 10 %", 0.1))
    for cn0_db in (35.0, 45.0)
}

_FACTORS = {"0.5": 0.5, "2": 2.0, "2/3": 2 / 3, "1.5": 1.5, "0.8": 0.8, "1.2": 1.2}
BAD = {
    name: Case(world, rpm=(900.0, 1150.0))
    for name, world in {
        "speed ramps by 10 %": Awkward(pace=Pace(drift=0.1)),
        "engine stops half-way": Awkward(stops_s=15.0),
        "noise only, engine off": Awkward(running=False, mains_hz=0.0),
        "coloured noise only": Awkward(running=False, mains_hz=0.0, coloured=True),
        "mains only": Awkward(running=False),
        **{f"tag times {name}": Awkward(tag_factor=factor)
           for name, factor in _FACTORS.items()},
        **{f"cosines, tag times {name}": replace(_COSINES, tag_factor=factor)
           for name, factor in _FACTORS.items()},
    }.items()
}  # fmt: skip
BAD |= {
    f"engine told, tag times {name}": replace(BAD[f"tag times {name}"], engine=True)
    for name in _FACTORS
}
_EVERYTHING = Awkward(
    pace=AWKWARD_HUNTING, breathing=0.05, rattle_db=6.0, whine=14.23, coloured=True,
    jitter=0.2, drops=0.05,
)  # fmt: skip
GOOD = {
    name: Case(world, rpm=(900.0, 1150.0))
    for name, world in {
        "good: cosines, mild": World(running=MILD, cn0_db=35.0),
        "good: cosines, hunting": World(running=WANDER, cn0_db=35.0),
        "good: cosines, steady": World(cn0_db=45.0),
        "good: pulses, mild": Awkward(),
        "good: pulses, hunting": Awkward(pace=AWKWARD_HUNTING),
        "good: pulses, steady, 45 dB-Hz": Awkward(pace=AWKWARD_STEADY, cn0_db=45.0),
        "good: pulses, breathing, drops": Awkward(breathing=0.05, drops=0.05, stamp_s=1e-3),
    }.items()
}

AWKWARD = {
    name: Case(world)
    for name, world in {
        "pulses, mild": Awkward(),
        "pulses, steady": Awkward(pace=AWKWARD_STEADY),
        "pulses, hunting": Awkward(pace=AWKWARD_HUNTING),
        "pulses, 100 Hz, hunting": Awkward(pace=AWKWARD_HUNTING, rate=100.0),
        "uneven cycles 15 %, misfires 3 %": Awkward(uneven=0.15, misfires=0.03),
        "gear rattle": Awkward(rattle_db=10.0),
        "alternator whine": Awkward(whine=14.23),
        "coloured": Awkward(coloured=True),
        "another engine 0.3 % away": Awkward(second=0.003),
        "another engine 0.3 % away, 3 dB below": Awkward(second=0.003, second_db=3.0),
        "another engine 3 % away": Awkward(second=0.03),
        "another engine 3 % away, 3 dB below": Awkward(second=0.03, second_db=3.0),
        "everything, hunting": _EVERYTHING,
        "everything, 25 dB-Hz": replace(_EVERYTHING, cn0_db=25.0),
    }.items()
}

CASES = {**GRID, **CLOCKS, **SEARCH, **AMBIGUOUS, **INTERVALS, **ALIASING, **BAD, **GOOD,
         **AWKWARD}  # fmt: skip


@dataclass
class Run:
    """Draws and measures the recordings of a row; one row's are measured only once."""

    trials: int
    seed: int
    jobs: int
    _known: dict[str, list[Outcome]] = field(default_factory=dict)

    def __call__(self, row: str, share: float = 1.0) -> list[Outcome]:
        """Return the outcome of each trial, `share` of as many as were asked for."""
        count = max(2, int(self.trials * share))
        known = self._known.setdefault(row, [])
        first = 10_000_000 * self.seed + 10_000 * list(CASES).index(row)
        seeds = range(first + len(known), first + count)
        one = partial(outcome, CASES[row])
        if self.jobs == 1:
            known += map(one, seeds)
        else:
            with ProcessPoolExecutor(self.jobs) as pool:
                known += pool.map(one, seeds)
        return known[:count]
