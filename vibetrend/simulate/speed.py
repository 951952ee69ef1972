"""How a governed engine turns: nearly steady, never quite."""

from dataclasses import dataclass

import numpy as np

from vibetrend.recording import FloatArray

_GRID_S = 1e-3  # straight lines between such points are right to 1e-7 turns


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
    end = float(times[-1])
    grid = np.linspace(0.0, end, int(end / _GRID_S) + 2)
    cycles = int(end * rpm / 60 / cycle_turns) + 2
    cycle_noise = np.interp(grid, np.linspace(0, end, cycles), rng.standard_normal(cycles))
    hunting = np.sin(2 * np.pi * (running.hunting_hz * grid + rng.random()))
    deviation = (
        running.hunting_percent * hunting
        + running.drift_percent * (grid / end - 0.5)
        + running.cycle_noise_percent * cycle_noise
    ) / 100
    speed = rpm / 60 * (1 + deviation - deviation.mean())
    steps = (speed[1:] + speed[:-1]) / 2 * np.diff(grid)
    turns: FloatArray = np.interp(times, grid, np.concatenate([[0.0], np.cumsum(steps)]))
    return turns
