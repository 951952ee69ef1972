"""What the commands print of a sweep: its speed, its resonances, where each order is strongest."""

import math
from collections.abc import Hashable
from typing import TYPE_CHECKING, Any

from vibetrend.cli.terminal import cell, wrapped
from vibetrend.cli.words import notes_words, what_was_recorded

if TYPE_CHECKING:  # only the types: a terminal needs nothing to measure with
    import pandas as pd

    from vibetrend.orders import Measurement

_MOST_ORDERS = 8
_NAME = 24  # columns


def sweep_words(measurement: "Measurement") -> str:
    """Return speed, resonances, order curves and doubts of one sweep."""
    from vibetrend.trend.sweeps import RUN_UP_CAUTIONS

    lines = [*wrapped(what_was_recorded(measurement.recording)), *wrapped(_speed(measurement)), ""]
    if len(measurement.resonances):
        lines += _resonances(measurement.resonances)
    else:
        lines += wrapped("No resonance stands out of these curves.")
    if len(measurement.runup):
        lines += ["", *_strongest(measurement.runup)]
    lines += ["", *wrapped("±: one standard error"), *notes_words(measurement.quality)]
    lines += [""]
    for caution in RUN_UP_CAUTIONS:
        lines += wrapped(caution)
    return "\n".join([*lines, ""])


def _speed(measurement: "Measurement") -> str:
    manner, track = measurement.recording.manner, measurement.speed.track
    if measurement.speed.method == "tag":
        return f"{manner}: its speed was not found in the recording"
    first, last = track["rpm"].iloc[0], track["rpm"].iloc[-1]
    return (
        f"{manner} from {first:.0f} to {last:.0f} rpm in "
        f"{track['time_s'].iloc[-1] - track['time_s'].iloc[0]:.0f} s, from "
        f"{measurement.speed.method}"
    )


def _resonances(found: "pd.DataFrame") -> list[str]:
    """Return a line for each resonance, and below it one for each order that shows it."""
    shifted = "shift_percent" in found and found["shift_percent"].notna().any()
    lines = [
        f"{cell('resonance', _NAME)} {'rpm':>6} {'Hz':>8} {'±':>6} {'damping':>8} {'±':>6}"
        + (f" {'shift %':>8} {'±':>5}" if shifted else "")
    ]
    for name, rows in found.groupby("name", sort=False):
        for row in rows.to_dict(orient="records"):
            own = math.isnan(row["order"])
            told = cell(str(name) if own else f"  order {row['order']:g}", _NAME)
            lines.append(f"{told} {_numbers(row)}" + (_shift(row) if own and shifted else ""))
    return lines


def _numbers(row: dict[Hashable, Any]) -> str:
    return " ".join(
        [
            f"{_or_dash(row['speed_rpm'], '.0f'):>6}",
            f"{_or_dash(row['frequency_hz'], '.1f'):>8}",
            f"{_or_dash(row['standard_error_hz'], '.1g'):>6}",
            f"{_or_dash(row['damping_ratio'], '.3f'):>8}",
            f"{_or_dash(row['damping_standard_error'], '.1g'):>6}",
        ]
    )


def _shift(row: dict[Hashable, Any]) -> str:
    shift, error = row["shift_percent"], row["shift_standard_error"]
    return f" {_or_dash(shift, '+.1f'):>8} {_or_dash(error, '.1f'):>5}"


def _strongest(runup: "pd.DataFrame") -> list[str]:
    """Return the strongest orders, each at the speed where it is strongest."""
    seen = runup.loc[runup["visible"].astype(bool)]
    if seen.empty:
        return wrapped("No order can be told from the noise level.")
    top = seen.loc[seen.groupby("order")["amplitude"].idxmax()]
    top = top.sort_values("amplitude", ascending=False).head(_MOST_ORDERS).sort_values("order")
    told = [
        f"{row.order:g} at {row.speed_rpm:.0f} rpm ({row.amplitude:.3g})"
        for row in top.itertuples()
    ]
    return wrapped(f"orders where they are strongest (rms): {', '.join(told)}")


def _or_dash(number: float | None, form: str) -> str:
    return "–" if number is None or math.isnan(number) else f"{number:{form}}"
