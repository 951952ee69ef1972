"""A resonance of run-ups as a feature: its name, what of it is followed, how a change is told.

Its features are called ``resonance: NAME frequency``, ``... height`` and ``... width``. A NAME that
begins with "crankshaft" counts as the crankshaft's own; of any other the cause is unknown. A
frequency or a width is told in per cent, for 0.3 dB of a frequency means nothing to a reader.
"""

import math
import re
from typing import Literal, NamedTuple

import pandas as pd

Quantity = Literal["", "frequency", "height", "width"]
QUANTITIES: tuple[Quantity, ...] = ("frequency", "height", "width")

# What a change says in one breath; causes and checks stand in `resonance_causes`.
MEANS = {
    "resonance lower": "rubber softer or warmer, or its bond failing",
    "resonance higher": "rubber harder or colder",
    "resonance sharper": "less damping",
    "resonance blunter": "more damping, or a faster sweep",
    "other resonance": "cause unknown, so no word about the damper",
}
_VERBS = {
    "frequency": ("has moved up", "has moved down"),
    "height": ("has risen by", "has fallen by"),
    "width": ("is wider by", "is narrower by"),
}
_DB_PER_PART = 20 / math.log(10)
_LEAST_ERROR = 0.1  # shown, per cent or dB


class Parts(NamedTuple):
    """What the text of a feature says; empty for what is no resonance."""

    name: str
    quantity: Quantity


def parts(feature: str) -> Parts:
    """Return name and quantity of a resonance's feature."""
    kind, _, rest = feature.partition(": ")
    name, _, last = rest.rpartition(" ")
    for quantity in QUANTITIES:
        if kind == "resonance" and last == quantity:
            return Parts(name, quantity)
    return Parts("", "")


def is_resonance(feature: str) -> bool:
    """Say whether a feature is one of a resonance."""
    return bool(parts(feature).quantity)


def is_frequency(feature: str) -> bool:
    """Say whether a feature is the frequency of a resonance."""
    return parts(feature).quantity == "frequency"


def of_crankshaft(feature: str) -> bool:
    """Say whether it counts as the crankshaft's own."""
    return parts(feature).name.startswith("crankshaft")


def of_unknown(feature: str) -> bool:
    """Say whether it is a resonance of unknown cause; such a one is told last."""
    return is_resonance(feature) and not of_crankshaft(feature)


def named(feature: str, order: float) -> str:
    """Return the resonance itself, e.g. ``crankshaft's resonance near 141 Hz``.

    With an order that shows it, the speed at which a person meets it is told too:
    ``crankshaft's resonance near 141 Hz (1880 rpm in order 4.5)``.
    """
    name = parts(feature).name
    whose, where = ("crankshaft's ", name[10:].strip()) if of_crankshaft(feature) else ("", name)
    near = re.fullmatch(r"near (\d+(?:\.\d+)?) Hz", where)
    if near and order > 0:
        where += f" ({round(60 * float(near[1]) / order, -1):.0f} rpm in order {order:g})"
    return f"{whose}resonance {where}".strip()


def label(feature: str, order: float) -> str:
    """Return one of its features, e.g. ``frequency of the resonance near 74 Hz``."""
    return f"{parts(feature).quantity} of the {named(feature, order)}"


def telling_orders(history: pd.DataFrame) -> dict[str, float]:
    """Return of each resonance's features the order that shows it best, where a history says so."""
    if not {"telling_order", "feature"} <= set(history.columns):
        return {}
    order = pd.to_numeric(history["telling_order"], errors="coerce")
    found = order.groupby(history["feature"]).median()
    return {str(name): float(value) for name, value in found.items() if value > 0}


def in_percent(feature: str) -> bool:
    """Say whether changes of a feature are told in per cent instead of dB."""
    return parts(feature).quantity in ("frequency", "width")


def percent_of(change_db: float) -> float:
    """Return a change in dB as per cent of what it was."""
    return 100 * (10 ** (change_db / 20) - 1)


def signed(feature: str, change_db: float) -> str:
    """Return a change with its sign, e.g. ``-3.4 %`` or, of an order, ``+1.2 dB``."""
    value, unit = (percent_of(change_db), "%") if in_percent(feature) else (change_db, "dB")
    told = f"{value:+z.1f}"
    return f"{told[1:] if float(told) == 0 else told} {unit}"


def scatter(feature: str, scatter_db: float) -> str:
    """Return the usual scatter in the unit its changes are told in."""
    if not in_percent(feature):
        return f"{scatter_db:.1f} dB"
    percent = percent_of(scatter_db)
    return f"{percent:.0f} %" if percent >= 9.95 else f"{percent:.1f} %"


def size(feature: str, change_db: float, error_db: float = math.nan) -> str:
    """Return how far a feature moved without direction, e.g. ``3.4 ± 0.4 %`` or ``4.5 ± 0.6 dB``.

    Parameters
    ----------
    error_db : float
        Standard error of the change, dB; left out where it is NaN.
    """
    value, error, unit = abs(change_db), error_db, "dB"
    if in_percent(feature):
        value, unit = abs(percent_of(change_db)), "%"
        error = 100 * 10 ** (change_db / 20) * error_db / _DB_PER_PART
    if math.isnan(error):
        return f"{value:.1f} {unit}"
    digits = 0 if error >= 0.95 else 1
    return f"{value:.{digits}f} ± {max(error, _LEAST_ERROR):.{digits}f} {unit}"


def way(feature: str, *, rose: bool) -> str:
    """Return the kind of change, a key of `resonance_causes.PATTERNS`.

    A higher peak and a narrower one both say that damping was lost.
    """
    quantity = parts(feature).quantity
    if not of_crankshaft(feature):
        return "other resonance"
    if quantity == "frequency":
        return "resonance higher" if rose else "resonance lower"
    return "resonance sharper" if rose == (quantity == "height") else "resonance blunter"


def has_moved(
    feature: str, order: float, change_db: float, *, rose: bool, error_db: float = math.nan
) -> str:
    """Return e.g. ``the resonance near 74 Hz has moved down 3.4 ± 0.4 %``."""
    quantity = parts(feature).quantity
    what = f"the {'peak of the ' * (quantity == 'height')}{named(feature, order)}"
    told = size(feature, change_db, error_db)
    if float(told.split()[0]) == 0:
        return f"{what} stands where it did, by {told}"
    return f"{what} {_VERBS[quantity][not rose]} {told}"
