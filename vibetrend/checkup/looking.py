"""One recording looked at by itself: its measurement with the pictures that show it."""

from pathlib import PurePath

from vibetrend.checkup.records import Interference, RecordingRecord
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
from vibetrend.runup.maps import order_map

_PIECE_TURNS = 48.0  # of the spectrum: lines 0.03 orders apart can be told apart
_ABOVE = 1.04  # of the highest line, that the pictures go on for
_SWEEP_ORDERS = 12.0  # of a sweep, that its picture of frequencies goes up to
_SHORTEST_S = 2.0  # a spectrogram's windows are 0.8 s long


def looked_at(measurement: Measurement, *, engine: Engine | None = None) -> RecordingRecord:
    """Return a measured recording with its pictures.

    Where only tooth times were recorded there is nothing to draw but the speed.
    """
    recording = measurement.recording
    swept = recording.manner != "steady"
    begins = _begins_s(recording)
    start, end = _measured(measurement)
    seen, spectrum, over_time, orders = None, None, None, None
    if recording.samples is not None:
        seen = trace(recording, faults=[note.code for note in measurement.quality])
        # Of a sweep it would show every order smeared over all frequencies it ran through.
        spectrum = None if swept else _spectrum(measurement, start, end)
        over_time = _over_time(measurement)
        followed = swept and measurement.speed.method != "tag"
        orders = order_map(recording, measurement.speed.track) if followed else None
    return RecordingRecord(
        measurement=measurement,
        engine=engine,
        begins_s=begins,
        measured_s=(start - begins, end - begins),
        trace=seen,
        spectrum=spectrum,
        spectrogram=over_time,
        order_map=orders,
        interference=interference_of(engine) if swept and engine is not None else None,
    )


def interference_of(engine: Engine) -> Interference:
    """Return where an engine's orders meet the natural frequencies of its crankshaft's model."""
    from vibetrend.torsion import Crankshaft, interference, operating_range

    crankshaft, running = Crankshaft.of(engine), operating_range(engine)
    return Interference(
        table=interference(crankshaft, engine),
        typical=crankshaft.typical,
        lowest_rpm=running.idle_rpm,
        highest_rpm=running.rated_rpm,
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
    if measurement.recording.manner != "steady":
        fastest = float(measurement.speed.track["rpm"].max())
        return _SWEEP_ORDERS * fastest / 60
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
