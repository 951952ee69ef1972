"""An invented engine that does what simulators forget, with known truth.

It shares no code with the estimator nor with the other generators. Everything is made on a fine
even grid, passed through the mount's resonance and the phone's own roll-off, and only then read at
the phone's sample times. Each awkward thing is a field of `Awkward` and can be switched off.

The truth of an order k is its coherent amplitude with the crank's smooth angle as reference, as
the recording holds it, after mount and phone. With C_k the excitation's and H the path's response,

    process mean     A_k = C_k <H(k f(t))>, over the recorded time, C_k an expectation    (1)
    this recording   least squares of what the engine alone gave, on the fine grid        (2)

(1) takes the path as quick beside the hunting; (2) does not, and holds the cycles as they came.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.recording import FloatArray, Kind, Recording

ComplexArray = NDArray[np.complex128]

ORDERS = np.arange(1, 25) / 2
FIRING = 3.0
_CYLINDERS = 6
_CYCLE_TURNS = 2.0
_FINE_HZ = 4000.0  # of the grid, unless sound is sampled faster
_MARGIN_S = 1.0  # made before and after what is recorded: filters ring there
_PULSE_TURNS = 0.03  # a pulse grows and dies as a exp(-a / this)


@dataclass(frozen=True)
class Pace:
    """How unsteadily an engine runs, shares of its mean speed."""

    hunting: float = 0.0  # peak; 0.15 to 0.6 Hz, drawn
    drift: float = 0.0  # from beginning to end
    cycle_noise: float = 0.0  # standard deviation from engine cycle to engine cycle


STEADY = Pace()
MILD = Pace(0.002, 0.002, 0.0005)
HUNTING = Pace(0.01, 0.005, 0.001)


@dataclass(frozen=True)
class Awkward:
    """What a recording is drawn from; the firing order's excitation has a peak of 1 m/s^2."""

    pace: Pace = MILD
    rpm: float = 1040.0
    seconds: float = 30.0
    cn0_db: float = 35.0  # firing order on its loudest axis over the white noise, dB-Hz
    tag_error: float = 0.03  # the tag is off by up to this share
    tag_factor: float = 1.0  # and wrong by this factor

    # The engine
    running: bool = True
    stops_s: float = math.inf  # it stops then
    pulses: bool = True  # torque pulses and unbalance; else half orders 6 to 30 dB below 3
    uneven: float = 0.05  # standard deviation of a pulse's size, cylinders and cycles alike
    misfires: float = 0.005  # share of pulses that hardly come
    breathing: float = 0.0  # standard deviation of amplitudes, share
    breathing_s: float = 1.0  # their correlation time, exponential

    # What else is aboard
    rattle_db: float = -math.inf  # broadband bursts at the gears, mean density over the white noise
    belts: tuple[float, ...] = (1.9013, 2.3718)  # 6 to 20 dB below the firing order
    creep: float = 0.0005  # a belt slips more by this share from beginning to end
    whine: float = 0.0  # order of the alternator's whine, 15 dB below; 0: none
    mains_hz: float = 50.0  # with its 2nd and 3rd multiple; 0: none
    second: float = 0.0  # another engine, off in speed by this share; 0: none
    second_db: float = 10.0  # and so far below

    # The way to the sensor, and its clock
    mount: bool = True  # a resonance near an order on each axis
    roll_off: float = 0.35  # the phone's corner, share of the rate; 0: it passes everything
    coloured: bool = False  # noise also 1 / f, and in three bumps 9 dB high
    rate: float = 400.0
    axes: int = 3
    kind: Kind = "acceleration"
    jitter: float = 0.1  # standard deviation, share of a sampling interval
    stamp_s: float = 0.0  # stamps are rounded to whole multiples of this
    drops: float = 0.0  # share of samples never stored
    gap_s: tuple[float, float] = (0.0, 0.0)  # from, to: nothing was stored


@dataclass(frozen=True, eq=False)
class Drawn:
    """A recording and what is true of it. Amplitudes are rms, all axes together."""

    recording: Recording
    rpm: float  # mean between first and last sample
    process: dict[float, float]  # of each order: the process mean, Eq. 1
    rms: dict[float, float]  # of each order: this recording's, Eq. 2
    bound: dict[float, float]  # least standard deviation of each order's amplitude
    turns: FloatArray  # the crank's smooth angle at each sample


