"""What only the page needs: the latest recording of each series over time and frequency."""

import tempfile
from collections.abc import Hashable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.ingest import read
from vibetrend.logbook import Logbook
from vibetrend.orders import Spectrogram, spectrogram

_HIGHEST_ORDER = 12.5


def with_pictures(logbook: Logbook, records: Sequence[EngineRecord]) -> list[EngineRecord]:
    """Return the records with a spectrogram of each series' latest recording."""
    return [
        replace(record, series=tuple(_with_picture(logbook, each) for each in record.series))
        for record in records
    ]


def _with_picture(logbook: Logbook, series: SeriesRecord) -> SeriesRecord:
    usable = series.recordings.loc[~series.recordings["unusable"].astype(bool)]
    if usable.empty:
        return series
    return replace(series, spectrogram=_picture(logbook, usable.iloc[-1].to_dict()))


def _picture(logbook: Logbook, row: dict[Hashable, Any]) -> Spectrogram:
    with tempfile.TemporaryDirectory() as folder:
        original = Path(folder) / str(row["name"])
        original.write_bytes(logbook.original(str(row["sha256"])))
        recording = read(original, **row["reading"])
    top = _HIGHEST_ORDER * float(str(row["speed_rpm"])) / 60
    return spectrogram(recording, top_hz=top, label=f"{row['name']}, {row['date']}")
