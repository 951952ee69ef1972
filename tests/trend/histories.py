"""Invented histories with known truth for the tests of the judge."""

from collections.abc import Callable

import numpy as np
import pandas as pd

ORDERS = np.arange(1, 15) / 2
PLACEMENT_DB = 0.6
COMMON_DB = 0.5
DAY_DB = 0.3


def history(
    *,
    checkups: int = 10,
    baseline_days: int = 3,
    placements: int = 3,
    orders: np.ndarray = ORDERS,
    drift: Callable[[float], np.ndarray | float] = lambda _hours: 0.0,
    seed: int = 1,
    every: float = 180.0,
) -> pd.DataFrame:
    """Return a series; `drift` gives the true change of all orders at some hours, dB."""
    rng = np.random.default_rng(seed)
    rows = []
    for v in range(baseline_days + checkups):
        baseline = v < baseline_days
        hours = 10.0 * v if baseline else 10.0 * baseline_days + every * (v - baseline_days + 1)
        level = drift(hours) + rng.normal(0, DAY_DB, orders.size)
        for p in range(placements):
            common = rng.normal(0, COMMON_DB)
            db = level + common + rng.normal(0, PLACEMENT_DB, orders.size)
            for order, value in zip(orders, db, strict=True):
                rows.append(
                    {
                        "recording": f"r{v:02}{p}",
                        "visit": f"v{v:02}",
                        "hours": hours,
                        "order": order,
                        "amplitude": 0.2 * 10 ** (value / 20),
                        "standard_error": 0.002,
                        "baseline": baseline,
                    }
                )
    return pd.DataFrame(rows)


def one_order(order: float, size: Callable[[float], float]) -> Callable[[float], np.ndarray]:
    """Return a drift of one order alone."""
    return lambda hours: np.where(order == ORDERS, size(hours), 0.0)


def scale(table: pd.DataFrame, where: pd.Series, db: float) -> pd.DataFrame:
    """Return the history with some amplitudes moved by dB."""
    out = table.copy()
    out.loc[where, "amplitude"] *= 10 ** (db / 20)
    return out