def drawn(world: Awkward, seed: int) -> Drawn:
    """Draw one recording."""
    rng = np.random.default_rng([4071, seed])
    fine = max(_FINE_HZ, world.rate if world.kind == "sound" else 0.0)
    grid = np.arange(-_MARGIN_S, world.seconds + _MARGIN_S, 1 / fine)
    hertz = world.rpm / 60
    angle = _turned(grid, hertz, world.pace, world.seconds, rng)
    made, sizes = _engine(world, grid, angle, rng)
    path = _Path(world, hertz, rng)
    felt = path.through(made, fine)
    felt *= (grid < world.stops_s) * world.running
    rest = path.through(_others(world, grid, angle, rng), fine)

    times = _times(world, rng)
    recorded = (grid >= times[0]) & (grid <= times[-1])
    speed = np.gradient(angle, 1 / fine)[recorded][::40]
    passed = np.array([path.response(order * speed).mean(axis=1) for order in ORDERS])
    process = sizes.T * passed  # Eq. 1
    loudest = float(np.abs(process[ORDERS == FIRING]).max())
    white = loudest**2 / 2 / 10 ** (world.cn0_db / 10)

    colour = _Colour(world, rng)
    rest += colour.noise(white, len(grid), fine, world.axes, rng)
    turns = _read(angle[np.newaxis], grid[0], fine, times)[:, 0]
    samples = _read(felt + rest, grid[0], fine, times)
    samples += math.sqrt(white * world.rate / 2) * rng.standard_normal(samples.shape)
    bursts = np.exp(-((3 * turns) % 1) / 0.1)
    bursts *= math.sqrt(10 ** (world.rattle_db / 10) * white * world.rate / 2 / (bursts**2).mean())
    samples += bursts[:, np.newaxis] * rng.standard_normal(samples.shape)
    if world.kind == "acceleration":
        samples[:, -1] += 9.81

    step = max(1, int(fine / 1000))
    own = _least_squares(angle[recorded][::step], felt[:, recorded][:, ::step])  # Eq. 2
    density = white * (1 + colour.extra(ORDERS * hertz) + 10 ** (world.rattle_db / 10))
    tag = world.rpm * world.tag_factor * (1 + world.tag_error * rng.uniform(-1, 1))
    return Drawn(
        recording=_recording(world, times, samples, tag),
        rpm=float(60 * (turns[-1] - turns[0]) / (times[-1] - times[0])),
        process=_by_order(np.sqrt((np.abs(process) ** 2).sum(axis=1) / 2)),
        rms=_by_order(np.sqrt((np.abs(own) ** 2).sum(axis=1) / 2)),
        bound=_by_order(np.sqrt(density * world.rate / 2 / len(times))),
        turns=turns,
    )


def _by_order(values: FloatArray) -> dict[float, float]:
    return dict(zip(ORDERS.tolist(), values.tolist(), strict=True))


def _turned(
    grid: FloatArray, hertz: float, pace: Pace, seconds: float, rng: np.random.Generator
) -> FloatArray:
    """Return the angle, turns: the speed added up, the mean speed true over the whole."""
    swing = 2 * math.pi * rng.uniform(0.15, 0.6)
    speed = 1 + pace.hunting * np.sin(swing * grid + rng.uniform(0, 2 * math.pi))
    speed += pace.drift * (grid / seconds - 0.5)
    cycle = np.floor((grid - grid[0]) * hertz / _CYCLE_TURNS).astype(int)
    speed += pace.cycle_noise * rng.standard_normal(cycle[-1] + 1)[cycle]
    steps = hertz * (speed[1:] + speed[:-1]) / 2 * np.diff(grid)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _engine(
    world: Awkward, grid: FloatArray, angle: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, ComplexArray]:
    """Return the excitation (axes, n) and the expected C_k of each order, (axes, orders)."""
    sizes = np.zeros((world.axes, ORDERS.size), complex)
    if not world.pulses:
        below = np.where(ORDERS == FIRING, 0.0, rng.uniform(6, 30, ORDERS.size))
        way = rng.uniform(0.1, 1, sizes.shape)
        way /= way.max(axis=0)
        sizes += 10 ** (-below / 20) * way * _starts(sizes.shape, rng)
        return _cosines(world, grid, angle, sizes, rng), sizes

    way = rng.uniform(0.3, 1, world.axes) * rng.choice([-1.0, 1.0], world.axes)
    way /= np.abs(way).max()
    moving = np.isin(ORDERS, [1.0, 2.0])  # unbalance and what moves to and fro
    sizes[:, moving] = rng.uniform(0.1, 0.3, (world.axes, 2)) * _starts((world.axes, 2), rng)
    made = _cosines(world, grid, angle, sizes, rng)

    scale = abs((1 / _PULSE_TURNS + 2j * math.pi * FIRING) ** 2) / _CYLINDERS
    expected = 1 + world.uneven * rng.standard_normal(_CYLINDERS)
    cycles = int(angle[-1] / _CYCLE_TURNS) + 3
    force = np.zeros(len(grid))
    for number, mean in enumerate(expected):
        fires = _CYCLE_TURNS * number / _CYLINDERS
        each = mean * (1 + world.uneven * rng.standard_normal(cycles))
        each[rng.random(cycles) < world.misfires] *= 0.1
        since = angle - fires
        cycle = np.floor(since / _CYCLE_TURNS)
        after = since - _CYCLE_TURNS * cycle
        force += each[cycle.astype(int) + 1] * after * np.exp(-after / _PULSE_TURNS)
        pulse = mean * (1 - 0.9 * world.misfires) / (1 / _PULSE_TURNS + 2j * math.pi * ORDERS) ** 2
        sizes += np.outer(way, scale * pulse * np.exp(-2j * math.pi * ORDERS * fires))
    force *= scale * _breathing(world, grid, rng)
    return made + np.outer(way, force - force.mean()), sizes


