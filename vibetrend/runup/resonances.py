"""The resonances of a sweep as a table, and what there is to doubt about them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.recording import Note
from vibetrend.runup.aligning import MOST_SHIFT, Shift, align, level_of
from vibetrend.runup.curves import Curves
from vibetrend.runup.finding import Resonance, find
from vibetrend.runup.fitting import Fit
from vibetrend.runup.naming import Cause, Place, cause, excitable
from vibetrend.runup.powers import Powers, pooled, powers
from vibetrend.runup.temperature import doubt, warmth

_MOST_OTHER_SHIFT = 0.08  # of ln f; beyond it a neighbour has been taken for it
_SAME = 0.05  # of ln f: how far apart a peak and where the laid curves put it may be
COLUMNS = (
    *("order", "speed_rpm", "frequency_hz", "standard_error_hz"),
    *("damping_ratio", "damping_standard_error", "height", "height_standard_error", "width_rpm"),
    *("name", "cause", "orders_seen"),
)
SHIFT_COLUMNS = ("shift_percent", "shift_standard_error", "height_change_db", "width_ratio")
_DB = 20 / np.log(10)

_NEAR_NODE = (
    "The tacho sits at the flywheel, near the node of the crank's twisting: it shows about a fifth "
    "of the twist at the nose, so a peak missing there is no proof. A tacho at the nose shows more."
)
_NO_RESONANCE = (
    "No order shows a resonance in this sweep. It may lie at another speed, or hide in the noise: "
    "sweep slowly through all speeds that the maker allows without load."
)


@dataclass(frozen=True, eq=False)
class Named:
    """A resonance with the name it keeps, and why it is not called the crankshaft's."""

    resonance: Resonance
    name: str
    cause: Cause
    why_unknown: str

    @property
    def log_frequency(self) -> float:
        """Natural logarithm of the natural frequency in Hz."""
        return float(np.log(self.resonance.mode.frequency_hz))


@dataclass(frozen=True, eq=False)
class Reference:
    """The baseline's curves, and the resonances they show."""

    pool: Powers
    named: list[Named]
    excited: frozenset[float] | None

    def shifts(self, sweep: Powers) -> list[tuple[Named, Shift]]:
        """Return how far each of them that a sweep reaches has moved."""
        level = level_of(self.pool, sweep)
        shifts = []
        for named in self.named:
            crank = named.cause == "crankshaft"
            moved = align(
                named.resonance,
                self.pool,
                sweep,
                level=level,
                excited=self.excited if crank else None,
                most=MOST_SHIFT if crank else _MOST_OTHER_SHIFT,
            )
            if moved is not None:
                shifts.append((named, moved))
        return shifts

    @property
    def own_share(self) -> float:
        """Return the baseline's variance beside a sweep's, in a shift of the two."""
        return 1 / self.pool.sweeps


def reference(
    sweeps: Sequence[Curves | pd.DataFrame],
    *,
    engine: Engine | None = None,
    excited: frozenset[float] | None = None,
    tacho_at: Place | None = None,
) -> Reference:
    """Return what several sweeps of one baseline show together, each resonance with its name."""
    pool = pooled([powers(sweep) for sweep in sweeps])
    may = excitable(engine) if excited is None else excited
    named = []
    for resonance in find(pool):
        what, why = cause(resonance, pool, excited=may, tacho_at=tacho_at)
        near = f"near {resonance.mode.frequency_hz:.0f} Hz"
        name = f"crankshaft {near}" if what == "crankshaft" else near
        named.append(Named(resonance, name, what, why))
    return Reference(pool, named, may)


def resonances(
    curves: Curves | pd.DataFrame,
    *,
    engine: Engine | None = None,
    excited: frozenset[float] | None = None,
    tacho_at: Place | None = None,
    baseline: Sequence[Curves | pd.DataFrame] = (),
    damper_c: float | None = None,
    baseline_damper_c: float | None = None,
) -> pd.DataFrame:
    """Return the resonances that a sweep's orders show.

    Parameters
    ----------
    curves : Curves or DataFrame
        Of one sweep, or the table they were stored as.
    engine : Engine, optional
        Says which orders can twist its crank, unless `excited` does, and how its rubber warms.
    excited : set of float, optional
        The orders that can excite the crankshaft's own mode.
    tacho_at : {"nose", "flywheel"}, optional
        Where a tacho sat that the curves come from.
    baseline : sequence of Curves or DataFrame
        Earlier sweeps of the same series. Names are then the baseline's, and each resonance says
        how far it has moved.
    damper_c, baseline_damper_c : float, optional
        Temperature of the damper's ring now and (mean) at the baseline, degrees Celsius.

    Returns
    -------
    DataFrame
        For each resonance, lowest first, a row for all orders together (`order` NaN) and one for
        each order that shows it by itself. `frequency_hz` is the natural frequency, `speed_rpm`
        where the order meets it (the critical speed); the peak of a lightly damped resonance lies
        there within damping^2. `damping_ratio` is half the half-power width over the frequency.
        `height` is the rms amplitude that the resonance alone gives at its natural frequency,
        `width_rpm` its half-power width. `cause` is "crankshaft" or "unknown", `orders_seen` the
        orders with a row. With a baseline also `shift_percent` of the frequency, what the damper's
        temperature explains taken off, `shift_standard_error` with the temperature's part in it,
        `height_change_db` against the surroundings, `width_ratio`. NaN where there is no value.
    """
    sweep = powers(curves)
    before = None
    if baseline:
        before = reference(baseline, engine=engine, excited=excited, tacho_at=tacho_at)
    now = reference([curves], engine=engine, excited=excited, tacho_at=tacho_at)
    warm = warmth(damper_c, baseline_damper_c, engine=engine)
    rows: list[dict[str, Any]] = []
    for found, named, shift in _matched(now, before, sweep):
        moved = dict.fromkeys(SHIFT_COLUMNS, np.nan)
        if shift is not None and before is not None:
            error = shift.error * np.sqrt(1 + before.own_share)
            correction = warm.shift_percent if named.cause == "crankshaft" else 0.0
            moved = {
                "shift_percent": 100 * float(np.expm1(shift.shift)) - correction,
                "shift_standard_error": float(np.hypot(100 * error, warm.error_percent)),
                "height_change_db": _DB * shift.height,
                "width_ratio": float(np.exp(shift.width)),
            }
        rows += [
            {**row, "name": named.name, "cause": named.cause, **(moved if before else {})}
            for row in _rows(found, named, shift)
        ]
    columns = [*COLUMNS, *(SHIFT_COLUMNS if before else ())]
    return pd.DataFrame(rows, columns=columns)


