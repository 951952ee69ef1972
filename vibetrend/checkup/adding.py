"""Adding a recording: read it, measure it, keep it."""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Unpack

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError, ReadError, VibetrendError
from vibetrend.ingest import Statements, kept_content, read
from vibetrend.logbook import KeptRecording, Logbook
from vibetrend.orders import Measurement, measure
from vibetrend.recording import Recording


@dataclass(frozen=True, eq=False)
class Added:
    """A recording that is in the logbook now."""

    path: str
    kept: KeptRecording
    measurement: Measurement | None  # None where the same content was there before

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        quality = [] if self.measurement is None else self.measurement.to_dict()["quality"]
        return {
            "path": self.path,
            "recording": self.kept.id,
            "duplicate": self.kept.duplicate,
            "quality": quality,
        }


def measure_file(
    path: str | Path, *, engine: Engine | None = None, **stated: Unpack[Statements]
) -> Measurement:
    """Read and measure a file; `stated` are the options of `ingest.read`.

    Raises
    ------
    VibetrendError
        If the file cannot be read or measured; the text begins with its path.
    """
    recording = read(path, **stated)
    try:
        return measure(recording, engine=engine)
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
    complete : callable, optional
        Given the recording as read, returns it with tags added that were stated nowhere.
    stated
        The options of `ingest.read`; rpm and hours must come from here or from the file.

    Raises
    ------
    VibetrendError
        If the file cannot be read or measured, or rpm or hours are stated nowhere.
    """
    recording = read(path, **stated)
    date = recording.date or today
    visit = visit or date.isoformat()
    recording = _as_the_others(recording, logbook.circumstances(engine_name, visit))
    if complete is not None:
        recording = complete(recording)
    if recording.rpm is None:
        raise ReadError(f"{path}: no speed is stated; add the gauge's reading with --rpm N")
    hours = recording.hours
    if hours is None:
        raise ReadError(f"{path}: no engine hours are stated; add the meter's with --hours N")
    assert recording.source is not None
    if date > today:
        raise ReadError(f"{path}: its date {date} is in the future; correct --date")
    with kept_content(recording.source, with_location=keep_location) as (content, source):
        recording = replace(recording, source=source)
        same = logbook.find_recording(engine_name, source.sha256)
        if same is not None:
            return Added(str(path), replace(same, duplicate=True), None)
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
    return Added(str(path), kept, measurement)


def _as_the_others(recording: Recording, stated: Mapping[str, Any]) -> Recording:
    """Return a recording with its check-up's circumstances where its own are not stated."""
    own = asdict(recording.circumstances)
    gaps = {name: stated[name] for name, value in own.items() if name in stated and not value}
    return replace(recording, circumstances=replace(recording.circumstances, **gaps))


def _engine_then(
    logbook: Logbook, name: str, date: dt.date, hours: float, baseline: bool
) -> Engine:
    """Return the engine as it was described for the damper that was on it then."""
    fitted = [
        each for each in logbook.installations(name) if each.date <= date and each.hours <= hours
    ]
    if fitted:
        return fitted[-1].engine
    if baseline:
        raise LogbookError(
            f"a baseline belongs to an installation, and none of {name} was started by {date} at "
            f"{hours:g} h; start it: vibetrend installation start --engine {name} --date D "
            f"--hours H (--as-found if the damper was fitted long ago)"
        )
    return logbook.engine(name)
