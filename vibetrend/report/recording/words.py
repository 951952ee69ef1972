"""What the first screen says of one recording: its use, its speed, its doubts."""

import math
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from vibetrend.checkup.records import RecordingRecord
from vibetrend.quantities import ShownUnits
from vibetrend.recording import Note, Recording
from vibetrend.report import words
from vibetrend.report.numbers import decimals
from vibetrend.report.recording import sweep_words
from vibetrend.report.shown import level, unit_words
from vibetrend.report.statement import Statement
from vibetrend.trend.phrases import capital

if TYPE_CHECKING:  # only the types
    from vibetrend.orders import Measurement

SEVERITIES = {"unusable": "Unusable", "warning": "Warning", "note": "Note"}
"""Worst first."""

STATES = {"unusable": "changed", "warning": "another-day", "note": "no-change-seen"}
"""Whose mark and tone a severity has."""

FOUND_BY = {
    "harmonics": "found in the recording itself, from all the lines that follow the crank",
    "tacho": "taken from the tacho",
    "tag": "as stated: no speed of the engine was found in the recording",
}
_KINDS = {
    "acceleration": "acceleration", "velocity": "velocity", "rotation": "rotation rate",
    "sound": "sound", "pressure": "pressure", "other": "values of another kind",
}  # fmt: skip


def name(recording: Recording) -> str:
    """Return the file's own name; where it lies is nobody else's business."""
    path = "" if recording.source is None else recording.source.path
    return PurePath(path).name or "recording"


def what(record: RecordingRecord) -> list[str]:
    """Return what was recorded, when and where, as far as it is known."""
    recording = record.measurement.recording
    if recording.samples is None:
        assert recording.tacho is not None
        teeth = recording.tacho.teeth_per_turn
        said = ["tooth times", f"{len(recording.tacho.edge_times)} edges, {teeth:g} a turn"]
    else:
        one, many = ("channel", "channels") if recording.kind == "sound" else ("axis", "axes")
        axes = f"{len(recording.axes)} {one if len(recording.axes) == 1 else many}"
        rate = recording.mean_rate_hz
        even = "" if recording.times is None else " on average, each with its own time"
        said = [
            _KINDS[recording.kind],
            f"{axes}: {', '.join(recording.axes)}",
            f"{rate:{'.4g' if rate < 9999.5 else '.0f'}} samples per second{even}",
        ]
        if recording.tacho is not None:
            said.append(f"with a tacho, {recording.tacho.teeth_per_turn:g} edges a turn")
    said.insert(1, f"{recording.duration_s:.1f} s")
    said.append("no date known" if recording.date is None else words.date(recording.date))
    if recording.hours is not None:
        said.append(f"{recording.hours:g} h on the meter")
    said += [each for each in (recording.position, recording.device, recording.condition) if each]
    if record.engine is not None:
        said.append(f"engine {record.engine.name}")
    return said


# The first screen


def doubts(measurement: "Measurement") -> list[Note]:
    """Return the notes, worst first, each severity in the order in which they were found."""
    rank = list(SEVERITIES)
    return sorted(measurement.quality, key=lambda note: rank.index(note.severity))


def use(measurement: "Measurement") -> Statement:
    """Return what the recording can be used for, in one sentence; a fault goes first."""
    worst = doubts(measurement)[:1]
    severity = worst[0].severity if worst else "note"
    label = "Can be used for"
    if severity == "unusable":
        return Statement(
            label=label,
            state=STATES["unusable"],
            words="Nothing, it is unusable",
            text=worst[0].message,
            more=("It is shown to find the fault with. Mend that and record again.",),
        )
    alone = _ALONE
    if measurement.recording.manner != "steady":
        text, alone = sweep_words.USE, sweep_words.ALONE
    elif measurement.recording.samples is None:
        text = (
            "The crank's own speed fluctuation, order by order, to be compared with recordings of "
            "the same wheel and sensor at the same speed."
        )
    else:
        text = (
            "One placement of a check-up, to be compared with recordings of the same engine, spot, "
            "sensor and speed."
        )
    if severity == "warning":
        count = sum(note.severity == "warning" for note in measurement.quality)
        return Statement(
            label=label,
            state=STATES["warning"],
            words=f"A check-up, with care: {words.count(count, 'warning')}",
            text=text,
            more=("Mend what the warnings name and record again, if you can.", alone),
        )
    return Statement(
        label=label, state=STATES["note"], words="A check-up", text=text, more=(alone,)
    )


_ALONE = "By itself it cannot show a change, and it tells nothing of the damper's stiffness."


