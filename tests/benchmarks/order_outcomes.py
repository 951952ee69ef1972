"""One invented recording drawn, measured in every way and compared with its truth and bounds.

Bounds: amplitude, the Cramer-Rao bound of the joint least squares of all lines that are there, at
the true phase (Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, sec. 4.2 and
ex. 3.14). Mean speed: Rife & Boorstyn, IEEE Trans. IT-20 (1974), and for a speed that wanders the
Bayesian bound of Van Trees (Detection, Estimation and Modulation Theory I, sec. 2.4) for one who
knows how it wanders.
"""

import math
import time
from dataclasses import dataclass, replace

import awkward_engine
import numpy as np
from awkward_engine import Awkward
from invented_recordings import HALF_ORDERS, HUNTING_HZ, STEADY, Made, World, made
from plain_spectra import PLAIN

from vibetrend.engine import DrivenPart, Engine
from vibetrend.orders import Measurement, measure
from vibetrend.recording import FloatArray, Recording

WRONG = 3e-3
SLIP = 1.5e-4  # a third of a turn within 30 s at 1040 rpm is 6e-4
CLEAR = 4.0  # bounds: orders stronger than this are asked for
SHARED = 4.0  # variance inflation beyond which two lines truly share a frequency
_BELTS_SLIP = 0.01  # an engine's file states ratios without slip
_DETAIL = 4  # points per engine cycle at which the speed's bound weighs the angle

ENGINE = Engine(
    name="invented",
    cylinders=6,
    driven=tuple(
        DrivenPart(name=name, ratio=ratio / (1 - _BELTS_SLIP))
        for name, ratio in zip(("pump", "alternator"), World().belts, strict=True)
    ),
)


@dataclass(frozen=True)
class Case:
    """What recordings of one row are drawn from."""

    world: World | Awkward
    rpm: tuple[float, float] = (1035.0, 1095.0)  # 3x and 1x 3 % and more from mains
    engine: bool = False  # whether `measure` is told of cylinders and belts


@dataclass(frozen=True, eq=False)
class Truth:
    """A recording and what is true of it; amplitudes are rms, all axes together."""

    recording: Recording
    rpm: float
    rms: dict[float, float]  # over this recording
    process: dict[float, float]  # what further recordings have in common
    bound: dict[float, float]  # least standard deviation of each
    shared: frozenset[float]  # orders that truly share their frequency with another line
    rpm_bound: float  # NaN where it is not known


@dataclass(frozen=True)
class Found:
    """What was measured of one order."""

    amplitude: float
    standard_error: float
    visible: bool
    true: float
    process: float
    bound: float
    shared: bool
    folds: bool  # lies above half the sampling rate

    @property
    def clear(self) -> bool:
        return self.true > CLEAR * self.bound and not self.shared

    @property
    def in_bounds(self) -> float:
        return (self.amplitude - self.true) / self.bound

    @property
    def decibels(self) -> float:
        return decibels(self.amplitude, self.true)


@dataclass(frozen=True)
class Outcome:
    """What was found in one recording."""

    seed: int
    off: float  # error of the mean speed, share
    off_error: float  # its stated standard error, share
    off_bound: float
    named: bool  # the true speed is among the candidates
    flags: tuple[str, ...]  # codes of what is a warning or worse
    codes: tuple[str, ...]
    orders: dict[float, Found]
    plain: dict[str, tuple[float, dict[float, float]]]  # speed off, amplitudes
    seconds: float  # of processor time

    @property
    def wrong(self) -> bool:
        return abs(self.off) >= WRONG

    @property
    def slipped(self) -> bool:
        """Whether somewhere the angle is off by a cycle of a strong order: less than `wrong`."""
        return SLIP <= abs(self.off) < WRONG


def truth(case: Case, seed: int) -> Truth:
    """Draw one recording of a case."""
    rpm = np.random.default_rng([17, seed]).uniform(*case.rpm)
    if isinstance(case.world, World):
        return _invented(replace(case.world, rpm=rpm), seed)
    drawn = awkward_engine.drawn(replace(case.world, rpm=rpm), seed)
    return Truth(
        drawn.recording, drawn.rpm, drawn.rms, drawn.process, drawn.bound, frozenset(), math.nan
    )


def measured(case: Case, recording: Recording) -> Measurement:
    """Measure a recording of a case."""
    return measure(recording, engine=ENGINE if case.engine else None)


