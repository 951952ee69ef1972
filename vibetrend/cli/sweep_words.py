"""What the commands print of a sweep: its speed, its resonances, where each order is strongest."""

import math
from collections.abc import Hashable
from typing import TYPE_CHECKING, Any

from vibetrend.cli.terminal import cell, wrapped
from vibetrend.cli.words import notes_words, what_was_recorded

if TYPE_CHECKING:  # only the types: a terminal needs nothing to measure with
    import pandas as pd

    from vibetrend.orders import Measurement
    from vibetrend.recording import Recording

_MOST_ORDERS = 8
_NAME = 24  # columns
_LONG_S = 10.0
_MOST = 0.9  # of the recording: what counts is not told apart


def sweep_words(measurement: "Measurement") -> str:
    """Return speed, resonances, order curves and doubts of one sweep."""
    from vibetrend.trend.sweeps import RUN_UP_CAUTIONS

    lines = [*wrapped(what_was_recorded(measurement.recording)), *wrapped(_speed(measurement)), ""]
    if len(measurement.resonances):
        lines += _resonances(measurement.resonances)
    else:
        lines += wrapped("No resonance stands out of these curves.")
    if len(measurement.runup):
        lines += ["", *_strongest(measurement.runup, _unit(measurement.recording))]
    lines += ["", *wrapped("±: one standard error"), *notes_words(measurement.quality)]
    lines += [""]
    for caution in RUN_UP_CAUTIONS:
        lines += wrapped(caution)
    return "\n".join([*lines, ""])


def _speed(measurement: "Measurement") -> str:
    manner, track = measurement.recording.manner, measurement.speed.track
    if measurement.speed.method == "tag":
        return f"{manner}: its speed was not found in the recording"
    swept = measurement.speed.swept
    if swept is None:
        return f"{manner}: no sweep that can be measured, see below"
    whole = float(track["time_s"].iloc[-1] - track["time_s"].iloc[0])
    part = f" of {_seconds(whole)}" if swept.seconds < _MOST * whole else ""
    way = "run-up" if swept.end_rpm > swept.start_rpm else "coast-down"
    return (
        f"{way} from {swept.start_rpm:.0f} to {swept.end_rpm:.0f} rpm in "
        f"{_seconds(swept.seconds)}{part}, from {measurement.speed.method}"
    )


def _seconds(duration: float) -> str:
    return f"{duration:.0f} s" if duration >= _LONG_S else f"{duration:.1f} s"


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


def _unit(recording: "Recording") -> str:
    """Return what the order curves are in; sound that is not calibrated has no unit."""
    if recording.samples is None:
        return "rms rad/s"
    return "rms of full scale" if recording.unit == "1" else f"rms {recording.unit}"


def _strongest(runup: "pd.DataFrame", unit: str) -> list[str]:
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
    return wrapped(f"orders where they are strongest ({unit}): {', '.join(told)}")


def _or_dash(number: float | None, form: str) -> str:
    if number is None or math.isnan(number):
        return "–"
    said = f"{number:{form}}"
    return said.replace("-", "") if float(said) == 0 else said
