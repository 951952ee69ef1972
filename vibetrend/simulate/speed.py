"""How an engine turns: governed and nearly steady, never quite; or swept by hand."""

from dataclasses import dataclass

import numpy as np

from vibetrend.recording import FloatArray

_GRID_S = 1e-3  # straight lines between such points are right to 1e-7 turns
_LEVER_UNEVEN = 0.4  # how much faster or slower than its mean a hand moves the lever
_LEVER_MOVES = 6
_DECAY = 1.0  # of a coasting engine's speed over the sweep: e to this power
_CORNER = 0.03  # share of the sweep


@dataclass(frozen=True, kw_only=True)
class Running:
    """How unsteadily an engine runs; a percentage is of the mean speed unless it says otherwise."""

    hunting_percent: float = 0.3  # peak of the governor's slow swing
    hunting_hz: float = 0.3
    drift_percent: float = 0.1  # from the recording's begin to its end
    cycle_noise_percent: float = 0.05  # standard deviation from engine cycle to engine cycle
    breathing_percent: float = (
        2.5  # of an order's amplitude, standard deviation from cycle to cycle
    )


def turns_at(
    times: FloatArray,
    *,
    rpm: float,
    cycle_turns: float,
    running: Running,
    rng: np.random.Generator,
) -> FloatArray:
    """Return the crank's angle at each time, shape (n,), turns, from 0 at time 0.

    Parameters
    ----------
    times : ndarray, shape (n,)
        Seconds from 0 on.
    rpm : float
        Mean speed over the whole time.
    cycle_turns : float
        Turns in an engine cycle: 2 for a four-stroke, 1 for a two-stroke.
    """
    grid = time_grid(float(times[-1]))
    away = deviation(grid, rpm=rpm, cycle_turns=cycle_turns, running=running, rng=rng)
    return turned(times, grid, rpm / 60 * (1 + away - away.mean()))


def time_grid(end: float) -> FloatArray:
    """Return times from 0 to `end`, s, close enough to join a speed by straight lines."""
    return np.linspace(0.0, end, int(end / _GRID_S) + 2)


def deviation(
    grid: FloatArray,
    *,
    rpm: float,
    cycle_turns: float,
    running: Running,
    rng: np.random.Generator,
) -> FloatArray:
    """Return how far the speed is from what it is meant to be, shape as `grid`, parts of it."""
    end = float(grid[-1])
    cycles = int(end * rpm / 60 / cycle_turns) + 2
    cycle_noise = np.interp(grid, np.linspace(0, end, cycles), rng.standard_normal(cycles))
    hunting = np.sin(2 * np.pi * (running.hunting_hz * grid + rng.random()))
    away: FloatArray = (
        running.hunting_percent * hunting
        + running.drift_percent * (grid / end - 0.5)
        + running.cycle_noise_percent * cycle_noise
    ) / 100
    return away


def turned(times: FloatArray, grid: FloatArray, turns_per_s: FloatArray) -> FloatArray:
    """Return the crank's angle at each time, turns from 0 at time 0, of a speed known on a grid."""
    steps = (turns_per_s[1:] + turns_per_s[:-1]) / 2 * np.diff(grid)
    turns: FloatArray = np.interp(times, grid, np.concatenate([[0.0], np.cumsum(steps)]))
    return turns


def swept(
    grid: FloatArray,
    *,
    start_rpm: float,
    end_rpm: float,
    hold_s: float,
    rng: np.random.Generator,
) -> FloatArray:
    """Return the meant speed of a sweep on a grid of times, shape as `grid`, rpm.

    Held at both ends for `hold_s`. In between, up, a lever is moved by hand: never backwards, but
    now faster, now slower. Down, the fuel is cut and the speed decays as friction, part of it
    growing with speed, lets it.
    """
    share = np.clip((grid - hold_s) / (float(grid[-1]) - 2 * hold_s), 0.0, 1.0)
    if end_rpm > start_rpm:
        knots = rng.uniform(1 - _LEVER_UNEVEN, 1 + _LEVER_UNEVEN, _LEVER_MOVES)
        pace = np.interp(share, np.linspace(0, 1, _LEVER_MOVES), knots)
    else:
        pace = np.exp(-_DECAY * rng.uniform(0.8, 1.2) * share)
    # The engine's inertia rounds both corners.
    pace *= np.clip(np.minimum(share, 1 - share) / _CORNER, 0.0, 1.0)
    done = turned(grid, grid, pace)
    speed: FloatArray = start_rpm + (end_rpm - start_rpm) * done / done[-1]
    return speed
