"""From fitted complex amplitudes to the tables of lines that people read."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.special

from vibetrend.orders.breathing import Breathing, breathing, in_blocks
from vibetrend.orders.estimate import INSEPARABLE, Estimate
from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.folding import surely_folded, surely_follows
from vibetrend.orders.lines import BREATHING_ORDERS
from vibetrend.orders.motion import MOVING, Reference, ellipse, leaning, phases
from vibetrend.orders.other_lines import mains_name
from vibetrend.orders.signal import LEAST_GAIN, fold
from vibetrend.recording import FloatArray, Kind

COLUMNS = [
    "order", "frequency_hz", "amplitude", "standard_error", "floor", "unit",
    "variation_percent", "velocity_mm_s", "displacement_um",
    "phase_deg", "phase_standard_error_deg", "phase_repeats_deg",
    "visible", "reason", "folded_hz", "by_axis", "ellipse",
]  # fmt: skip

_FALSE_VISIBLE = 1e-4  # chance that noise alone makes an order visible


@dataclass(frozen=True, eq=False)
class Tables:
    """One row for each line, columns `COLUMNS` and those named."""

    orders: pd.DataFrame  # in ascending order
    driven: pd.DataFrame  # and `name`: driven parts
    others: pd.DataFrame  # and `follows`, `name` (or None): what else is visible, strongest first
    reference: str | None  # what phases are counted from: "order 3", "tacho"

    def hidden(self, reason: str) -> "Tables":
        """Return the tables of a recording whose speed means nothing: no line of an engine."""
        return Tables(
            orders=_hidden(self.orders, reason),
            driven=_hidden(self.driven, reason),
            others=self.others[self.others["follows"] != "crank"].reset_index(drop=True),
            reference=None,
        )


def tables(
    estimate: Estimate,
    *,
    axes: Sequence[str],
    kind: Kind,
    unit: str,
    reference: Reference | None,
) -> Tables:
    """Return all lines with their uncertainty and how they move.

    `standard_error` is that of the mean of an amplitude that breathes. What breathes more slowly
    than about 3 s takes more than one recording to be known: check-ups show it, this does not.

    Parameters
    ----------
    reference : float, "tacho" or None
        What phases are counted from (:func:`vibetrend.orders.motion.phases`); None: the strongest
        order.
    """
    count, places = len(estimate.orders), estimate.places
    mains = _mains(estimate)
    errors = _errors(estimate, mains)
    rows = [_row(estimate, row, errors, axes, kind, unit) for row in range(len(places))]
    table = pd.DataFrame(rows, columns=COLUMNS)
    table = table.astype({"visible": bool, "reason": object, "ellipse": object})
    shown = table["visible"].to_numpy(bool) & (np.arange(len(table)) < count)
    if reference is None and shown.any():
        reference = float(places[np.argmax(np.where(shown, table["amplitude"], -1.0))])
    if reference is not None:
        found = phases(
            places, estimate.fit.amplitude, errors.phase, known=shown, reference=reference
        )
        table["phase_deg"] = found.degrees
        table["phase_standard_error_deg"] = found.standard_error
        table["phase_repeats_deg"] = found.repeats
    names = np.array([line.name for line in estimate.others], object)
    rest = table[count:].reset_index(drop=True)
    driven = rest.assign(name=names)[names != ""].reset_index(drop=True)
    return Tables(
        orders=table[:count],
        driven=driven,
        others=_others(estimate, rest, mains),
        reference=f"order {reference:g}" if isinstance(reference, float) else reference,
    )


def _hidden(table: pd.DataFrame, reason: str) -> pd.DataFrame:
    phase = [name for name in COLUMNS if name.startswith("phase")]
    table = table.assign(
        visible=False, reason=table["reason"].mask(table["visible"], reason), ellipse=None
    )
    table[phase] = np.nan
    return table


def _others(estimate: Estimate, table: pd.DataFrame, mains: dict[int, str]) -> pd.DataFrame:
    """Return the rows of what is neither an order nor a driven part, and stands clearly out."""
    count = len(estimate.orders)
    own = set(_of_orders(estimate, mains))
    rows = [
        row
        for row in table.index[table["visible"]]
        if not estimate.others[row].name and count + row not in own
    ]
    table = table.loc[rows]
    return (
        table.assign(
            follows=[_follows(estimate, count + row, mains) for row in rows],
            name=pd.Series([mains.get(count + row) for row in rows], rows, object),
        )
        .sort_values("amplitude", ascending=False)
        .reset_index(drop=True)
    )


def _follows(estimate: Estimate, row: int, mains: dict[int, str]) -> str:
    """Return what a line keeps to, as far as the wander of the speed shows it."""
    crank = estimate.others[row - len(estimate.orders)].follows_crank
    if row in mains:
        return "clock"
    if not surely_follows(estimate, row, crank=crank):
        return "either"
    return "crank" if crank else "clock"


def _mains(estimate: Estimate) -> dict[int, str]:
    """Return the names of the rows at mains frequencies, unless they move with the engine."""
    hertz, count = estimate.hertz, len(estimate.orders)
    found = {}
    for row, line in enumerate(estimate.others, count):
        name = mains_name(float(hertz[row]), resolution_hz=1 / estimate.signal.duration)
        moves = line.follows_crank and surely_follows(estimate, row, crank=True)
        if name and not line.name and not moves:
            found[row] = name
    return found


def _row(
    estimate: Estimate,
    row: int,
    errors: "_Errors",
    axes: Sequence[str],
    kind: Kind,
    unit: str,
) -> dict[str, object]:
    signal, hertz = estimate.signal, float(estimate.hertz[row])
    gain = max(signal.rounding_gain(hertz), LEAST_GAIN)
    v = estimate.variance[row] / gain**2
    vector = estimate.fit.amplitude[row] / gain
    power = np.abs(vector) ** 2 / 2
    noise = float(np.sum(v))
    amplitude = float(np.sqrt(max(0.0, float(np.sum(power)) - noise)))
    error = float(errors.amplitude[row] / gain)
    reason = _why_not_visible(estimate, row, hertz, len(v))
    if reason is None and error > amplitude / 2:
        reason = "cannot be told from the noise level"
    moves = reason is None and kind in MOVING
    return {
        "order": float(estimate.places[row]),
        "frequency_hz": hertz,
        "amplitude": amplitude,
        "standard_error": error,
        "floor": float(np.sqrt(noise)),
        "unit": unit,
        "variation_percent": float(errors.variation_percent[row]),
        "velocity_mm_s": 1e3 * amplitude * _to_velocity(hertz, kind),
        "displacement_um": 1e6 * amplitude * _to_velocity(hertz, kind) / (2 * np.pi * hertz),
        "visible": reason is None,
        "reason": reason,
        "folded_hz": fold(hertz, signal.rate) if hertz > signal.nyquist_hz else np.nan,
        "by_axis": {
            axis: float(np.sqrt(max(0.0, p - s))) for axis, p, s in zip(axes, power, v, strict=True)
        },
        "ellipse": ellipse(vector, v, axes=axes) if moves else None,
    }


def _to_velocity(hertz: float, kind: Kind) -> float:
    return {"acceleration": 1 / (2 * np.pi * hertz), "velocity": 1.0}.get(kind, np.nan)


@dataclass(frozen=True, eq=False)
class _Errors:
    """Shape (lines,)."""

    amplitude: FloatArray  # standard error of the rms, all axes together
    variation_percent: FloatArray
    phase: FloatArray  # standard error, rad


def _of_orders(estimate: Estimate, mains: dict[int, str]) -> list[int]:
    """Return the rows found so near to an order that they are mostly its own breathing."""
    places, count = estimate.places, len(estimate.orders)
    return [
        row
        for row, line in enumerate(estimate.others, count)
        if not line.name
        and row not in mains
        and np.abs(places[row] - estimate.orders).min() < BREATHING_ORDERS
    ]


def _errors(estimate: Estimate, mains: dict[int, str]) -> _Errors:
    signal, fit = estimate.signal, estimate.fit
    lines = estimate.lines()
    back = _of_orders(estimate, mains)
    residual = fit.residual + (lines[back].T @ fit.amplitude[back]).real
    alone = estimate.density * signal.rate / len(signal.time)
    size = np.linalg.norm(fit.amplitude, axis=1)

    def breathes(way: ComplexArray) -> Breathing:
        """Return what the amplitude does along a direction, shape (lines, axes)."""
        length = np.linalg.norm(way, axis=1, keepdims=True)
        way = way / np.maximum(length, 1e-300)
        noise = np.sum(np.abs(way) ** 2 * alone, axis=1)
        noise = np.where(length[:, 0] > 0, noise, alone.sum(axis=1))
        crank = estimate.phase.mean_hz()
        blocks = in_blocks(signal.time, residual, lines, way, crank_hz=crank)
        return breathing(blocks, size=size, noise=noise)

    along, across = breathes(fit.amplitude), leaning(fit.amplitude)
    spread = np.sqrt(fit.inflation)
    return _Errors(
        amplitude=along.standard_error * spread / np.sqrt(2),
        variation_percent=100 * along.share,
        phase=breathes(across).standard_error * np.linalg.norm(across, axis=1) * spread,
    )


def _why_not_visible(estimate: Estimate, row: int, hertz: float, axes: int) -> str | None:
    signal = estimate.signal
    above = f"above half the sampling rate, {signal.nyquist_hz:.0f} Hz"
    if signal.rounding_gain(hertz) < LEAST_GAIN:
        return f"above what time stamps rounded to {1e3 * signal.stamp_step:g} ms can show"
    if estimate.fit.inflation[row] > INSEPARABLE:
        return f"shares its frequency with {_neighbour(estimate, row)}"
    if 2 * estimate.strength[row] < scipy.special.chdtri(2 * axes, _FALSE_VISIBLE):
        return above if hertz > signal.nyquist_hz else "cannot be told from the noise level"
    if hertz > signal.nyquist_hz and not surely_folded(estimate, row, hertz):
        shown = fold(hertz, signal.rate)
        return f"{above}; seen folded to {shown:.1f} Hz, where a true line could be"
    return None


def _neighbour(estimate: Estimate, row: int) -> str:
    """Return the line that sampling shows nearest to this one, in words."""
    words = [f"order {k:g}" for k in estimate.orders]
    for line in estimate.others:
        unknown = (
            f"a line at {line.place:.3g} orders"
            if line.follows_crank
            else f"a line at {line.place:.1f} Hz that does not follow the engine"
        )
        words.append(line.name or unknown)
    shown = fold(estimate.hertz, estimate.signal.rate)
    apart = np.abs(shown - shown[row])
    apart[row] = np.inf
    return words[int(np.argmin(apart))]
