"""What inputs are put to: each takes a folder of its own and the input, as a person would hand it.

It ends in silence, which is acceptance of something sane, or in a `VibetrendError`.
"""

import contextlib
import json
import math
import os
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import h5py  # noqa: F401  # in time: as it is imported it asks the system for a processor's name
import numpy as np
import pyarrow.parquet  # noqa: F401
import targets_logbook

from vibetrend import quantities, units
from vibetrend.cli import options
from vibetrend.engine import Engine
from vibetrend.engine import stated as engine_stated
from vibetrend.engine.expected import cylinder_orders, expected_orders
from vibetrend.engine.firing import firing
from vibetrend.engine.recording_speed import conflict_words, recording_speed
from vibetrend.engine.writing import engine_file
from vibetrend.errors import VibetrendError
from vibetrend.ingest import calibrator, kept_content, photo, quantity, read, tags
from vibetrend.orders import measure
from vibetrend.recording import Recording
from vibetrend.settings import SETTINGS_VARIABLE, card_link, mail_settings, shown_units
from vibetrend.watch.defaults import read_defaults

_MEASURED = 8  # of so many accepted recordings one is measured, which takes longer than reading
_MEASURED_S = 3.0
_USUAL_RPM = 1080.0
_LONGEST_NOTE = 500  # characters
_TABLE = "time (s),ax (m/s^2),ay (m/s^2),tacho (V)\n" + "".join(
    f"{i / 200:.3f},{i % 7 - 3},{i % 5 / 4},{5 * (i % 8 < 4)}\n" for i in range(400)
)


def _file(name: str) -> Callable[[Path, bytes], None]:
    """Return a target that reads a file of this name."""

    def put(folder: Path, data: bytes) -> None:
        path = folder / name
        path.write_bytes(data)
        recording = read(path)
        _see_that_sane(recording)
        _see_that_kept(recording)
        if zlib.crc32(data) % _MEASURED == 0:
            _measured(recording)

    return put


def _measured_file(folder: Path, data: bytes) -> None:
    path = folder / "clip.bin"
    path.write_bytes(data)
    recording = read(path)
    _see_that_sane(recording)
    _measured(recording)


def _measured(recording: Recording) -> None:
    recording = _beginning(recording)
    measurement = measure(replace(recording, rpm=recording.rpm or _USUAL_RPM))
    json.dumps(measurement.to_dict(), allow_nan=False)
    assert measurement.speed.rpm > 0
    for note in measurement.quality:
        _see_that_plain(note.message)


def _beginning(recording: Recording) -> Recording:
    """Return a recording's first seconds: what measuring takes grows with the length."""
    samples, times = recording.samples, recording.times
    if samples is None:
        return recording
    if times is None:
        return replace(recording, samples=samples[: int(_MEASURED_S * recording.mean_rate_hz) + 2])
    end = max(2, int(np.searchsorted(times, times[0] + _MEASURED_S)))
    if times[end - 1] == times[0]:
        return recording
    return replace(recording, samples=samples[:end], times=times[:end])


def _playlist(folder: Path, data: bytes) -> None:
    for name in ("clip.csv", "clip.m4a", "clip.wav"):
        path = folder / name
        path.write_bytes(data)
        try:
            _see_that_sane(read(path))
        finally:
            path.unlink()


def _calibrator(folder: Path, data: bytes) -> None:
    path = folder / "calibrator.wav"
    path.write_bytes(data)
    assert quantity.unit_of(calibrator.full_scale(path)).si == "Pa"


def _name(folder: Path, data: bytes) -> None:
    name = os.fsdecode(data.replace(b"/", b"|"))
    said = tags.in_name(name)
    assert said.rpm is None or 0 < said.rpm < math.inf
    assert said.hours is None or 0 <= said.hours < math.inf
    path = folder / name
    if name in ("", ".", ".."):
        return
    with contextlib.suppress(OSError, ValueError):  # no name of a file
        path.write_text(_TABLE)
    try:
        _see_that_sane(read(path))
    except VibetrendError as error:
        # The path is the person's own, who typed it: the command line writes it out.
        raise type(error)(str(error).replace(str(path), "the file")) from error
    finally:
        if "\0" not in name and len(os.fsencode(name)) < 255:
            path.unlink(missing_ok=True)


def _side_file(folder: Path, data: bytes) -> None:
    table, sound = folder / "beside.csv", folder / "beside.wav"
    if not sound.exists():
        table.write_text(_TABLE)
        sound.write_bytes(_sound())
    (folder / "beside.toml").write_bytes(data)
    for path in (table, sound):
        _see_that_sane(read(path))


def _folder_file(folder: Path, data: bytes) -> None:
    path = folder / "folder.toml"
    path.write_bytes(data)
    defaults = read_defaults([path, path])
    assert defaults.engine is None or defaults.engine


def _engine(folder: Path, data: bytes) -> None:
    path = folder / "engine.toml"
    path.write_bytes(data)
    engine = Engine.load(path)
    again = Engine.parse(
        engine_file(engine.model_dump(mode="json", exclude_none=True), file="engine.toml")
    )
    assert again == engine
    for value in (
        *cylinder_orders(engine),
        *(order for _, order in engine.belt_lines),
        *firing(engine).intervals_deg,
    ):
        assert math.isfinite(value)
    for expected in expected_orders(engine):
        assert math.isfinite(expected.order)
    for words in conflict_words(recording_speed(engine).conflicts):
        _see_that_plain(words)


