"""Invented run-ups: one resonance of the crankshaft near 141 Hz that moves down, one unknown."""

import datetime as dt
import hashlib
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from invented_report import FIRST_HOURS, START, engine_record, history, series

from vibetrend.checkup.records import EngineRecord, Interference, SeriesRecord, SweepCurves
from vibetrend.trend import judge

ORDERS = (1.5, 3.0, 4.5, 6.0)
CRANK, OTHER = "crankshaft near 141 Hz", "near 74 Hz"
CRANK_HZ, OTHER_HZ = 141.0, 74.0
SHIFT_PERCENT = -5.0  # from the eleventh check-up on

INTERFERENCE = Interference(
    table=pd.DataFrame(
        [
            {
                "mode": mode,
                "frequency_hz": hertz,
                "order": order,
                "speed_rpm": 60 * hertz / order,
                "vector_sum": 1.0 if order % 3 == 0 else 0.62 if order % 3 == 1.5 else 0.05,
                "within": 600 <= 60 * hertz / order <= 2600,
            }
            for mode, hertz in ((1, 142.5), (2, 236.0))
            for order in np.arange(0.5, 12.5, 0.5)
        ]
    ),
    typical=("the crank's stiffness", "the ring's loss factor"),
    lowest_rpm=600.0,
    highest_rpm=2600.0,
)


def curves(shift_percent: float = 0.0, *, label: str, count: int = 3) -> SweepCurves:
    """Return order curves over a slope, with the peak of the crankshaft where orders meet it."""
    speed = 1.01 ** np.arange(702, 782)  # the grid of vibetrend.runup: 1081 to 2350 rpm
    hertz = CRANK_HZ * (1 + shift_percent / 100)
    rows = []
    for order in ORDERS:
        of_crank, of_mount = order * speed / 60 / hertz, order * speed / 60 / OTHER_HZ
        peak = 1 / np.hypot(1 - of_crank**2, 2 * 0.04 * of_crank)
        peak += 0.3 / np.hypot(1 - of_mount**2, 2 * 0.03 * of_mount)
        amplitude = (0.02 + 0.3 / order) * (speed / 1500) ** 2 * (1 + 0.4 * peak)
        rows += [
            {"order": order, "speed_rpm": rpm, "amplitude": a, "standard_error": 0.02 * a}
            for rpm, a in zip(speed, amplitude, strict=True)
        ]
    return SweepCurves(table=pd.DataFrame(rows), unit="m/s^2", label=f"{label}, {count} sweeps")


def resonances(shift_percent: float | None = SHIFT_PERCENT) -> pd.DataFrame:
    """Return what a run-up measures: each resonance in its orders, and jointly."""
    factor = 1 + (shift_percent or 0.0) / 100
    rows: list[dict[str, Any]] = []
    for name, hertz, orders, damping in (
        (CRANK, CRANK_HZ * factor, [4.5, 6.0], 0.041),
        (OTHER, OTHER_HZ, [3.0], 0.022),
    ):
        for order in (*orders, math.nan):
            rows.append({
                "order": order, "speed_rpm": 60 * hertz / order, "frequency_hz": hertz,
                "standard_error_hz": 0.4 if math.isnan(order) else 0.7,
                "damping_ratio": damping, "damping_standard_error": 0.004,
                "height": 1.83 / order, "height_standard_error": 0.11,
                "width_rpm": 120 * damping * hertz / order,
                "name": name, "cause": "crankshaft" if name == CRANK else "unknown",
                "orders_seen": orders,
                "shift_percent": math.nan if name == OTHER else shift_percent,
                "shift_standard_error": math.nan if name == OTHER else 0.9,
            })  # fmt: skip
    table = pd.DataFrame(rows)
    if shift_percent is None:
        table = table.drop(columns=["shift_percent", "shift_standard_error"])
    return table


def sweep_history(*, visits: int = 14, moves_at: int = 11) -> pd.DataFrame:
    """Return frequency, height and width of both resonances, three sweeps at each check-up."""
    rng = np.random.default_rng(3)
    values = {"frequency": ("Hz", 0.006), "height": ("m/s^2", 0.06), "width": ("Hz", 0.08)}
    usual = {"frequency": 1.0, "height": 0.013, "width": 0.08}  # of the frequency in Hz
    rows = []
    for visit in range(visits):
        hours = FIRST_HOURS + (10.0 * visit if visit < 3 else 20 + 180.0 * (visit - 2))
        day = START + dt.timedelta(days=round((hours - FIRST_HOURS) / 3.4))
        for sweep in range(3):
            for name, hertz in ((CRANK, CRANK_HZ), (OTHER, OTHER_HZ)):
                for kind, (unit, scatter) in values.items():
                    moved = name == CRANK and kind == "frequency" and visit >= moves_at
                    level = usual[kind] * hertz * (1 + SHIFT_PERCENT / 100 * moved)
                    rows.append({
                        "recording": f"s{visit:02d}-{sweep}", "visit": str(day), "hours": hours,
                        "order": math.nan, "feature": f"resonance: {name} {kind}",
                        "amplitude": level * (1 + rng.normal(0, scatter)),
                        "standard_error": 0.5 * scatter * level, "baseline": visit < 3,
                        "visible": True, "date": day, "unit": unit, "rpm": 1650.0,
                    })  # fmt: skip
    return pd.DataFrame(rows)


def swept(**values: Any) -> SeriesRecord:
    """Return a series of run-ups; its latest check-ups stand 5 % below the baseline."""
    table = sweep_history(**values)
    like = series(history(visits=2))
    one = table.drop_duplicates("recording").reset_index(drop=True)
    names = [f"run-up-{place:03d}.wav" for place in range(len(one))]
    listed = pd.DataFrame({
        "recording": one["recording"], "name": names,
        "sha256": [hashlib.sha256(name.encode()).hexdigest() for name in names],
        "visit": one["visit"], "hours": one["hours"], "date": one["date"], "rpm": 1000.0,
        "speed_rpm": one["rpm"], "speed_standard_error_rpm": 1.0, "speed_spread_percent": 25.0,
        "overall": [[] for _ in names], "reading": [{} for _ in names],
        "baseline": one["baseline"], "quality": [[] for _ in names], "method_version": 2,
    })  # fmt: skip
    return replace(
        like,
        info=like.info | {"id": 5, "manner": "run-up", "speed_rpm": None},
        verdict=judge(table),
        history=table,
        recordings=listed,
        latest=None,
        reference=None,
        curves=curves(SHIFT_PERCENT, label="the latest check-up"),
        reference_curves=curves(label="the baseline", count=9),
        resonances=resonances(),
    )


def swept_engine(name: str = "main", *more: SeriesRecord) -> EngineRecord:
    """Return an engine with a series of run-ups and its interference diagram."""
    return replace(engine_record(name, *more, swept()), interference=INTERFERENCE)