def outcome(case: Case, seed: int) -> Outcome:
    """Draw one recording and measure it in every way."""
    true = truth(case, seed)
    begun = time.process_time()
    result = measured(case, true.recording)
    seconds = time.process_time() - begun
    speed = result.speed
    columns = ["order", "amplitude", "standard_error", "visible"]
    orders = {
        order: Found(
            amplitude,
            error,
            visible,
            true.rms[order],
            true.process[order],
            true.bound[order],
            order in true.shared,
            order * true.rpm / 60 > true.recording.mean_rate_hz / 2,
        )
        for order, amplitude, error, visible in result.orders[columns].itertuples(index=False)
    }
    plain = {}
    for name, method in PLAIN.items():
        rpm, sizes = method(true.recording)
        plain[name] = rpm / true.rpm - 1, sizes
    return Outcome(
        seed=seed,
        off=speed.rpm / true.rpm - 1,
        off_error=speed.standard_error_rpm / true.rpm,
        off_bound=true.rpm_bound / true.rpm,
        named=any(abs(rpm / true.rpm - 1) < WRONG for rpm in speed.candidates_rpm),
        flags=tuple(note.code for note in result.quality if note.severity != "note"),
        codes=tuple(note.code for note in result.quality),
        orders=orders,
        plain=plain,
        seconds=seconds,
    )


def decibels(found: float, true: float) -> float:
    """Return 20 lg of a ratio; an amplitude of 0 counts as 60 dB too low."""
    return 20 * math.log10(max(found / true, 1e-3))


def _invented(world: World, seed: int) -> Truth:
    drawn = made(world, seed)
    inflation = _inflation(drawn, world)
    return Truth(
        recording=drawn.recording,
        rpm=drawn.rpm,
        rms=drawn.rms,
        process=drawn.rms,
        bound={k: drawn.rms_bound * math.sqrt(v) for k, v in inflation.items()},
        shared=frozenset(k for k, v in inflation.items() if v > SHARED),
        rpm_bound=_speed_bound_rpm(drawn, world),
    )


def _inflation(drawn: Made, world: World) -> dict[float, float]:
    """Return by how much the other lines raise the least variance of each order."""
    if drawn.count > 100_000:  # sound: nothing folds, nothing is near
        return dict.fromkeys(HALF_ORDERS.tolist(), 1.0)
    turns = [place * drawn.turns for place in (*HALF_ORDERS, *world.belts)]
    if world.mains_hz:
        turns.append(world.mains_hz * drawn.times)
    unit = np.exp(2j * math.pi * np.array(turns))
    design = np.vstack([unit.real, unit.imag, np.ones(drawn.count)])
    least = np.diag(np.linalg.pinv(design @ design.T)) * drawn.count / 2
    both = (least[: len(unit)] + least[len(unit) : -1]) / 2  # mean over the line's phase
    return dict(zip(HALF_ORDERS.tolist(), both.tolist(), strict=False))


def _speed_bound_rpm(drawn: Made, world: World) -> float:
    """Return the least standard deviation of the mean speed, rpm.

    Unknown: the start angle and mean speed (nothing known before), the governor's swing and each
    cycle's own speed (Gaussian, of the size they are drawn with).
    """
    running, hertz, seconds = world.running, drawn.rpm / 60, world.seconds
    if running == STEADY:
        return drawn.rpm_bound
    cycle_s = 2 / hertz
    starts = cycle_s * np.arange(math.ceil(seconds / cycle_s))[:, np.newaxis]

    def shapes(at: FloatArray) -> FloatArray:
        swing = 2 * math.pi * HUNTING_HZ * at
        common = [np.ones_like(at), at, np.sin(swing), np.cos(swing)]
        return np.vstack([*common, np.clip(at - starts, 0, cycle_s)])

    points = _DETAIL * len(starts)
    design = shapes((np.arange(points) + 0.5) * seconds / points)
    squares = HALF_ORDERS[:, np.newaxis] ** 2 * drawn.peak**2
    alpha = (2 * math.pi) ** 2 * float(squares.sum()) / (2 * drawn.noise**2)  # 1 / turns^2
    information = design @ design.T * alpha * drawn.count / points
    swing_sd = hertz * running.hunting / (2 * math.pi * HUNTING_HZ) / math.sqrt(2)
    cycle_sd = [hertz * running.cycle_noise] * len(starts)
    known = np.array([math.inf, math.inf, swing_sd, swing_sd, *cycle_sd])
    mean_speed = np.diff(shapes(np.array([0.0, seconds])))[:, 0] / seconds
    variance = mean_speed @ np.linalg.solve(information + np.diag(known**-2.0), mean_speed)
    return float(60 * math.sqrt(variance))
