"""What only the page needs: the latest recording of each series as a picture, curves of sweeps."""

import tempfile
from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from vibetrend.checkup.looking import interference_of
from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.checkup.sweeps import with_curves
from vibetrend.errors import LogbookError, VibetrendError
from vibetrend.ingest import read
from vibetrend.logbook import Logbook
from vibetrend.orders import Spectrogram, spectrogram

_HIGHEST_ORDER = 12.5


def with_pictures(
    logbook: Logbook, records: Sequence[EngineRecord], *, tell: Callable[[str], None]
) -> list[EngineRecord]:
    """Return the records with a spectrogram of each series' latest recording.

    Sweeps have their order curves too, and their engine where its orders meet the natural
    frequencies of its crankshaft.

    A recording whose original is damaged has no picture: its series says why, and `tell` is called
    with the whole reason.
    """
    return [_with_pictures(logbook, record, tell) for record in records]


def _with_pictures(
    logbook: Logbook, record: EngineRecord, tell: Callable[[str], None]
) -> EngineRecord:
    swept = any(each.info["manner"] != "steady" for each in record.series)
    return replace(
        record,
        series=tuple(
            with_curves(logbook, _with_picture(logbook, each, tell), record.engine)
            for each in record.series
        ),
        interference=interference_of(record.engine) if swept else None,
    )


def _with_picture(
    logbook: Logbook, series: SeriesRecord, tell: Callable[[str], None]
) -> SeriesRecord:
    usable = series.recordings.loc[~series.recordings["unusable"].astype(bool)]
    if usable.empty:
        return series
    row = usable.iloc[-1].to_dict()
    try:
        return replace(series, spectrogram=_picture(logbook, row))
    except VibetrendError as error:
        tell(f"no picture of the latest recording: {error}")
        lost = isinstance(error, LogbookError)
        why = "its original is missing or damaged" if lost else "its original cannot be read"
        return replace(series, no_picture=f"{why} ({row['name']})")


def _picture(logbook: Logbook, row: dict[Hashable, Any]) -> Spectrogram | None:
    content = logbook.original(str(row["sha256"]))
    try:
        with tempfile.TemporaryDirectory() as folder:
            original = Path(folder) / "original"
            original.write_bytes(content)
            recording = read(original, **row["reading"])
    except OSError as error:
        raise VibetrendError(
            f"{tempfile.gettempdir()}: there is no room to read it in ({error.strerror}); free "
            f"some space there"
        ) from error
    if recording.samples is None:  # tooth times
        return None
    top = _HIGHEST_ORDER * float(str(row["speed_rpm"])) / 60
    return spectrogram(recording, top_hz=top, label=f"{row['name']}, {row['date']}")