_Match = tuple[Resonance | None, Named, Shift | None]


def _matched(now: Reference, before: Reference | None, sweep: Powers) -> list[_Match]:
    """Set each resonance beside the baseline's it is, lowest first."""
    if before is None:
        return [(named.resonance, named, None) for named in now.named]
    left = list(now.named)
    matches: list[tuple[float, _Match]] = []
    for named, shift in before.shifts(sweep):
        there = named.log_frequency + shift.shift
        alike = [one for one in left if one.cause == named.cause]
        near = min(alike, key=lambda one: abs(one.log_frequency - there), default=None)
        if near is None or abs(near.log_frequency - there) > _SAME:
            matches.append((there, (None, named, shift)))
            continue
        left.remove(near)
        apart = abs(near.log_frequency - there)
        unsure = float(np.hypot(shift.error, near.resonance.joint.log_frequency_error))
        if apart > 3 * unsure:  # the peak itself contradicts: the truth may be either
            shift = replace(shift, error=float(np.hypot(shift.error, apart)))
        matches.append((there, (near.resonance, named, shift)))
    matches += [(one.log_frequency, (one.resonance, one, None)) for one in left]
    return [match for _, match in sorted(matches, key=lambda each: each[0])]


def _rows(found: Resonance | None, named: Named, shift: Shift | None) -> list[dict[str, Any]]:
    """Return the row of all orders together, then those of each order."""
    if found is None:  # seen only by laying the curves over the baseline's
        assert shift is not None
        mode, joint = named.resonance.mode, named.resonance.joint
        hz, damping = mode.frequency_hz * np.exp(shift.shift), mode.damping * np.exp(shift.width)
        errors = (
            hz * float(np.hypot(shift.error, joint.log_frequency_error)),
            damping * float(np.hypot(shift.width_error, joint.log_damping_error)),
        )
        return [_row(np.nan, hz, errors[0], damping, errors[1], [])]
    seen = sorted(found.each)
    return [
        _of_fit(np.nan, found.joint, seen),
        *(_of_fit(order, found.each[order], seen) for order in seen),
    ]


def _of_fit(order: float, fitted: Fit, seen: list[float]) -> dict[str, Any]:
    hz, damping = fitted.mode.frequency_hz, fitted.mode.damping
    row = _row(
        order,
        hz,
        hz * fitted.log_frequency_error,
        damping,
        damping * fitted.log_damping_error,
        seen,
    )
    if np.isfinite(order):
        height = float(np.sqrt(max(fitted.peak[0], 0.0)))
        row["height"] = height
        row["height_standard_error"] = float(fitted.peak_error[0]) / max(2 * height, 1e-300)
    return row


def _row(
    order: float,
    hz: float,
    hz_error: float,
    damping: float,
    damping_error: float,
    seen: list[float],
) -> dict[str, Any]:
    speed = 60 * hz / order
    return {
        "order": order,
        "speed_rpm": speed,
        "frequency_hz": hz,
        "standard_error_hz": hz_error,
        "damping_ratio": damping,
        "damping_standard_error": damping_error,
        "height": np.nan,
        "height_standard_error": np.nan,
        "width_rpm": 2 * damping * speed,
        "orders_seen": seen,
    }


def resonance_notes(
    curves: Curves | pd.DataFrame,
    table: pd.DataFrame,
    *,
    engine: Engine | None = None,
    excited: frozenset[float] | None = None,
    tacho_at: Place | None = None,
    baseline: Sequence[Curves | pd.DataFrame] = (),
    damper_c: float | None = None,
    baseline_damper_c: float | None = None,
) -> list[Note]:
    """Return what there is to doubt about the table that `resonances` returned for the same."""
    notes = []
    if tacho_at == "flywheel":
        notes.append(Note("tacho-near-node", "note", _NEAR_NODE))
    if table.empty:
        notes.append(Note("no-resonance", "note", _NO_RESONANCE))
    told = baseline or [curves]
    for named in reference(told, engine=engine, excited=excited, tacho_at=tacho_at).named:
        if named.name not in set(table["name"]):
            notes.append(Note("resonance-not-reached", "note", _not_reached(named.name)))
        elif named.cause == "unknown":
            notes.append(Note("resonance-unknown", "note", _unknown(named)))
    moved = "shift_percent" in table and bool(table["shift_percent"].notna().any())
    if moved and not warmth(damper_c, baseline_damper_c, engine=engine).known:
        notes.append(Note("damper-temperature-unknown", "note", doubt(engine)))
    return notes


def _not_reached(name: str) -> str:
    return (
        f"The resonance {name} of the baseline is not reached by this sweep, or by too few orders: "
        f"sweep over the same speeds as at the baseline."
    )


def _unknown(named: Named) -> str:
    return (
        f"A resonance {named.name}, cause unknown: {named.why_unknown}. It is followed, but says "
        f"nothing of the damper."
    )