def _settings(folder: Path, data: bytes) -> None:
    path = folder / "settings.toml"
    path.write_bytes(data)
    path.chmod(0o600)
    os.environ[SETTINGS_VARIABLE] = str(path)
    _all_of(shown_units, card_link, mail_settings)


def _photo(folder: Path, data: bytes) -> None:  # noqa: ARG001  # it never comes near a file
    kept = photo.checked(data, name="rim.jpg")
    assert len(kept.content) == len(data) or kept.located
    if kept.has_small:
        small = photo.thumbnail(kept.content)
        assert small.startswith(b"\xff\xd8\xff")
        assert len(small) < 1_000_000


def _typed(folder: Path, data: bytes) -> None:  # noqa: ARG001  # it never comes near a file
    """Take a text as each of what a person may type as a reading, a unit or a limit."""
    text = data.decode("utf-8", errors="surrogateescape")
    _all_of(
        lambda: _finite(_converted(options.Number(), text)),
        lambda: _finite(*_converted(options.Numbers(), text)),
        lambda: _finite(_converted(options.Amount("240 mm"), text)[0]),
        lambda: _finite(_converted(options.Amount("240 mm", unit_needed=False), text)[0]),
        lambda: _converted(options.Date(), text).toordinal(),
        lambda: _finite(quantities.unit(text).factor),
        lambda: _finite(units.unit(text).factor),
        lambda: _finite(quantity.unit_of(text).factor),
        lambda: _finite(quantity.sensitivity(text).volts_per_si),
        lambda: engine_stated.firing_order(text),
        lambda: engine_stated.firing_intervals(text),
        lambda: engine_stated.generator(text),
        lambda: engine_stated.driven_part(text),
        lambda: engine_stated.limit(text),
    )


class _UsageError(VibetrendError):
    """Wrong usage, which the command line prints like every other error."""


def _converted(kind: "click.ParamType[Any]", text: str) -> Any:
    try:
        return kind.convert(text, None, None)
    except click.UsageError as error:
        raise _UsageError(error.format_message()) from error


def _finite(*values: float) -> None:
    assert all(math.isfinite(value) for value in values), f"accepted {values}"


def _all_of(*ways: Callable[[], object]) -> None:
    """Go all ways; refused is what every one refuses."""
    refused: list[VibetrendError] = []
    for way in ways:
        try:
            way()
        except VibetrendError as error:
            if not str(error).isprintable():
                raise
            refused.append(error)
    if len(refused) == len(ways):
        raise max(refused, key=lambda error: len(str(error)))


def _see_that_sane(recording: Recording) -> None:
    if recording.samples is not None:
        assert recording.count >= 2
        assert np.isfinite(recording.samples).all()
        assert len(set(recording.axes)) == recording.samples.shape[1]
        times = recording.time_s()
        assert np.isfinite(times[[0, -1]]).all()
        assert recording.times is None or (np.diff(times) >= 0).all()
        assert 0 < recording.mean_rate_hz < math.inf
        assert 0 < recording.duration_s < math.inf
    if recording.tacho is not None:
        assert np.isfinite(recording.tacho.edge_times).all()
        assert (np.diff(recording.tacho.edge_times) > 0).all()
        assert recording.tacho.teeth_per_turn > 0
    assert recording.rpm is None or 0 < recording.rpm < math.inf
    assert recording.hours is None or 0 <= recording.hours < math.inf
    for note in recording.notes:
        _see_that_plain(note.message)


def _see_that_plain(text: str) -> None:
    assert text.isprintable(), f"unprintable: {text!r:.300}"
    assert len(text) <= _LONGEST_NOTE, f"{len(text)} characters: {text!r:.300}"


def _see_that_kept(recording: Recording) -> None:
    """See that what is kept of a file that tells a place is as long as what was read."""
    source = recording.source
    assert source is not None
    if source.location or source.coordinates:
        with kept_content(source, with_location=False) as (stream, kept):
            assert stream.seek(0, os.SEEK_END) > 0
            assert not kept.location


def _sound() -> bytes:
    tone = (8000 * np.sin(np.arange(4000) / 9)).astype("<i2").tobytes()
    head = b"WAVEfmt \x10\0\0\0\x01\0\x01\0\x40\x1f\0\0\x80\x3e\0\0\x02\0\x10\0data"
    body = head + len(tone).to_bytes(4, "little") + tone
    return b"RIFF" + len(body).to_bytes(4, "little") + body


TARGETS: dict[str, Callable[[Path, bytes], None]] = {
    "table": _file("clip.csv"),
    "sound": _file("clip.wav"),
    "container": _file("clip.m4a"),
    "universal": _file("clip.uff"),
    "matlab": _file("clip.mat"),
    "matlab 7.3": _file("clip.mat"),
    "parquet": _file("clip.parquet"),
    "archive": _file("clip.zip"),
    "playlist": _playlist,
    "measured": _measured_file,
    "calibrator": _calibrator,
    "name": _name,
    "side file": _side_file,
    "folder file": _folder_file,
    "engine": _engine,
    "settings": _settings,
    "photo": _photo,
    "typed": _typed,
    **targets_logbook.TARGETS,
}
