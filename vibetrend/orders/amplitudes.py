"""From fitted complex amplitudes to the table of orders that people read."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.special

from vibetrend.orders.estimate import Estimate
from vibetrend.recording import FloatArray, Kind

COLUMNS = [
    "order", "frequency_hz", "amplitude", "standard_error", "floor", "unit",
    "variation_percent", "velocity_mm_s", "visible", "reason", "by_axis",
]  # fmt: skip

_FALSE_VISIBLE = 1e-4  # chance that noise alone makes an order visible
_LEAST_GAIN = 0.5  # of an amplitude left by rounded stamps; with less it is not to be had
_INSEPARABLE = 4.0  # VIF above which two lines are said to share a frequency
_BLOCK_SECONDS = 2.0  # longer than the breathing of a warm engine at idle
_FEWEST_BLOCKS = 5


@dataclass(frozen=True)
class _Neighbour:
    """A line that may share an order's frequency, in words and where sampling shows it."""

    words: str
    hertz: float


def order_table(estimate: Estimate, *, axes: Sequence[str], kind: Kind, unit: str) -> pd.DataFrame:
    """Return one row for each half order, columns `COLUMNS`."""
    return _table(estimate, range(len(estimate.orders)), axes, kind, unit)


def driven_table(estimate: Estimate, *, axes: Sequence[str], kind: Kind, unit: str) -> pd.DataFrame:
    """Return one row for each driven part, columns `COLUMNS` and `name`."""
    first = len(estimate.orders)
    rows = [first + i for i, line in enumerate(estimate.others) if line.name]
    table = _table(estimate, rows, axes, kind, unit)
    table["name"] = [estimate.others[row - first].name for row in rows]
    return table


def _table(
    estimate: Estimate,
    rows: Sequence[int],
    axes: Sequence[str],
    kind: Kind,
    unit: str,
) -> pd.DataFrame:
    variance = estimate.variance
    crank = estimate.phase.mean_hz()
    places = [*estimate.orders, *(line.place for line in estimate.others)]
    result = []
    for row in rows:
        hertz = float(places[row] * crank)
        gain = max(estimate.signal.rounding_gain(hertz), _LEAST_GAIN)
        v = variance[row] / gain**2
        power = np.abs(estimate.fit.amplitude[row] / gain) ** 2 / 2
        noise = float(np.sum(v))
        amplitude = float(np.sqrt(max(0.0, float(np.sum(power)) - noise)))
        error, variation = _errors(estimate, row, variance[row])
        error /= gain
        reason = _why_not_visible(estimate, row, hertz, len(v))
        if reason is None and error > amplitude / 2:
            reason = "cannot be told from the noise level"
        result.append(
            {
                "order": float(places[row]),
                "frequency_hz": hertz,
                "amplitude": amplitude,
                "standard_error": error,
                "floor": float(np.sqrt(noise)),
                "unit": unit,
                "variation_percent": variation,
                "velocity_mm_s": _velocity_mm_s(amplitude, hertz, kind),
                "visible": reason is None,
                "reason": reason,
                "by_axis": {
                    axis: float(np.sqrt(max(0.0, p - s)))
                    for axis, p, s in zip(axes, power, v, strict=True)
                },
            }
        )
    table = pd.DataFrame(result, columns=COLUMNS)
    return table.astype({"visible": bool, "reason": object})


def _errors(estimate: Estimate, row: int, variance: FloatArray) -> tuple[float, float]:
    """Return the standard error of an amplitude and how much it varies, per cent.

    The larger of two errors: what the noise near the line gives, and what the scatter of
    blocks longer than the amplitude's own breathing gives (widened to Student's t).
    """
    c = estimate.fit.amplitude[row]
    size = float(np.linalg.norm(c))
    if size == 0:
        return float(np.sqrt(variance.sum())), np.nan
    direction = c / size
    # rms amplitude is size / sqrt 2; its noise is that of the component along c
    noise = float(np.sqrt(np.sum(np.abs(direction) ** 2 * variance) / 2))
    blocks = int(estimate.signal.duration / _BLOCK_SECONDS)
    if blocks < _FEWEST_BLOCKS:
        return noise, np.nan
    edges = np.linspace(0, len(estimate.signal.time), blocks + 1).astype(int)[:-1]
    leaning = estimate.fit.residual @ direction.conj()
    turned = np.add.reduceat(leaning * estimate.line(row).conj(), edges)
    counts = np.diff(np.append(edges, len(estimate.signal.time)))
    along = size + 2 * turned.real / counts
    spread = float(np.std(along, ddof=1))
    student = float(scipy.special.stdtrit(blocks - 1, 0.975)) / 1.959964
    by_blocks = student * spread / np.sqrt(blocks) / np.sqrt(2)
    own = spread**2 - 2 * noise**2 * blocks
    variation = 100 * np.sqrt(max(0.0, own)) / size
    return max(noise, float(by_blocks)), float(variation)


def _why_not_visible(estimate: Estimate, row: int, hertz: float, axes: int) -> str | None:
    if hertz > estimate.signal.nyquist_hz:
        return f"above half the sampling rate, {estimate.signal.nyquist_hz:.0f} Hz"
    if estimate.signal.rounding_gain(hertz) < _LEAST_GAIN:
        step = 1e3 * estimate.signal.stamp_step
        return f"above what time stamps rounded to {step:g} ms can show"
    if estimate.fit.inflation[row] > _INSEPARABLE:
        return f"shares its frequency with {_neighbour(estimate, row, hertz)}"
    if 2 * estimate.strength[row] < scipy.special.chdtri(2 * axes, _FALSE_VISIBLE):
        return "cannot be told from the noise level"
    return None


def _neighbour(estimate: Estimate, row: int, hertz: float) -> str:
    crank = estimate.phase.mean_hz()
    lines = [_Neighbour(f"order {k:g}", k * crank) for k in estimate.orders]
    for line in estimate.others:
        words = line.name or (
            f"a line at {line.place:.3g} orders"
            if line.follows_crank
            else f"a line at {line.place:.1f} Hz that does not follow the engine"
        )
        lines.append(_Neighbour(words, line.hertz(crank)))
    own = _folded(hertz, estimate.signal.rate)
    others = [line for i, line in enumerate(lines) if i != row]
    return min(others, key=lambda line: abs(_folded(line.hertz, estimate.signal.rate) - own)).words


def _folded(hertz: float, rate: float) -> float:
    """Return the frequency at which sampling at `rate` shows a line."""
    return abs(hertz - rate * round(hertz / rate))


def _velocity_mm_s(amplitude: float, hertz: float, kind: Kind) -> float:
    if kind == "acceleration":
        return 1e3 * amplitude / (2 * np.pi * hertz)
    return 1e3 * amplitude if kind == "velocity" else float("nan")
