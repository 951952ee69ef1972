"""The resonances of a sweep as a table, and what there is to doubt about them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.recording import Note
from vibetrend.runup.aligning import MOST_SHIFT, Shift, align, level_of
from vibetrend.runup.curves import Curves
from vibetrend.runup.finding import (
    MODEL_ERROR,
    MODEL_ERROR_ALONE,
    Resonance,
    damping_error,
    find,
    visible,
)
from vibetrend.runup.fitting import Fit
from vibetrend.runup.naming import Cause, Place, cause, excitable, sums, why_no_sums
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

    def telling_order(self, named: Named) -> float:
        """Return the order in which a resonance is clearest; NaN where none tells.

        Of the crankshaft's only orders count that twist it strongly, where those are known.
        """
        covering = named.resonance.covering
        orders = self.pool.orders[covering.row]
        tells = visible(covering) | np.isin(orders, list(named.resonance.each))
        if named.cause == "crankshaft" and self.excited is not None:
            tells &= np.isin(orders, list(self.excited))
        if not tells.any():
            return float("nan")
        return float(orders[np.argmax(np.where(tells, covering.gain, -np.inf))])

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
    twist = sums(engine) if excited is None else dict.fromkeys(excited, 1.0)
    named = []
    for resonance in find(pool):
        what, why = cause(
            resonance, pool, twist=twist, tacho_at=tacho_at, why_none=why_no_sums(engine)
        )
        near = f"near {resonance.mode.frequency_hz:.0f} Hz"
        name = f"crankshaft {near}" if what == "crankshaft" else near
        named.append(Named(resonance, name, what, why))
    return Reference(pool, named, excitable(twist))


def resonances(
    curves: Curves | pd.DataFrame,
    *,
    engine: Engine | None = None,
    excited: frozenset[float] | None = None,
    tacho_at: Place | None = None,
    baseline: Sequence[Curves | pd.DataFrame] = (),
    damper_c: float | None = None,
    baseline_damper_c: float | None = None,
) -> tuple[pd.DataFrame, list[Note]]:
    """Return the resonances that a sweep's orders show, and what there is to doubt about them.

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
    table : DataFrame
        For each resonance, lowest first, a row for all orders together (`order` NaN) and one for
        each order that shows it by itself. `frequency_hz` is the natural frequency, `speed_rpm`
        where the order meets it (the critical speed); the peak of a lightly damped resonance lies
        there within damping^2. `damping_ratio` is half the half-power width over the frequency.
        `height` is the rms amplitude that the resonance alone gives at its natural frequency,
        `width_rpm` its half-power width. `cause` is "crankshaft" or "unknown", `orders_seen` the
        orders with a row. With a baseline also `shift_percent` of the frequency, what the damper's
        temperature explains taken off, `shift_standard_error` with the temperature's part in it,
        `height_change_db` against the surroundings, `width_ratio`. NaN where there is no value.
    notes : list of Note
    """
    sweep = powers(curves)
    of = partial(reference, engine=engine, excited=excited, tacho_at=tacho_at)
    before, now = of(baseline) if baseline else None, of([curves])
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
    table = pd.DataFrame(rows, columns=columns)
    notes = [Note("tacho-near-node", "note", _NEAR_NODE)] if tacho_at == "flywheel" else []
    notes += _doubts(table, before or now)
    shifted = "shift_percent" in table and bool(table["shift_percent"].notna().any())
    if shifted and not warm.known:
        notes.append(Note("damper-temperature-unknown", "note", doubt(engine)))
    return table, notes


_Match = tuple[Resonance | None, Named, Shift | None]


def _matched(now: Reference, before: Reference | None, sweep: Powers) -> list[_Match]:
    """Set each resonance beside the baseline's it is, lowest first."""
    if before is None:
        return [(named.resonance, named, None) for named in now.named]
    left = list(now.named)
    moved = [
        (named, shift, named.log_frequency + shift.shift) for named, shift in before.shifts(sweep)
    ]
    pairs = sorted(
        (abs(one.log_frequency - there), place, number)
        for place, (named, shift, there) in enumerate(moved)
        for number, one in enumerate(left)
        if _is_same(one, named, shift, there)
    )
    beside: dict[int, int] = {}  # place among the moved -> among those found now, nearest first
    for _, place, number in pairs:
        if place not in beside and number not in beside.values():
            beside[place] = number
    matches: list[tuple[float, _Match]] = []
    for place, (named, shift, there) in enumerate(moved):
        if place not in beside:
            matches.append((there, (None, named, shift)))
            continue
        near = left[beside[place]]
        apart = abs(near.log_frequency - there)
        unsure = float(np.hypot(shift.error, near.resonance.joint.log_frequency_error))
        if apart > 3 * unsure:  # the peak itself contradicts: the truth may be either
            shift = replace(shift, error=float(np.hypot(shift.error, apart)))
        matches.append((there, (near.resonance, named, shift)))
    taken = set(beside.values())
    still = [named for named in before.named if all(named is not each for each, _, _ in moved)]
    for number, one in enumerate(left):
        if number in taken:
            continue
        if any(_is_same(one, named, shift, there) for named, shift, there in moved):
            continue  # a second peak of one that is told already
        # Of a baseline's resonance that the laid curves do not find again the name at least.
        alike = [named for named in still if _is_same(one, named, None, named.log_frequency)]
        named = min(
            alike, key=lambda each: abs(each.log_frequency - one.log_frequency), default=one
        )
        still = [each for each in still if each is not named]
        matches.append((one.log_frequency, (one.resonance, named, None)))
    return [match for _, match in sorted(matches, key=lambda each: each[0])]