def _cosines(
    world: Awkward,
    grid: FloatArray,
    angle: FloatArray,
    sizes: ComplexArray,
    rng: np.random.Generator,
) -> FloatArray:
    made = np.zeros((world.axes, len(grid)))
    for order, size in zip(ORDERS, sizes.T, strict=True):
        if size.any():
            unit = np.exp(2j * math.pi * order * angle) * _breathing(world, grid, rng)
            made += np.outer(size.real, unit.real) - np.outer(size.imag, unit.imag)
    return made


def _breathing(world: Awkward, grid: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return a factor about 1 whose correlation falls off exponentially (Ornstein-Uhlenbeck)."""
    if not world.breathing:
        return np.ones(len(grid))
    every = min(0.02, world.breathing_s / 10)
    keep = math.exp(-every / world.breathing_s)
    value = rng.standard_normal()
    values = [value]
    for kick in math.sqrt(1 - keep**2) * rng.standard_normal(int(np.ptp(grid) / every) + 2):
        value = keep * value + kick
        values.append(value)
    at = grid[0] + every * np.arange(len(values))
    return 1 + world.breathing * np.interp(grid, at, values)


def _others(
    world: Awkward, grid: FloatArray, angle: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Return what is not the engine itself, (axes, n)."""
    made = np.zeros((world.axes, len(grid)))

    def add(turns: FloatArray, low_db: float, high_db: float) -> None:
        size = 10 ** (-rng.uniform(low_db, high_db, world.axes) / 20)
        size = size * _starts(size.shape, rng)
        unit = np.exp(2j * math.pi * turns)
        made[:] += np.outer(size.real, unit.real) - np.outer(size.imag, unit.imag)

    slipping = angle - world.creep / 2 * angle**2 / angle[-1]
    for ratio in world.belts if world.running else ():
        add(ratio * slipping, 6, 20)
    if world.whine:
        add(world.whine * slipping, 12, 18)
    if world.mains_hz:
        line = world.mains_hz + rng.uniform(-0.02, 0.02)
        for multiple, low in ((1, 10), (2, 20), (3, 15)):
            add(multiple * line * grid, low, low + 10)
    if world.second:
        other = _turned(grid, world.rpm / 60 * (1 + world.second), MILD, world.seconds, rng)
        for order in ORDERS[ORDERS <= 9]:
            below = world.second_db + (0 if order == FIRING else rng.uniform(6, 25))
            add(order * other, below, below + 6)
    return made


def _starts(shape: tuple[int, ...], rng: np.random.Generator) -> ComplexArray:
    phases: ComplexArray = np.exp(2j * math.pi * rng.random(shape))
    return phases


class _Path:
    """The mount's resonance on each axis, then the phone's own low pass (two poles)."""

    def __init__(self, world: Awkward, hertz: float, rng: np.random.Generator) -> None:
        near = rng.choice([2.0, 3.0, 4.5, 6.0], world.axes) * rng.uniform(0.85, 1.15, world.axes)
        self._peaks = hertz * near
        self._damping = rng.uniform(0.05, 0.12, world.axes)
        self._mount = world.mount
        self._corner = world.roll_off * world.rate

    def response(self, hertz: FloatArray) -> ComplexArray:
        """Return H, shape (axes, n)."""
        total = np.ones((len(self._peaks), len(hertz)), complex)
        if self._mount:
            r = hertz / self._peaks[:, np.newaxis]
            total *= 0.3 + 0.7 / (1 - r**2 + 2j * self._damping[:, np.newaxis] * r)
        if self._corner:
            r = hertz / self._corner
            total /= 1 - r**2 + 1j * math.sqrt(2) * r
        return total

    def through(self, made: FloatArray, fine: float) -> FloatArray:
        count = 1 << (made.shape[1] - 1).bit_length()
        response = self.response(np.fft.rfftfreq(count, 1 / fine))
        felt = np.fft.irfft(np.fft.rfft(made, count) * response, count)[:, : made.shape[1]]
        return np.ascontiguousarray(felt)


class _Colour:
    """Noise beyond the white, as a share of the white density."""

    def __init__(self, world: Awkward, rng: np.random.Generator) -> None:
        self._on = world.coloured
        self._top = 0.45 * world.rate
        self._bumps = rng.uniform(15, self._top, 3)

    def extra(self, hertz: FloatArray) -> FloatArray:
        if not self._on:
            return np.zeros(len(hertz))
        total = 20 / np.maximum(hertz, 1)
        for bump in self._bumps:
            total += 7 / (1 + ((hertz - bump) / (0.08 * bump)) ** 2)
        return np.where(hertz < self._top, total, 0.0)

    def noise(
        self, white: float, count: int, fine: float, axes: int, rng: np.random.Generator
    ) -> FloatArray:
        if not self._on:
            return np.zeros((axes, count))
        shape = np.sqrt(self.extra(np.fft.rfftfreq(count, 1 / fine)) * white * fine / 2)
        return np.fft.irfft(np.fft.rfft(rng.standard_normal((axes, count))) * shape, count)


def _times(world: Awkward, rng: np.random.Generator) -> FloatArray:
    count = round(world.seconds * world.rate)
    # No sample overtakes the one before.
    off = np.clip(world.jitter * rng.standard_normal(count), -0.49, 0.49)
    times: FloatArray = (np.arange(count) + off) / world.rate
    start, end = world.gap_s
    kept = (rng.random(count) >= world.drops) & ((times < start) | (times >= end))
    return times[kept]


def _read(values: FloatArray, start: float, fine: float, times: FloatArray) -> FloatArray:
    """Return rows at times between grid points, (n, rows): cubics through four points (Lagrange).

    At 200 Hz a cubic on the grid of 4 kHz is off by 2e-4 of a line.
    """
    place = (times - start) * fine
    first = np.floor(place + 1e-9).astype(int)
    u = place - first
    weights = (
        -u * (u - 1) * (u - 2) / 6,
        (u + 1) * (u - 1) * (u - 2) / 2,
        -(u + 1) * u * (u - 2) / 2,
        (u + 1) * u * (u - 1) / 6,
    )
    read = sum(
        w * values[:, first + shift] for shift, w in zip((-1, 0, 1, 2), weights, strict=True)
    )
    return np.asarray(read).T.copy()


def _least_squares(turns: FloatArray, felt: FloatArray) -> ComplexArray:
    """Return each order's complex amplitude on each axis, (orders, axes)."""
    unit = np.exp(2j * math.pi * np.outer(turns, ORDERS))
    design = np.hstack([unit.real, -unit.imag, np.ones((len(turns), 1))])
    found = np.linalg.solve(design.T @ design, design.T @ felt.T)
    count = ORDERS.size
    complex_sizes: ComplexArray = found[:count] + 1j * found[count : 2 * count]
    return complex_sizes


def _recording(world: Awkward, times: FloatArray, samples: FloatArray, tag: float) -> Recording:
    even = not (world.jitter or world.stamp_s or world.drops or world.gap_s[1])
    if even:
        return Recording(samples, sample_rate=world.rate, kind=world.kind, rpm=tag)
    stamps = np.round(times / world.stamp_s) * world.stamp_s if world.stamp_s else times
    return Recording(samples, times=stamps, kind=world.kind, rpm=tag)
