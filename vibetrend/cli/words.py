"""What the commands print for people: recordings as aligned plain text."""

import shutil
import textwrap
from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING, Any

from vibetrend.quantities import Quantity, ShownUnits, Unit, unit
from vibetrend.recording import Note

if TYPE_CHECKING:  # only the types: `status` prints without anything to read or measure with
    from vibetrend.checkup.adding import Added
    from vibetrend.orders import Measurement
    from vibetrend.recording import Recording

_WIDEST = 92
_MM_S = unit("mm/s")
_AS_KEPT = ShownUnits()
_MOST_OTHERS = 6
_SEVERITIES = {"note": "note", "warning": "WARNING", "unusable": "UNUSABLE"}


def measurement_words(measurement: "Measurement", shown: ShownUnits = _AS_KEPT) -> str:
    """Return speed, lines and doubts of one recording, velocities in the unit shown."""
    velocity = shown.velocity
    speed, orders, others = measurement.speed, measurement.orders, measurement.others
    kept_in = orders["unit"].iloc[0]
    lines = [
        _what(measurement.recording),
        f"speed {speed.rpm:.0f} rpm as stated, not found in the recording"
        if speed.method == "tag"
        else f"speed {speed.rpm:.2f} rpm ± {speed.standard_error_rpm:.2g} "
        f"(wander {speed.spread_percent:.2f} %), from {speed.method}",
        "",
        f"{'order':>7} {'Hz':>8} {'rms ' + kept_in:>12} {'±':>9} {'varies':>7} {velocity.name:>8}"
        f" {'phase':>9}",
        *(_line(row, velocity) for row in orders[orders["visible"]].to_dict(orient="records")),
    ]
    for title, table in (("driven parts", measurement.driven), ("other lines", others)):
        listed = table[table["visible"].astype(bool)].head(_MOST_OTHERS)
        if len(listed):
            lines += ["", title, *(_named_line(row) for row in listed.to_dict(orient="records"))]
    lines += ["", "±: one standard error, of the mean of what varies"]
    for reason, rows in orders[~orders["visible"]].groupby("reason"):
        lines += wrapped(f"not visible: {', '.join(f'{k:g}' for k in rows['order'])} ({reason})")
    if measurement.phase_reference is not None:
        lines += wrapped(
            f"phase: degrees of its own cycle after {measurement.phase_reference}, and after how "
            f"many degrees it repeats"
        )
    lines += _notes(measurement.quality)
    return "\n".join([*lines, ""])


def _what(recording: "Recording") -> str:
    name = recording.source.path if recording.source else "recording"
    if recording.samples is None:
        return f"{name}: tooth times, {recording.duration_s:.1f} s"
    return (
        f"{name}: {recording.kind}, {recording.duration_s:.1f} s, "
        f"{len(recording.axes)} x {recording.mean_rate_hz:.0f} samples per second"
    )


def _line(row: dict[Hashable, Any], velocity: Unit) -> str:
    phase, repeats = row["phase_deg"], row["phase_repeats_deg"]
    words = "–" if phase != phase else f"{round(phase) % round(repeats):5d}/{repeats:.0f}"
    speed = Quantity(row["velocity_mm_s"], _MM_S).to(velocity).value
    return (
        f"{row['order']:7.4g} {row['frequency_hz']:8.2f} {row['amplitude']:12.4g} "
        f"{row['standard_error']:9.2g} {_or_dash(row['variation_percent'], '.0f'):>5} % "
        f"{_or_dash(speed, '.3g'):>8} {words:>5}"
    )


def _named_line(row: dict[Hashable, Any]) -> str:
    follows = {"crank": "follows the crank", "clock": "does not follow the crank"}
    name = row["name"] or follows.get(str(row.get("follows")), "too steady to tell what it follows")
    return (
        f"{row['order']:7.4g} {row['frequency_hz']:8.2f} {row['amplitude']:12.4g} "
        f"{row['standard_error']:9.2g}  {name}"
    )


def _or_dash(number: float, form: str) -> str:
    return f"{number:{form}}" if number == number else "–"


def added_words(added: "Added") -> str:
    """Return one line for a recording kept, and its doubts."""
    from vibetrend.logbook.hours import in_words

    kept = added.kept
    if added.measurement is None:
        lines = [
            f"{added.path}: in the logbook already as {kept.id} ({kept.date}, "
            f"{in_words(kept.hours, kept.meter_hours)}); nothing changed",
            *wrapped(added.remark, indent="  ", hanging="  "),
        ]
        return "\n".join(lines)
    rpm = added.measurement.speed.rpm
    lines = [f"{added.path}: kept as {kept.id}, {rpm:.1f} rpm"]
    doubts = [note for note in added.measurement.quality if note.severity != "note"]
    return "\n".join([*lines, *_notes(doubts)])


def _notes(notes: Sequence[Note]) -> list[str]:
    return [
        line
        for note in notes
        for line in wrapped(
            f"{_SEVERITIES[note.severity]} ({note.code}): {note.message}", indent="  "
        )
    ]


def wrapped(text: str, *, indent: str = "", hanging: str | None = None) -> list[str]:
    """Return text as lines that fit the terminal, 40 to 92 columns."""
    width = min(_WIDEST, max(40, shutil.get_terminal_size().columns - 1))
    return textwrap.wrap(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=indent + "  " if hanging is None else hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )
