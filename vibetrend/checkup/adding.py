"""Adding a recording: read it, measure it, keep it."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Unpack, cast

from vibetrend import hour_meter
from vibetrend.checkup.dampers import record_at
from vibetrend.engine import Engine
from vibetrend.errors import LogbookError, ReadError, VibetrendError
from vibetrend.ingest import Statements, kept_content, read, tags
from vibetrend.ingest.tags import Stated
from vibetrend.logbook import KeptRecording, Logbook, mend_original
from vibetrend.measuring import measure
from vibetrend.orders import Measurement
from vibetrend.recording import Circumstances, Recording
from vibetrend.shell import typed


@dataclass(frozen=True, eq=False)
class Added:
    """A recording that is in the logbook now."""

    path: str
    kept: KeptRecording
    measurement: Measurement | None  # None where the same content was there before
    remark: str = ""  # what was asked for and not done, or better done first

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        quality = [] if self.measurement is None else self.measurement.to_dict()["quality"]
        return {
            "path": self.path,
            "recording": self.kept.id,
            "duplicate": self.kept.duplicate,
            "hours": self.kept.hours,
            "meter_hours": self.kept.meter_hours,
            "quality": quality,
        } | ({"remark": self.remark} if self.remark else {})


def measure_file(
    path: str | Path,
    *,
    engine: Engine | None = None,
    baseline: Sequence[Measurement] = (),
    **stated: Unpack[Statements],
) -> Measurement:
    """Read and measure a file; `stated` are the options of `ingest.read`.

    The resonances of a sweep also say how far they have moved from those of `baseline`.

    Raises
    ------
    VibetrendError
        If the file cannot be read or measured; the text begins with its path.
    """
    recording = read(path, **stated)
    try:
        return measure(recording, engine=engine, baseline=baseline)
    except VibetrendError as error:
        raise type(error)(f"{path}: {error}") from error


def add_file(
    logbook: Logbook,
    path: str | Path,
    *,
    engine_name: str,
    today: dt.date,
    visit: str | None = None,
    baseline: bool = False,
    before: bool = False,
    keep_location: bool = False,
    defaults: Stated | None = None,
    complete: Callable[[Recording], Recording] | None = None,
    **stated: Unpack[Statements],
) -> Added:
    """Read, measure and keep a recording of an engine.

    What is not stated of the circumstances is taken from the check-up's other recordings.

    Parameters
    ----------
    today : datetime.date
        Stands in for a date that nobody stated.
    visit : str, optional
        The check-up it belongs to; its date if left out.
    keep_location : bool
        Keep a location that the phone stored; else its digits are blanked in what is kept.
    defaults : Stated, optional
        What counts less than all that is stated of the file, be it by itself or by its name.
    complete : callable, optional
        Given the recording as read, returns it with tags added that were stated nowhere.
    stated
        The options of `ingest.read`; rpm and hours (what the meter shows) must come from here or
        from the file.

    Raises
    ------
    VibetrendError
        If the file cannot be read or measured, or rpm or hours are stated nowhere.
    """
    if defaults is None:
        recording = read(path, **stated)
    else:
        recording = read(path, **(_needed_to_read(path, defaults, stated) | stated))
        recording = _with_tags(recording, defaults)
    date = recording.date or today
    visit = visit or date.isoformat()
    recording = _as_the_others(recording, logbook.circumstances(engine_name, visit))
    if defaults is not None:
        recording = _as_the_others(recording, _stated(defaults.circumstances()))
    if complete is not None:
        recording = complete(recording)
    if recording.rpm is None and recording.tacho is None:
        raise ReadError(f"{path}: no speed is stated; add the gauge's reading with --rpm N")
    hours = recording.hours
    if hours is None:
        raise ReadError(f"{path}: no engine hours are stated; add the meter's with --hours N")
    assert recording.source is not None
    if date > today:
        raise ReadError(
            f"{path}: its date {date} is in the future; correct --date, or set this computer's "
            f"clock, which says {today}"
        )
    with kept_content(recording.source, with_location=keep_location) as (content, source):
        recording = replace(recording, source=source)
        same = logbook.find_recording(engine_name, source.sha256)
        if same is not None:
            remark = _mark_kept(same, baseline=baseline, before=before)
            if not logbook.read_only and mend_original(logbook, source.sha256, content):
                remark = f"Its original was missing or damaged and is back. {remark}".strip()
            return Added(str(path), replace(same, duplicate=True), None, remark)
        try:
            engine = _engine_then(logbook, engine_name, date, hours, baseline)
            measurement = measure(recording, engine=engine)
            kept = logbook.add_recording(
                engine_name,
                content,
                measurement,
                visit=visit,
                hours=hours,
                date=date,
                baseline=baseline,
                before=before,
            )
        except VibetrendError as error:
            raise type(error)(f"{path}: {error}") from error
    remark = _before_the_baseline(logbook, engine_name, date) if baseline else ""
    return Added(str(path), kept, measurement, remark)


def _before_the_baseline(logbook: Logbook, name: str, date: dt.date) -> str:
    """Say what is better done before a baseline is begun, "" where nothing is."""
    if record_at(logbook, name, date).belts_settled is not False:
        return ""
    return (
        "The record holds a belt tension as installed and none after run-in: a baseline is best "
        "begun after the belt is re-tensioned, because that moves levels. Enter it with: vibetrend "
        "installation belt --stage after-run-in"
    )


def _mark_kept(kept: KeptRecording, *, baseline: bool, before: bool) -> str:
    """Say what of a recording kept is not as it is asked for: set aside, or another mark."""
    if kept.set_aside:
        return (
            f"It was set aside and stays so. To use it again: vibetrend logbook set-aside "
            f"{kept.id} --back --reason TEXT"
        )
    wanted = "--baseline" if baseline else "--before" if before else ""
    marked = "--baseline" if kept.baseline else "--before" if kept.before else ""
    if not wanted or wanted == marked:
        return ""
    was = f"with {marked}" if marked else "without a mark"
    return (
        f"It was kept {was} and stays so: {wanted} was not taken over. To change it: vibetrend "
        f"logbook correct {kept.id} --mark {wanted.removeprefix('--')} --reason TEXT"
    )


_OPEN = (None, "")
_TAGS = ("rpm", "end_rpm", "hours", "date", "position", "device", "condition")
# Stated only by options and side files, and too late once the file is read.
_READ_WITH = ("manner", "automatic_gain")


def _needed_to_read(path: str | Path, defaults: Stated, stated: Statements) -> Statements:
    """Return those defaults that a file must be read with, where nothing else is stated of it."""
    side, _ = tags.beside(Path(path))
    open_ones = defaults.not_in(tags.stated(stated, where=str(path)).over(side))
    late = {name: getattr(open_ones, name) for name in _READ_WITH}
    wanted = open_ones.reading() | {name: value for name, value in late.items() if value}
    return cast(Statements, wanted)


def _with_tags(recording: Recording, defaults: Stated) -> Recording:
    """Return a recording with default tags where it has none, and a note that says which."""
    gaps = {name: getattr(defaults, name) for name in _TAGS if getattr(recording, name) in _OPEN}
    stated = {name: value for name, value in gaps.items() if value is not None}
    note = tags.note_assumed(Stated(**stated), "the folder's defaults")
    return replace(recording, notes=(*recording.notes, *note), **stated)


def _stated(circumstances: Circumstances) -> dict[str, Any]:
    return {name: value for name, value in asdict(circumstances).items() if value not in _OPEN}


def _as_the_others(recording: Recording, stated: Mapping[str, Any]) -> Recording:
    """Return a recording with its check-up's circumstances where its own are not stated."""
    own = asdict(recording.circumstances)
    gaps = {name: stated[name] for name, value in own.items() if name in stated and value in _OPEN}
    gaps.pop("automatic_gain", None)  # it is of the recorder, and part of what the codec says
    return replace(recording, circumstances=replace(recording.circumstances, **gaps))


def _engine_then(
    logbook: Logbook, name: str, date: dt.date, hours: float, baseline: bool
) -> Engine:
    """Return the engine as it was described for the damper that was on it then.

    `hours` are what the meter showed.
    """
    described = described_then(
        logbook, name, date, hour_meter.true_hours(logbook.meter_changes(name), date, hours)
    )
    if described is not None:
        return described
    if baseline:
        raise LogbookError(
            f"a baseline belongs to an installation, and none of {name} was started by {date} at "
            f"{hours:g} h; start it: vibetrend installation start --engine {typed(name)} --date D "
            f"--hours H (--as-found if the damper was fitted long ago)"
        )
    return logbook.engine(name)


def described_then(logbook: Logbook, name: str, date: dt.date, hours: float) -> Engine | None:
    """Return the engine as it was described for the damper on it at true engine hours.

    None where no damper was entered by then.
    """
    fitted = [
        each for each in logbook.installations(name) if each.date <= date and each.hours <= hours
    ]
    return fitted[-1].engine if fitted else None
