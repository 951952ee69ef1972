"""What the commands print for people: recordings as aligned plain text."""

import shutil
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from vibetrend.recording import Note

if TYPE_CHECKING:  # only the types: `status` prints without anything to read or measure with
    from vibetrend.checkup.adding import Added
    from vibetrend.orders import Measurement

_WIDEST = 92
_SEVERITIES = {"note": "note", "warning": "WARNING", "unusable": "UNUSABLE"}


def measurement_words(measurement: "Measurement") -> str:
    """Return speed, orders and doubts of one recording."""
    recording, speed = measurement.recording, measurement.speed
    name = recording.source.path if recording.source else "recording"
    lines = [
        f"{name}: {recording.kind}, {recording.duration_s:.1f} s, "
        f"{len(recording.axes)} x {recording.mean_rate_hz:.0f} samples per second",
        f"speed {speed.rpm:.0f} rpm as stated, not found in the recording"
        if speed.method == "tag"
        else f"speed {speed.rpm:.2f} rpm ± {speed.standard_error_rpm:.2g} "
        f"(wander {speed.spread_percent:.2f} %), from {speed.method}",
        "",
        f"{'order':>7} {'Hz':>8} {'rms ' + recording.unit:>12} {'±':>9} {'mm/s':>8}",
    ]
    for row in measurement.orders.to_dict(orient="records"):
        if row["visible"]:
            velocity = row["velocity_mm_s"]
            lines.append(
                f"{row['order']:7g} {row['frequency_hz']:8.2f} {row['amplitude']:12.4g} "
                f"{row['standard_error']:9.2g} "
                + (f"{velocity:8.3g}" if velocity == velocity else f"{'–':>8}")
            )
    hidden = measurement.orders.loc[~measurement.orders["visible"]]
    for reason, rows in hidden.groupby("reason"):
        orders = ", ".join(f"{order:g}" for order in rows["order"])
        lines += wrapped(f"not visible: {orders} ({reason})")
    lines += _notes(measurement.quality)
    return "\n".join([*lines, ""])


def added_words(added: "Added") -> str:
    """Return one line for a recording kept, and its doubts."""
    kept = added.kept
    if added.measurement is None:
        return (
            f"{added.path}: in the logbook already as {kept.id} ({kept.date}, {kept.hours:g} h); "
            f"nothing changed"
        )
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
