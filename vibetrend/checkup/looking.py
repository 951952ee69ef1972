"""One recording looked at by itself: its measurement with the pictures that show it."""

from pathlib import PurePath

from vibetrend.checkup.records import RecordingRecord
from vibetrend.engine import Engine
from vibetrend.orders import (
    AmplitudeSpectrum,
    Measurement,
    Spectrogram,
    amplitude_spectrum,
    spectrogram,
    trace,
)
from vibetrend.recording import Recording

_PIECE_TURNS = 48.0  # of the spectrum: lines 0.03 orders apart can be told apart
_ABOVE = 1.04  # of the highest line, that the pictures go on for
_SHORTEST_S = 2.0  # a spectrogram's windows are 0.8 s long


def looked_at(measurement: Measurement, *, engine: Engine | None = None) -> RecordingRecord:
    """Return a measured recording with its pictures.

    Where only tooth times were recorded there is nothing to draw but the speed.
    """
    recording = measurement.recording
    begins = _begins_s(recording)
    start, end = _measured(measurement)
    seen, spectrum, over_time = None, None, None
    if recording.samples is not None:
        seen = trace(recording, faults=[note.code for note in measurement.quality])
        spectrum = _spectrum(measurement, start, end)
        over_time = _over_time(measurement)
    return RecordingRecord(
        measurement=measurement,
        engine=engine,
        begins_s=begins,
        measured_s=(start - begins, end - begins),
        trace=seen,
        spectrum=spectrum,
        spectrogram=over_time,
    )


def _begins_s(recording: Recording) -> float:
    if recording.samples is None:
        assert recording.tacho is not None
        return float(recording.tacho.edge_times[0])
    return 0.0 if recording.times is None else float(recording.times[0])


def _measured(measurement: Measurement) -> tuple[float, float]:
    """Return the part that was measured, on the recording's own clock."""
    recording, time = measurement.recording, measurement.speed.track["time_s"].to_numpy(float)
    begins = _begins_s(recording)
    # Each point of a track stands for the stretch around it.
    half = 0.0 if measurement.speed.method == "tag" else (time[-1] - time[0]) / (len(time) - 1) / 2
    start = max(float(time[0] - half), begins)
    return start, min(float(time[-1] + half), begins + recording.duration_s)


def _top_hz(measurement: Measurement) -> float:
    tables = (measurement.orders, measurement.driven)
    return _ABOVE * max(float(table["frequency_hz"].max()) for table in tables if len(table))


def _spectrum(measurement: Measurement, start: float, end: float) -> AmplitudeSpectrum | None:
    return amplitude_spectrum(
        measurement.recording,
        top_hz=_top_hz(measurement),
        piece_s=_PIECE_TURNS * 60 / measurement.speed.rpm,
        start_s=start,
        end_s=end,
    )


def _over_time(measurement: Measurement) -> Spectrogram | None:
    recording = measurement.recording
    if recording.duration_s < _SHORTEST_S:
        return None
    name = "the recording" if recording.source is None else PurePath(recording.source.path).name
    return spectrogram(recording, top_hz=_top_hz(measurement), label=name)
