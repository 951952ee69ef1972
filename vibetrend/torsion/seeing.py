"""What a change of the damper would show: at which speeds, how high, how wide, and at fast idle.

Speeds of peaks do not ask how sensitive a phone is; heights do. What is told of fast idle is the
nose's own motion, which a phone on the block sees only a part of.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.engine.expected import cylinder_orders
from vibetrend.errors import EngineError
from vibetrend.recording import FloatArray
from vibetrend.torsion.change import AGEING, Change, warmer
from vibetrend.torsion.crankshaft import NOSE, Crankshaft, Mode
from vibetrend.torsion.forcing import DRIVES, forced, mode_sums
from vibetrend.torsion.typical import operating_range

_AROUND = np.linspace(0.88, 1.12, 97)  # where a peak is looked for, shares of its speed
_MODES = 2  # the two that ring and crank share
_ORDERS = 3  # told of each
_WARMER_C = 20.0
_FAST_IDLE_SHARE = 0.42  # of rated speed, where no speed of recording is stated


@dataclass(frozen=True, kw_only=True)
class _Peak:
    speed_rpm: float  # critical, by the mode's frequency
    nose_deg: float
    flywheel_deg: float


def what_would_i_see(engine: Engine, change: Change) -> pd.DataFrame:
    """Return each observable before and after a change of the damper.

    Returns
    -------
    DataFrame
        Columns observable (words), before, after, difference, unit. Angles are 0 to peak; levels
        in dB are told against before.

    Raises
    ------
    EngineError
        If the damper has nothing of what changes.
    """
    before = Crankshaft.of(engine)
    _check(change, before)
    after = before.with_change(change)
    rows: list[tuple[str, float, float, str]] = []
    for mode in before.modes[:_MODES]:
        orders, met = _telling_orders(before, engine, mode)
        if mode.number > 1 and not met:
            break
        later = _counterpart(mode, after)
        name = f"mode {mode.number}"
        rows += [
            (f"{name}: natural frequency", mode.frequency_hz, later.frequency_hz, "Hz"),
            (f"{name}: all its critical speeds", 0.0, _shift(mode, later), "%"),
            (
                f"{name}: width of its peaks, of their speed",
                100 * mode.half_power_width,
                100 * later.half_power_width,
                "%",
            ),
        ]
        for order in sorted(orders):
            one = _peak(before, engine, mode, order)
            two = _peak(after, engine, later, order)
            at = f"{name}, order {order:g}"
            rows += [
                (f"{at}: critical speed", one.speed_rpm, two.speed_rpm, "rpm"),
                (f"{at}: twist at the nose", one.nose_deg, two.nose_deg, "deg"),
                (f"{at}: height of the peak", 0.0, _db(two.nose_deg, one.nose_deg), "dB"),
                (f"{at}: twist at the flywheel", one.flywheel_deg, two.flywheel_deg, "deg"),
            ]
    rpm = _recording_rpm(engine)
    rows += [
        (f"order {order:g} at {rpm:g} rpm: level at the nose", 0.0, level, "dB")
        for order, level in _at_fast_idle(before, after, engine)
    ]
    if after.order_1_factor != 1:
        level = _db(after.order_1_factor, 1.0)
        rows.append((f"order 1 at {rpm:g} rpm: wobble of the ring, assumed", 0.0, level, "dB"))
    table = pd.DataFrame(rows, columns=["observable", "before", "after", "unit"])
    table.insert(3, "difference", table["after"] - table["before"])
    return table


def ways_of_ageing(engine: Engine) -> pd.DataFrame:
    """Return in a row for each way of ageing what it does to the first mode, and to fast idle.

    Columns change (words), means (in numbers, of a named way), shift_percent (of every critical
    speed), height_db (of the strongest order's peak), width_factor; at fast idle firing_order_db
    (change of the firing order), fast_idle_db (the largest change of a strong order) and
    fast_idle_order (which one).
    """
    before = Crankshaft.of(engine)
    mode = before.modes[0]
    (order, *_), _ = _telling_orders(before, engine, mode)
    own = _peak(before, engine, mode, order)
    rows = []
    for words, change in _ways(before, engine).items():
        after = before.with_change(change)
        later = _counterpart(mode, after)
        levels = _at_fast_idle(before, after, engine)
        idle_order, idle_level = max(levels, key=lambda each: abs(each[1]))
        rows.append(
            {
                "change": words,
                "means": _numbers(change) if words in AGEING else "",
                "shift_percent": _shift(mode, later),
                "height_db": _db(_peak(after, engine, later, order).nose_deg, own.nose_deg),
                "width_factor": later.damping_ratio / mode.damping_ratio,
                "firing_order_db": dict(levels)[engine.firing_order_number],
                "fast_idle_db": idle_level,
                "fast_idle_order": idle_order,
            }
        )
    return pd.DataFrame(rows)


def _ways(crankshaft: Crankshaft, engine: Engine) -> Mapping[str, Change]:
    if crankshaft.viscous:
        return {
            "damping halved": Change(viscous_factor=0.5),
            "damping doubled": Change(viscous_factor=2.0),
            **{name: AGEING[name] for name in ("fluid damping lost", "fluid stiffened")},
        }
    percent = engine.damper.stiffness_percent_per_c
    return {
        "stiffness -10 %": Change(stiffness_factor=0.9),
        "stiffness +10 %": Change(stiffness_factor=1.1),
        "damping halved": Change(loss_factor=0.5),
        f"ring {_WARMER_C:g} degrees C warmer": warmer(_WARMER_C, percent_per_c=percent),
        **{
            name: AGEING[name] for name in ("rubber hardening", "rubber softening", "bond slipping")
        },
    }


def _numbers(change: Change) -> str:
    """Return what changes of the damper, in words and per cent."""
    factors = {
        "stiffness": change.stiffness_factor,
        "loss factor": change.loss_factor,
        "damping": change.viscous_factor,
    }
    told = [f"{what} {100 * (by - 1):+.0f} %" for what, by in factors.items() if by != 1]
    told += [f"{100 * change.ring_slip:.0f} % of the bond let go"] if change.ring_slip else []
    told += ["the ring wobbles"] if change.order_1_factor != 1 else []
    return ", ".join(told)


def _check(change: Change, crankshaft: Crankshaft) -> None:
    """Refuse to change what the damper does not have.

    Raises
    ------
    EngineError
        Then.
    """
    if not crankshaft.viscous and change.viscous_factor != 1:
        raise EngineError(
            "the model of this damper has a ring on rubber, so its fluid cannot change; "
            "change its stiffness, its loss factor or its bond, or correct damper.type"
        )
    if crankshaft.viscous and (change.loss_factor != 1 or change.ring_slip):
        raise EngineError(
            "the model of this damper has a ring in fluid, so no rubber can change; "
            "change its viscous damping, or correct damper.type"
        )
    if crankshaft.chain.stiffness_nm_rad[0] == 0 and change.stiffness_factor != 1:
        raise EngineError(
            "the ring of this damper has no spring that could change; change its viscous damping, "
            "or state damper.ring_stiffness_nm_rad"
        )


def _counterpart(mode: Mode, after: Crankshaft) -> Mode:
    """Return the mode that has become of one: alike in the crank's shape, and not far off."""

    def unlike(other: Mode) -> float:
        one, two = np.array(mode.shape[NOSE:]), np.array(other.shape[NOSE:])
        product = np.vdot(one, one).real * np.vdot(two, two).real
        alike = float(abs(np.vdot(one, two)) ** 2 / product)
        return (1 - alike) + abs(math.log(other.frequency_hz / mode.frequency_hz))

    return min(after.modes, key=unlike)


def _telling_orders(crankshaft: Crankshaft, engine: Engine, mode: Mode) -> tuple[list[float], bool]:
    """Return the orders whose peaks stand out most, and whether from idle to rated speed.

    That nearest to this range where none lies within.
    """
    running = operating_range(engine)
    orders = np.array(cylinder_orders(engine))
    sums = mode_sums(crankshaft, engine, mode, orders)
    orders = orders[sums >= DRIVES * sums.max()]
    speeds = 60 * mode.frequency_hz / orders
    within = (speeds >= running.idle_rpm) & (speeds <= running.rated_rpm)
    if not within.any():
        middle = np.sqrt(running.idle_rpm * running.rated_rpm)
        return [float(orders[np.argmin(np.abs(np.log(speeds / middle)))])], False
    kept = [float(each) for each in orders[within]]
    strongest = sorted(kept, key=lambda each: -_peak(crankshaft, engine, mode, each).nose_deg)
    return strongest[:_ORDERS], True


def _peak(crankshaft: Crankshaft, engine: Engine, mode: Mode, order: float) -> _Peak:
    speed = 60 * mode.frequency_hz / order
    twist = np.abs(forced(crankshaft, engine, [order], speed * _AROUND)[0])
    at = int(np.argmax(twist[:, NOSE]))
    return _Peak(
        speed_rpm=speed,
        nose_deg=float(np.degrees(twist[at, NOSE])),
        flywheel_deg=float(np.degrees(twist[at, crankshaft.flywheel])),
    )


def _recording_rpm(engine: Engine) -> float:
    """Return the speed it is recorded at; a usual one if none is stated."""
    stated = engine.usual_rpm
    return stated or round(_FAST_IDLE_SHARE * operating_range(engine).rated_rpm, -1)


def _at_fast_idle(
    before: Crankshaft, after: Crankshaft, engine: Engine
) -> list[tuple[float, float]]:
    """Return the firing order and the strongest of the nose's acceleration; each's change, dB."""
    orders: FloatArray = np.array(cylinder_orders(engine))
    rpm = [_recording_rpm(engine)]
    one, two = (np.abs(forced(each, engine, orders, rpm)[:, 0, NOSE]) for each in (before, after))
    firing = int(np.argmin(np.abs(orders - engine.firing_order_number)))
    strongest = np.argsort(-one * orders**2, kind="stable")[: _ORDERS + 1]
    told = sorted({firing, *map(int, strongest)})
    return [(float(orders[k]), _db(float(two[k]), float(one[k]))) for k in told]


def _shift(before: Mode, after: Mode) -> float:
    return 100 * (after.frequency_hz / before.frequency_hz - 1)


def _db(after: float, before: float) -> float:
    return float(20 * np.log10(after / before))
