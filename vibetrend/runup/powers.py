"""Order curves as powers, from `Curves` or from a stored table, and several sweeps pooled.

Power (amplitude squared) is what the fits work with. It needs no phase, so a wrong crank angle
common to all orders does no harm; it is the same sum over axes whatever way the phone lay; and the
noise it holds is subtracted without bias.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from vibetrend.recording import FloatArray
from vibetrend.runup.curves import LOG_STEP, Curves


@dataclass(frozen=True, eq=False)
class Powers:
    """K orders at M neighbouring speeds of the grid, NaN where a sweep does not show an order."""

    orders: FloatArray  # (K,) rising
    first: int  # number of the first speed of the grid
    power: FloatArray  # (K, M)
    error: FloatArray  # (K, M) standard error of the amplitude
    floor: FloatArray  # (K, M) amplitude that noise alone would give
    sweeps: int = 1  # pooled in it

    def variance(self, power: FloatArray) -> FloatArray:
        """Return the variance of `power`, (K, M), if `power` is the true one.

        The part that grows with the amplitude, and the noise's own.
        """
        return np.asarray(4 * np.maximum(power, 0.0) * self.error**2 + self.floor**4)

    @property
    def log_speed(self) -> FloatArray:
        """Natural logarithm of the speeds in turns per second, shape (M,)."""
        steps = self.first + np.arange(self.power.shape[1])
        return np.asarray(steps * LOG_STEP - np.log(60.0))

    @property
    def log_frequency(self) -> FloatArray:
        """Natural logarithm of the frequency in Hz, shape (K, M)."""
        return np.log(self.orders)[:, np.newaxis] + self.log_speed


def powers(curves: Curves | pd.DataFrame) -> Powers:
    """Return the powers of order curves, or of the table they were stored as.

    Parameters
    ----------
    curves : Curves or DataFrame
        A table has columns `order`, `speed_rpm`, `amplitude`, `standard_error` and may have
        `floor`; without it three axes of like noise are assumed.
    """
    table = curves.table() if isinstance(curves, Curves) else curves
    order, speed, amplitude, error = (
        table[name].to_numpy(dtype=float)
        for name in ("order", "speed_rpm", "amplitude", "standard_error")
    )
    floor = table["floor"].to_numpy(dtype=float) if "floor" in table else error * np.sqrt(6.0)
    known = np.isfinite(amplitude) & np.isfinite(error) & np.isfinite(floor) & (speed > 0)
    orders, row = np.unique(order[known], return_inverse=True)
    step = np.rint(np.log(speed[known]) / LOG_STEP).astype(int)
    first = int(step.min()) if step.size else 0
    shape = (orders.size, int(step.max()) - first + 1 if step.size else 0)
    cells = row, step - first

    def laid(values: FloatArray) -> FloatArray:
        grid = np.full(shape, np.nan)
        grid[cells] = values[known]
        return grid

    return Powers(orders, first, laid(amplitude**2), laid(error), laid(floor))


def pooled(sweeps: Sequence[Powers]) -> Powers:
    """Return the mean of several sweeps, each first brought to the common level.

    The error of the mean is what the sweeps' own errors make of it, or what they scatter about
    each other by where that is more.
    """
    sweeps = [sweep for sweep in sweeps if sweep.power.size] or list(sweeps[:1])
    if len(sweeps) == 1:
        return sweeps[0]
    orders, first, laid = on_one_grid(sweeps)
    power, error, floor = laid
    scale = np.exp(-_gains(power))[:, np.newaxis, np.newaxis]
    power, error, floor = power * scale, error * np.sqrt(scale), floor * np.sqrt(scale)
    count = np.isfinite(power).sum(axis=0)
    some = np.maximum(count, 1)

    def mean(values: FloatArray) -> FloatArray:
        return np.where(count > 0, np.nansum(values, axis=0) / some, np.nan)

    middle = mean(power)
    error, floor = np.sqrt(mean(error**2) / some), (mean(floor**4) / some) ** 0.25
    result = Powers(orders, first, middle, error, floor, len(sweeps))
    scatter = mean((power - middle) ** 2) / np.maximum(count - 1, 1)  # variance of the mean
    with np.errstate(divide="ignore", invalid="ignore"):
        excess = np.where(count > 1, scatter / result.variance(middle), np.nan)
    # A scatter from two or three sweeps is uncertain cell by cell: one for each order.
    worse = np.sqrt([max(1.0, _mean(each)) for each in excess])
    return replace(result, error=error * worse[:, np.newaxis], floor=floor * worse[:, np.newaxis])


def _mean(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else 1.0


def gain(power: FloatArray, against: FloatArray) -> float:
    """Return the natural logarithm of how much more powerful one sweep is than another."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(power / against)
    ratio = ratio[np.isfinite(ratio)]
    return float(np.median(ratio)) if ratio.size else 0.0


def _gains(power: FloatArray) -> FloatArray:
    """Return each sweep's gain, natural logarithm of power, shape (S,); their mean is 0."""
    gains = np.array([gain(each, power[0]) for each in power])
    return np.asarray(gains - gains.mean())


def on_one_grid(sweeps: Sequence[Powers]) -> tuple[FloatArray, int, FloatArray]:
    """Return all orders, the first step, and power, error and floor, each (S, K, M)."""
    orders = np.unique(np.concatenate([sweep.orders for sweep in sweeps]))
    first = min(sweep.first for sweep in sweeps)
    end = max(sweep.first + sweep.power.shape[1] for sweep in sweeps)
    laid = np.full((3, len(sweeps), orders.size, end - first), np.nan)
    for number, sweep in enumerate(sweeps):
        rows = np.searchsorted(orders, sweep.orders)
        at = slice(sweep.first - first, sweep.first - first + sweep.power.shape[1])
        for kind, values in enumerate((sweep.power, sweep.error, sweep.floor)):
            laid[kind, number, rows, at] = values
    return orders, first, laid
