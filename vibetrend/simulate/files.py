"""Simulated recordings as files, such as a person's own phone or recorder would leave."""

import gzip
import io
from pathlib import Path

import numpy as np
import soundfile

from vibetrend.recording import Recording
from vibetrend.simulate.errors import SimulateError


def write_table(recording: Recording, path: str | Path) -> None:
    """Write acceleration as a comma separated table; ``.csv``, or ``.csv.gz`` to compress it.

    Times are written in steps of 10 us, acceleration in steps of 0.1 mm/s^2. The same recording
    gives the same bytes.

    Raises
    ------
    SimulateError
        If the recording is no acceleration, the name ends in something else, or the file cannot
        be written.
    """
    path = Path(path)
    if recording.kind != "acceleration" or recording.samples is None:
        raise SimulateError(f"{path.name}: a table takes acceleration, not {recording.kind}")
    if not path.name.endswith((".csv", ".csv.gz")):
        raise SimulateError(f"{path.name}: name the table .csv or .csv.gz")
    titles = ["time (s)", *(f"a{axis} (m/s^2)" for axis in recording.axes)]
    text = io.StringIO()
    np.savetxt(
        text,
        np.column_stack([recording.time_s(), recording.samples]),
        fmt=["%.5f", *["%.4f"] * len(recording.axes)],
        delimiter=",",
        header=",".join(titles),
        comments="",
    )
    content = text.getvalue().encode()
    # A gzip header holds the time of writing; 0 leaves it out.
    try:
        path.write_bytes(gzip.compress(content, mtime=0) if path.suffix == ".gz" else content)
    except OSError as error:
        raise _not_written(path, error) from error


def write_sound(recording: Recording, path: str | Path) -> None:
    """Write sound as 16 bit ``.wav`` or ``.flac``, marked in its comment as simulated.

    Raises
    ------
    SimulateError
        If the recording is no sound, its rate is no whole number, the name ends in something
        else, or the file cannot be written.
    """
    path = Path(path)
    rate = recording.sample_rate
    if recording.kind != "sound" or recording.samples is None or rate is None:
        raise SimulateError(f"{path.name}: a sound file takes even sound, not {recording.kind}")
    if rate != round(rate):
        raise SimulateError(f"{path.name}: a sound file needs a whole rate in Hz, not {rate:g}")
    if path.suffix.lower() not in (".wav", ".flac"):
        raise SimulateError(f"{path.name}: name the sound file .wav or .flac")
    try:
        with soundfile.SoundFile(
            path, "w", samplerate=round(rate), channels=len(recording.axes), subtype="PCM_16"
        ) as file:
            file.comment = "simulated, invented data"
            file.write(recording.samples)
    except soundfile.LibsndfileError as error:
        raise _not_written(path, error) from error


def _not_written(path: Path, error: Exception) -> SimulateError:
    return SimulateError(f"{path}: cannot be written ({error}); choose another place")
