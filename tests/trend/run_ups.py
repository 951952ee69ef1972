"""Invented histories of run-ups with known truth: frequency, height and width of resonances."""

from collections.abc import Callable

import numpy as np
import pandas as pd

CRANK, MOUNT = "crankshaft near 141 Hz", "near 74 Hz"
AT = {"frequency": 141.0, "height": 0.8, "width": 300.0}
ERROR = {"frequency": 0.005, "height": 0.09, "width": 0.15}  # of one sweep, as parts
UNIT = {"frequency": "Hz", "height": "m/s^2", "width": "rpm"}


def sweeps(
    *,
    checkups: int = 8,
    baseline_days: int = 3,
    each: int = 3,
    drift: Callable[[str, str, float], float] = lambda _name, _quantity, _hours: 0.0,
    names: tuple[str, ...] = (CRANK,),
    quantities: tuple[str, ...] = ("frequency", "height", "width"),
    shared: float | None = None,
    order: float = np.nan,
    seed: int = 1,
) -> pd.DataFrame:
    """Return a series; `drift` gives the true relative change of a resonance's quantity at hours.

    `shared` is the relative error of a frequency that the sweeps of a day have in common.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for v in range(baseline_days + checkups):
        hours = 10.0 * v if v < baseline_days else 30.0 + 180.0 * (v - baseline_days + 1)
        day = rng.normal(0, shared or 0.0)
        for p in range(each):
            for name in names:
                for quantity in quantities:
                    part = drift(name, quantity, hours) + rng.normal(0, ERROR[quantity])
                    part += day * (quantity == "frequency")
                    value = AT[quantity] * (1 + part)
                    common = shared if quantity == "frequency" and shared is not None else np.nan
                    rows.append(
                        {
                            "recording": f"r{v:02}{p}", "visit": f"v{v:02}", "hours": hours,
                            "order": order, "feature": f"resonance: {name} {quantity}",
                            "amplitude": value, "standard_error": ERROR[quantity] * value,
                            "shared_error": common * value, "baseline": v < baseline_days,
                            "visible": True, "unit": UNIT[quantity], "manner": "run-up",
                        }
                    )  # fmt: skip
    return pd.DataFrame(rows)


def step(
    quantity: str, part: float, *, after: float = 900.0, name: str = CRANK
) -> Callable[[str, str, float], float]:
    """Return a drift of one quantity of one resonance."""
    return lambda of, what, hours: part * ((of, what) == (name, quantity) and hours > after)