def _is_same(found: Named, named: Named, shift: Shift | None, there: float) -> bool:
    """Say whether a peak is the one that the laid curves put at `there`, ln of Hz."""
    width = max(named.resonance.mode.damping, found.resonance.mode.damping)
    unsure = 0.0 if shift is None else 3 * shift.error
    return abs(found.log_frequency - there) < max(_SAME, width, unsure)


def _rows(found: Resonance | None, named: Named, shift: Shift | None) -> list[dict[str, Any]]:
    """Return the row of all orders together, then those of each order."""
    if found is None:  # seen only by laying the curves over the baseline's
        assert shift is not None
        mode, joint = named.resonance.mode, named.resonance.joint
        hz, damping = mode.frequency_hz * np.exp(shift.shift), mode.damping * np.exp(shift.width)
        errors = (
            hz * float(np.hypot(shift.error, named.resonance.log_frequency_error)),
            damping * float(np.hypot(shift.width_error, joint.log_damping_error)),
        )
        return [_row(np.nan, hz, errors[0], damping, errors[1], [])]
    seen = sorted(found.each)
    return [
        _of_fit(np.nan, found.joint, seen),
        *(_of_fit(order, found.each[order], seen) for order in seen),
    ]


def _of_fit(order: float, fitted: Fit, seen: list[float]) -> dict[str, Any]:
    alone = bool(np.isfinite(order))
    model = MODEL_ERROR_ALONE if alone else MODEL_ERROR
    hz, damping = fitted.mode.frequency_hz, fitted.mode.damping
    row = _row(
        order,
        hz,
        hz * float(np.hypot(fitted.log_frequency_error, model * damping)),
        damping,
        damping * damping_error(fitted, alone=alone),
        seen,
    )
    if alone and fitted.peak[0] > 0:  # else a dip: it only takes away
        height = float(np.sqrt(fitted.peak[0]))
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


def _doubts(table: pd.DataFrame, against: Reference) -> list[Note]:
    """Return what the table lacks of what it is set against, and what in it has no known cause."""
    notes = [] if len(table) else [Note("no-resonance", "note", _NO_RESONANCE)]
    told = set(table["name"])
    missing = [named.name for named in against.named if named.name not in told]
    if missing:
        notes.append(Note("resonance-not-reached", "note", _not_reached(missing)))
    unknown = table.loc[(table["cause"] == "unknown") & table["order"].isna(), "name"].tolist()
    if unknown:
        why = {named.why_unknown for named in against.named if named.name in unknown}
        notes.append(Note("resonance-unknown", "note", _unknown(unknown, why)))
    return notes


def _listed(names: Sequence[str]) -> str:
    """Return e.g. ``near 70, 98 and 192 Hz``."""
    numbers = [name.removeprefix("near ").removesuffix(" Hz") for name in names]
    return f"near {' and '.join([', '.join(numbers[:-1]), numbers[-1]][len(numbers) == 1 :])} Hz"


def _not_reached(names: Sequence[str]) -> str:
    crank = [name for name in names if name.startswith("crankshaft")]
    other = [name for name in names if name not in crank]
    what = [f"the {name}" for name in crank] + ([_listed(other)] if other else [])
    return (
        f"Of the baseline's resonances, this sweep does not show or reach {'; '.join(what)}: sweep "
        f"over the same speeds as at the baseline."
    )


def _unknown(names: Sequence[str], why: set[str]) -> str:
    reason = f": {next(iter(why))}" if len(why) == 1 else ""
    if len(names) == 1:
        return (
            f"The resonance {names[0]} has no known cause{reason}. It is followed, but says "
            f"nothing of the damper."
        )
    return (
        f"Resonances {_listed(names)} have no known cause{reason}. They are followed, but say "
        f"nothing of the damper."
    )
