"""Adding a recording: read it, measure it, keep it."""

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from vibetrend.engine import Engine
from vibetrend.errors import LogbookError, ReadError, VibetrendError
from vibetrend.ingest import read
from vibetrend.logbook import KeptRecording, Logbook
from vibetrend.orders import Measurement, measure


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


def measure_file(path: str | Path, *, engine: Engine | None = None, **stated: Any) -> Measurement:
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
    **stated: Any,
) -> Added:
    """Read, measure and keep a recording of an engine.

    Parameters
    ----------
    today : datetime.date
        Stands in for a date that nobody stated.
    visit : str, optional
        The check-up it belongs to; its date if left out.
    stated
        The options of `ingest.read`; rpm and hours must come from here or from the file.

    Raises
    ------
    VibetrendError
        If the file cannot be read or measured, or rpm or hours are stated nowhere.
    """
    recording = read(path, **stated)
    if recording.rpm is None:
        raise ReadError(f"{path}: no speed is stated; add the gauge's reading with --rpm N")
    if recording.hours is None:
        raise ReadError(f"{path}: no engine hours are stated; add the meter's with --hours N")
    assert recording.source is not None
    date = recording.date or today
    if date > today:
        raise ReadError(f"{path}: its date {date} is in the future; correct --date")
    same = logbook.find_recording(engine_name, recording.source.sha256)
    if same is not None:
        return Added(str(path), replace(same, duplicate=True), None)
    try:
        engine = _engine_then(logbook, engine_name, date, recording.hours, baseline)
        measurement = measure(recording, engine=engine)
        content = Path(path).read_bytes()
        kept = logbook.add_recording(
            engine_name,
            content,
            measurement,
            visit=visit or date.isoformat(),
            hours=recording.hours,
            date=date,
            baseline=baseline,
            before=before,
        )
    except OSError as error:
        raise ReadError(f"{path}: it has gone while it was read; copy it again") from error
    except VibetrendError as error:
        raise type(error)(f"{path}: {error}") from error
    return Added(str(path), kept, measurement)


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