def speed(measurement: "Measurement") -> Statement:
    """Return the speed, how it was found, and how it stands to what was stated."""
    found = measurement.speed
    known = found.method != "tag"
    more = []
    if found.tag_rpm is not None and known:
        off = 100 * (found.rpm / found.tag_rpm - 1)
        way = "as found"
        if abs(off) >= 0.005:
            side = "above" if off > 0 else "below"
            way = f"the speed found is {words.fixed(abs(off), 2)} % {side} it"
        more.append(f"Stated: {found.tag_rpm:g} rpm; {way}.")
    elif known:
        more.append("No rpm was stated.")
    if math.isfinite(found.spread_percent):
        more.append(
            f"It wanders by {found.spread_percent:.2g} % within the recording (standard deviation)."
        )
    if found.candidates_rpm:
        others = ", ".join(f"{rpm:.1f}" for rpm in found.candidates_rpm)
        more.append(f"Other speeds that explain it almost as well: {others} rpm.")
    elif found.method == "harmonics":
        more.append("No other speed explains it almost as well.")
    return Statement(
        label="Speed",
        state="no-change-seen" if known else "not-measured",
        words=rpm(measurement),
        text=f"{capital(FOUND_BY[found.method])}.",
        more=tuple(more),
    )


def rpm(measurement: "Measurement") -> str:
    """Return the speed with its standard error."""
    found = measurement.speed
    if not math.isfinite(found.standard_error_rpm):
        return f"{found.rpm:.0f} rpm, not found"
    digits = decimals(found.standard_error_rpm)
    return f"{found.rpm:.{digits}f} ± {found.standard_error_rpm:.{digits}f} rpm"


def orders(record: RecordingRecord, shown: ShownUnits) -> Statement:
    """Return how many orders stand out, and the strongest."""
    measured = record.measurement
    table = measured.orders
    visible = table[table["visible"].astype(bool)]
    label, kind = "Orders that stand out", measured.recording.kind
    if visible.empty:
        return Statement(
            label=label, state="not-measured", words="None",
            text="No order can be told from the noise level; the order table says why.",
        )  # fmt: skip
    top = max(visible.to_dict("records"), key=lambda row: row["amplitude"])
    more = []
    if record.engine is not None:
        firing = visible[visible["order"] == record.engine.firing_order_number]
        at = "does not stand out" if firing.empty else said(firing.iloc[0].to_dict(), kind, shown)
        if firing.empty or float(firing["order"].iloc[0]) != top["order"]:
            more.append(f"Firing order {record.engine.firing_order_number:g}: {at}.")
    is_firing = record.engine is not None and top["order"] == record.engine.firing_order_number
    which = ", the firing order" if is_firing else ""
    return Statement(
        label=label,
        state="no-change-seen",
        words=f"{len(visible)} of {len(table)}",
        text=f"The strongest is order {top['order']:g}{which}: {said(top, kind, shown)}.",
        more=tuple(more),
    )


def said(row: dict[Any, Any], kind: str, shown: ShownUnits) -> str:
    """Return an amplitude as a sentence tells it, with the velocity it amounts to."""
    value, unit = level(row["amplitude"], row["unit"], shown)
    text = f"{value:.3g} {unit_words(unit, kind)} rms"
    if math.isfinite(row["velocity_mm_s"]) and row["unit"] != "m/s":
        speed, name = level(row["velocity_mm_s"], "mm/s", shown)
        text += f", {speed:.3g} {name}"
    return text


def overall(measurement: "Measurement", shown: ShownUnits) -> Statement:
    """Return the level of everything in the recording."""
    label = "Overall level"
    rows = measurement.overall.to_dict("records")
    if not rows:
        return Statement(
            label=label, state="not-measured", words="Not measured",
            text="Tooth times have none." if measurement.recording.samples is None
            else "The recording is too short or too slow for it.",
        )  # fmt: skip
    kind = measurement.recording.kind
    first, *rest = [(row, *level(row["value"], row["unit"], shown)) for row in rows]
    low, high = first[0]["band_hz"]
    return Statement(
        label=label,
        state="no-change-seen",
        words=f"{first[1]:.3g} {unit_words(first[2], kind)} rms",
        text=f"{capital(first[0]['name'])}, everything from {low:g} to {high:g} Hz"
        f"{', all axes together' * (len(measurement.recording.axes) > 1)}.",
        more=tuple(f"As {row['name']}: {value:.3g} {unit} rms." for row, value, unit in rest),
    )
