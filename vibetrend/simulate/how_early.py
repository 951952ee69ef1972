"""With my phone and my habits: how early would I know?.

For each way a damper ages, what the model of the crank says moves, held against what the judge can
tell from the scatter of check-ups: the smallest change that the next check-up and a second day
confirm in nine cases of ten (`trend.noticeable`), on a baseline of three days. How fast a damper
ages nobody knows in advance; the pace only turns a size into hours.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.baseline import FULL_BASELINE, FULL_DAY
from vibetrend.engine import Engine
from vibetrend.plain import rows
from vibetrend.recording import FloatArray
from vibetrend.simulate.ageing import aged
from vibetrend.simulate.courses import HEIGHT, IDLE, SWEPT, idle_course, idle_rpm, swept_courses
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.habits import Habits, Sharpness, sharpness, swept_range, telling_orders
from vibetrend.torsion import Change, Crankshaft, warmer
from vibetrend.trend.noticeable import Noticeable
from vibetrend.trend.priors import prior_scatter

PACE_PERCENT = 5.0  # of what ages, in 1000 h: assumed, no source
SCATTER_PERCENT = 0.4  # of a frequency from sweep to sweep: assumed, what shifts of simulated
# order curves scatter by where little of the twist is heard (tests/benchmarks/runup_shift.py)
WITHIN_H = 10_000.0  # what comes later is not told, where no renewal interval is: assumed
UNKNOWN_C = 10.0  # the ring's temperature where nobody notes it: +- so much, nine times in ten
NOTED_C = 2.0  # standard deviation of a reading against the rubber's own: assumed
_RESONANCES = 4  # that are watched: the crank's lowest, and three such as mounts and covers
_IDLE_ORDERS = 24
_HARDLY = 0.5  # dB or %: not worth a number
_DEGREES = np.linspace(0, 3, 31)  # of ageing, see `aged`
_BOTH_SIDES = 1.645  # standard deviations that hold nine cases of ten
_BOND = "bond let go"

_RUBBER: Mapping[str, tuple[str, Callable[[Change], float]]] = {
    "rubber hardening": ("stiffness", lambda change: change.stiffness_factor - 1),
    "rubber softening": ("stiffness", lambda change: change.stiffness_factor - 1),
    "bond slipping": (_BOND, lambda change: change.ring_slip),
}
_VISCOUS: Mapping[str, tuple[str, Callable[[Change], float]]] = {
    "fluid damping lost": ("damping", lambda change: change.viscous_factor - 1),
    "fluid stiffened": ("damping", lambda change: change.viscous_factor - 1),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class HowEarly:
    """What would be noticed of an ageing damper, and when.

    `table` has a row for each way of ageing and each observable: `ageing`, `what` ages,
    `observable`, `noticed` (the smallest change that is noticed) and `unit` ("" where nothing can
    be seen at all), `aged_percent` (how far what ages has come by then; NaN for never) and `aged`
    (the same in words), `hours` (by then at the pace, up to the next check-up; inf for never, and
    for later than the damper's renewal or `WITHIN_H`), `why_not` (why not, in words).
    """

    table: pd.DataFrame
    assumptions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form; never is null."""
        return {"how_early": rows(self.table), "assumptions": list(self.assumptions)}


def how_early(
    engine: Engine, *, habits: Habits | None = None, pace_percent: float = PACE_PERCENT
) -> HowEarly:
    """Return how early each way of ageing would be noticed.

    Parameters
    ----------
    engine : Engine
    habits : Habits, optional
        Three sweeps as sound every 200 h if left out.
    pace_percent : float
        How fast it ages: per cent of its stiffness, its bond or its damping in 1000 h.

    Raises
    ------
    SimulateError
        If the pace is no number above 0.
    """
    if not 0 < pace_percent < math.inf:
        raise SimulateError(f"the pace is {pace_percent:g} %; a number above 0 is needed")
    habits = habits or Habits()
    fresh = Crankshaft.of(engine)
    why_not = _why_not(engine, fresh, habits)
    sharp = None if why_not else sharpness(engine, habits)
    noticed = {IDLE: _noticed_at_idle()}
    within = engine.damper.renew_hours or WITHIN_H
    if sharp is not None:
        noticed |= _noticed_swept(engine, fresh, habits, sharp)
    told = []
    for kind, (what, size) in (_VISCOUS if fresh.viscous else _RUBBER).items():
        changes = [aged(kind, float(degree)) for degree in _DEGREES]
        later = [fresh.with_change(change) for change in changes]
        grown = np.array([100 * size(change) for change in changes])
        courses = {IDLE: idle_course(engine, habits, fresh, later)[0]}
        if sharp is not None:
            courses |= swept_courses(engine, fresh, later)
        for observable in (*SWEPT, IDLE):
            row: dict[str, Any] = {"ageing": kind, "what": what, "observable": observable}
            if observable in courses:
                row |= _reached(observable, courses[observable], what, grown, noticed[observable])
            else:
                row |= {"noticed": math.nan, "unit": "", "aged_percent": math.nan}
                row["why_not"] = why_not
            row["aged"] = _aged(what, row["aged_percent"])
            row["hours"] = _hours(row["aged_percent"], pace_percent, habits.every_hours)
            if within < row["hours"] < math.inf:
                row["hours"] = math.inf
                row["why_not"] = f"not within {within:g} h: that takes {row['aged']}"
            told.append(row)
    return HowEarly(
        table=pd.DataFrame(told),
        assumptions=tuple(_assumptions(engine, fresh, habits, pace_percent, sharp)),
    )


def _why_not(engine: Engine, fresh: Crankshaft, habits: Habits) -> str:
    """Return why sweeps would not show the resonance at all; "" if they would."""
    if engine.generator is not None:
        return "a generator set makes no run-up, because its governor holds one speed"
    own = fresh.damped_modes
    lowest = float(own.frequency_hz[0])
    if lowest * (1 + own.damping_ratio[0]) > habits.reach_hz:
        return (
            f"{habits.rate:g} samples a second show nothing above {habits.reach_hz:g} Hz, and the "
            f"crankshaft's resonance is expected near {lowest:.0f} Hz; record sound"
        )
    if not telling_orders(engine, fresh).size:
        low, high = swept_range(engine)
        return (
            f"no order that drives the crankshaft's resonance near {lowest:.0f} Hz passes it "
            f"between {low:.0f} and {high:.0f} rpm"
        )
    return "" if habits.twist_share else "nothing of the twist is heard"


def _noticed_swept(
    engine: Engine, fresh: Crankshaft, habits: Habits, sharp: Sharpness
) -> dict[str, float]:
    """Return what is noticed of each feature of the lowest resonance, dB."""
    features = [f"resonance: crankshaft {name}" for name in ("frequency", "height", "width")]
    beside = 20 * math.log10(1 + SCATTER_PERCENT / 100)
    noise = np.array([math.hypot(sharp.frequency_db, beside), sharp.height_db, sharp.width_db])
    placement, day = prior_scatter(features, usual=noise**2, stated=np.array([True, False, False]))
    shared = np.array([_warmth_db(engine, fresh, habits), 0.0, 0.0])
    steps = _steps(
        placement, day, shared, sweeps=habits.sweeps, features=3 * _RESONANCES, sharing=0
    )
    return dict(zip(SWEPT, steps.tolist(), strict=True))


def _noticed_at_idle() -> float:
    """Return what is noticed of one order of steady recordings, three placements each, dB."""
    placement, day = prior_scatter(["order"])
    steps = _steps(
        placement, day, np.zeros(1), sweeps=FULL_DAY, features=_IDLE_ORDERS, sharing=_IDLE_ORDERS
    )
    return float(steps[0])


def _steps(
    placement: FloatArray,
    day: FloatArray,
    shared: FloatArray,
    *,
    sweeps: int,
    features: int,
    sharing: int,
) -> FloatArray:
    each_day = placement**2 / sweeps + shared**2
    return Noticeable(
        placed=np.repeat(each_day[:, np.newaxis], FULL_BASELINE, axis=1),
        placement=placement,
        day=day,
        usual=sweeps,
        sharing=sharing,
        features=features,
        shared=shared**2,
    ).step_db()


def _warmth_db(engine: Engine, fresh: Crankshaft, habits: Habits) -> float:
    """Return how far the ring's temperature moves the resonance from day to day, dB."""
    if fresh.viscous:
        return 0.0
    degrees = NOTED_C if habits.damper_noted else UNKNOWN_C / _BOTH_SIDES
    softer = warmer(degrees, percent_per_c=engine.damper.stiffness_percent_per_c)
    then, now = (each.damped_modes.frequency_hz[0] for each in (fresh.with_change(softer), fresh))
    return abs(20 * math.log10(then / now))


def _reached(
    observable: str, course: FloatArray, what: str, grown: FloatArray, noticed_db: float
) -> dict[str, Any]:
    """Return what is noticed of an observable, and how far the ageing has come by then."""
    beyond = np.flatnonzero(np.abs(course) >= noticed_db)
    furthest = float(course[beyond[0] if beyond.size else np.argmax(np.abs(course))])
    sign = math.copysign(1.0, furthest)
    row: dict[str, Any] = {
        "noticed": _shown(observable, sign * noticed_db),
        "unit": "dB" if observable in (HEIGHT, IDLE) else "%",
        "aged_percent": math.nan,
        "why_not": "",
    }
    if not beyond.size:
        moved = _shown(observable, furthest)
        little = f"less than {_HARDLY:g} {row['unit']}"
        how = little if abs(moved) < _HARDLY else f"{moved:+.1f} {row['unit']} at most"
        row["why_not"] = (
            f"not noticed: it changes by {how} up to {_aged(what, grown[-1])}; a change of "
            f"{abs(row['noticed']):.1f} {row['unit']} would be noticed"
        )
        return row
    last = int(beyond[0])
    pair = slice(last - 1, last + 1)
    row["aged_percent"] = float(np.interp(noticed_db, np.abs(course[pair]), grown[pair]))
    return row


def _aged(what: str, percent: float) -> str:
    """Return how far what ages has come, in words; "" for never."""
    if math.isnan(percent):
        return ""
    return f"{percent:.0f} % of the {what}" if what == _BOND else f"{what} {percent:+.0f} %"


def _shown(observable: str, db: float) -> float:
    return db if observable in (HEIGHT, IDLE) else 100 * (10 ** (db / 20) - 1)


def _hours(aged_percent: float, pace_percent: float, every_hours: float) -> float:
    """Return when an ageing of that size is met by a check-up."""
    if math.isnan(aged_percent):
        return math.inf
    return every_hours * math.ceil(abs(aged_percent) / pace_percent * 1000 / every_hours)


def _assumptions(
    engine: Engine, fresh: Crankshaft, habits: Habits, pace_percent: float, sharp: Sharpness | None
) -> Iterator[str]:
    yield (
        f"It ages by {pace_percent:g} % of its stiffness, bond or damping in 1000 h, evenly: "
        f"assumed, nobody can say in advance."
    )
    if engine.damper.renew_hours:
        yield (
            f"Told as far as the damper's renewal at {engine.damper.renew_hours:g} h, the interval "
            f"in the engine file."
        )
    else:
        yield (
            f"No renewal interval of the damper is known, so it is told as far as {WITHIN_H:g} h."
        )
    yield (
        f"Noticed means: called by the next check-up and a second day, in nine cases of ten, after "
        f"a baseline of {FULL_BASELINE} days; check-ups every {habits.every_hours:g} h."
    )
    yield (
        f"Steady recordings at {idle_rpm(engine):.0f} rpm: {FULL_DAY} placements each, scattering "
        f"as the judge expects of a new boat; of the orders those well below the resonance, "
        f"because higher ones move with the least change of speed, too."
    )
    if sharp is not None:
        low, high = swept_range(engine)
        yield (
            f"Check-ups of {habits.sweeps} sweeps of {habits.seconds:g} s, {low:.0f} to {high:.0f} "
            f"rpm, {habits.sensor.kind}, {habits.rate:g} samples a second; the firing order "
            f"{habits.sensor.firing_above_noise_db_hz:g} dB above the noise in 1 Hz beside it."
        )
        yield (
            f"The crank's twist is {100 * habits.twist_share:.0f} % of the amplitude at the "
            f"resonance: how much of it reaches your spot nobody can say in advance."
        )
        yield (
            f"From sweep to sweep a frequency scatters by {SCATTER_PERCENT:g} %: assumed, the "
            f"upper end of what simulated order curves gave; noise alone would make it "
            f"{100 * (10 ** (sharp.frequency_db / 20) - 1):.2f} % at best."
        )
        if not fresh.viscous:
            yield (
                f"The damper's temperature is noted, right to {NOTED_C:g} degrees C."
                if habits.damper_noted
                else f"The damper's temperature is not noted: within {UNKNOWN_C:g} degrees C of "
                f"the baseline's in nine cases of ten."
            )
    example = "a ring that wobbles adds to order 1 as in the model's example; assumed"
    if not fresh.viscous:
        yield f"As the bond slips, {example}."
    if fresh.typical:
        yield f"Typical values stand in for: {'; '.join(fresh.typical)}."
