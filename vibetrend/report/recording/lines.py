"""Which lines of a recording's spectrum are marked, and what each is called."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from string import ascii_uppercase
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from vibetrend.checkup.records import RecordingRecord

if TYPE_CHECKING:  # only the type
    from vibetrend.orders import AmplitudeSpectrum

KINDS = {
    "order": "order",
    "firing": "firing order",
    "driven": "driven line",
    "other": "other line",
}
"""What each kind of line is called."""

_FOLLOWS = {
    "crank": "follows the crank, no part that is known",
    "clock": "does not follow the crank",
    "either": "too steady to tell what it follows",
}


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line that stands out: an order, a driven part's or another one."""

    kind: Literal["firing", "order", "driven", "other"]
    name: str  # e.g. "order 3, the firing order", "alternator", "50 Hz mains"
    letter: str  # beside its mark; the order itself for an order, A, B and so on for others
    order: float
    hertz: float  # where the spectrum shows it
    folded: bool  # an order above half the sampling rate, shown where it folds to
    height: float  # of the spectrum there, in the spectrum's unit


@dataclass(frozen=True, kw_only=True)
class Peak:
    """One peak of the spectrum."""

    hertz: float
    order: float
    amplitude: float  # in the spectrum's unit
    names: str  # of the lines there; "" where none is known


def lines(record: RecordingRecord) -> list[Line]:
    """Return the visible lines in the order of their frequency; none without a spectrum."""
    spectrum, measured = record.spectrum, record.measurement
    if spectrum is None or measured.orders.empty:
        return []
    found = []
    firing = None if record.engine is None else record.engine.firing_order_number
    for row in measured.orders[measured.orders["visible"].astype(bool)].to_dict("records"):
        folded = row["folded_hz"] == row["folded_hz"]  # NaN differs from itself
        is_firing = row["order"] == firing
        name = f"order {row['order']:g}" + (", the firing order" if is_firing else "")
        found.append(
            Line(
                kind="firing" if is_firing else "order",
                name=name + (", folded down" if folded else ""),
                letter=f"{row['order']:g}",
                order=row["order"],
                hertz=row["folded_hz"] if folded else row["frequency_hz"],
                folded=folded,
                height=_height(spectrum, row["folded_hz"] if folded else row["frequency_hz"]),
            )
        )
    for kind, table in (("driven", measured.driven), ("other", measured.others)):
        if table.empty:
            continue
        for row in table[table["visible"].astype(bool)].to_dict("records"):
            if row["frequency_hz"] > spectrum.hertz[-1]:
                continue
            found.append(
                Line(
                    kind="driven" if kind == "driven" else "other",
                    name=other_name(row),
                    letter="",
                    order=row["order"],
                    hertz=row["frequency_hz"],
                    folded=False,
                    height=_height(spectrum, row["frequency_hz"]),
                )
            )
    found.sort(key=lambda line: line.hertz)
    letters = iter(ascii_uppercase)
    return [each if each.letter else replace(each, letter=next(letters, "")) for each in found]


def other_name(row: Mapping[Any, Any]) -> str:
    """Return what a driven or other line is called."""
    return str(row["name"] or _FOLLOWS.get(str(row.get("follows")), "a line of no known part"))


def _height(spectrum: "AmplitudeSpectrum", hertz: float) -> float:
    near = np.abs(spectrum.hertz - hertz) <= spectrum.resolution_hz / 2
    return float(spectrum.amplitude[near].max()) if near.any() else float("nan")


def strongest(record: RecordingRecord, marked: list[Line], most: int = 40) -> list[Peak]:
    """Return the largest peaks of the spectrum by frequency, each with the line it belongs to."""
    spectrum = record.spectrum
    if spectrum is None:
        return []
    a = spectrum.amplitude
    tops = np.flatnonzero((a[1:-1] > a[:-2]) & (a[1:-1] >= a[2:])) + 1
    # A window's own side lobes are 31 dB down; nearer than the resolution is the same line.
    chosen: list[int] = []
    for top in tops[np.argsort(a[tops])[::-1]].tolist():
        apart = np.abs(spectrum.hertz[chosen] - spectrum.hertz[top])
        if not (apart < spectrum.resolution_hz).any():
            chosen.append(top)
        if len(chosen) == most:
            break
    turns_per_s = record.measurement.speed.rpm / 60
    return [
        Peak(
            hertz=float(spectrum.hertz[top]),
            order=float(spectrum.hertz[top]) / turns_per_s,
            amplitude=float(a[top]),
            names=" and ".join(
                line.name
                for line in marked
                if abs(line.hertz - spectrum.hertz[top]) < spectrum.resolution_hz / 2
            ),
        )
        for top in sorted(chosen)
    ]
