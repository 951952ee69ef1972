"""Lines that are no order of the engine: what they are, and which of them to mention."""

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.orders.lines import MAINS_HZ
from vibetrend.recording import Note

_OF_MAINS = {1.0: "", 1.5: "3/2 of ", 2.0: "2 times ", 3.0: "3 times ", 4.0: "4 times "}
_MAINS_WANDER = 1e-3  # share; a grid keeps within it nearly always
_NEAR_ORDERS = 0.1  # a reader may take a line for an order that lies so near,
_NEAR_SHARE = 0.25  # if it has so much of that order's amplitude
_NAMED = 3


def mains_name(hertz: float, *, resolution_hz: float) -> str | None:
    """Return what a frequency is of the mains, such as "3/2 of 60 Hz mains", if it is."""
    for mains in MAINS_HZ:
        for times, words in _OF_MAINS.items():
            place = times * mains
            if abs(hertz - place) < max(resolution_hz, _MAINS_WANDER * place):
                return f"{words}{mains:.0f} Hz mains"
    return None


def other_line_notes(orders: pd.DataFrame, others: pd.DataFrame) -> list[Note]:
    """Name the strongest lines that keep to the clock where they might be taken for the engine's.

    Those near an order, and those stronger than most of the visible orders.
    """
    usual = orders.loc[orders["visible"], "amplitude"].median()
    named = []
    for line in others.loc[others["follows"] == "clock"].to_dict("records"):
        nearest = orders.loc[(orders["order"] - line["order"]).abs().idxmin()]
        near = abs(nearest["order"] - line["order"]) < _NEAR_ORDERS
        near = near and line["amplitude"] > _NEAR_SHARE * nearest["amplitude"]
        if not near and not line["amplitude"] > usual:
            continue
        words = [line["name"]] if line["name"] else []
        if near:
            words.append(f"beside order {nearest['order']:g} at {nearest['frequency_hz']:.1f} Hz")
        which = f" ({'; '.join(words)})" if words else ""
        named.append(f"{line['frequency_hz']:.1f} Hz{which}")
    if not named:
        return []
    message = f"Lines that do not follow the engine: {', '.join(named[:_NAMED])}."
    return [Note("not-the-engine", "note", message)]


def generator_notes(orders: pd.DataFrame, engine: Engine | None) -> list[Note]:
    """Say which visible orders lie at a generator's own electrical frequency, or at twice it."""
    if engine is None or engine.generator is None:
        return []
    own = [np.isclose(orders["order"], each) for each in engine.generator.electrical_orders]
    named = [
        f"order {row['order']:g} ({row['frequency_hz']:.1f} Hz)"
        for row in orders[np.any(own, axis=0) & orders["visible"]].to_dict("records")
    ]
    if not named:
        return []
    return [
        Note(
            "generator",
            "note",
            f"What stands at its electrical frequency or twice it includes the generator's own: "
            f"{' and '.join(named)}.",
        )
    ]
