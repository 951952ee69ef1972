"""Matlab files: many ways to lay a recording out in variables, all versions, damage.

Files of versions 4 to 7 are written by scipy, those of version 7.3 by h5py with the attributes
that Matlab gives them. Second route: scipy's reader on Matlab's own files, which scipy brings.
"""

import datetime as dt
import io
import struct
import sys
import time
import warnings
import zlib
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import scipy.io
from numpy.testing import assert_allclose, assert_array_equal

from vibetrend.errors import ReadError
from vibetrend.ingest import matfile, matlab, read
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated
from vibetrend.units import STANDARD_GRAVITY as G

COUNT, RATE = 300, 200.0
T = np.arange(COUNT) / RATE
SHAKE = np.random.default_rng(7).normal(loc=(0, 0, G), size=(COUNT, 3))
X, Y, Z = SHAKE.T
SAMPLES = Path(scipy.io.__file__).parent / "matlab" / "tests" / "data"


def saved(variables: dict[str, Any], **options: Any) -> bytes:
    buffer = io.BytesIO()
    scipy.io.savemat(buffer, variables, **options)
    return buffer.getvalue()


def saved_73(variables: dict[str, Any], **options: Any) -> bytes:
    """Write an HDF5 file as Matlab does: user block, arrays transposed, a class for each."""
    buffer = io.BytesIO()

    def add(group: Any, items: dict[str, Any]) -> None:
        for name, value in items.items():
            if isinstance(value, dict):
                inner = group.create_group(name)
                inner.attrs["MATLAB_class"] = np.bytes_("struct")
                add(inner, value)
                continue
            text = isinstance(value, str)
            array = np.array([[ord(c)] for c in value], "u2") if text else np.atleast_2d(value).T
            data = group.create_dataset(name, data=array, **({} if array.size == 1 else options))
            data.attrs["MATLAB_class"] = np.bytes_("char" if text else "double")

    with h5py.File(buffer, "w", userblock_size=512) as file:
        add(file, variables)
    data = bytearray(buffer.getvalue())
    data[:128] = b"MATLAB 7.3 MAT-file".ljust(116) + bytes(8) + b"\x00\x02IM"
    return bytes(data)


def found(data: bytes, **stated: Any) -> Found:
    assert matlab.can_read(data[:4096])
    return matlab.read(io.BytesIO(data), Stated(**stated))


WRITERS = {
    "4": lambda v: saved(v, format="4"),
    "5": saved,
    "7 (compressed)": lambda v: saved(v, do_compression=True),
    "7.3": saved_73,
    "7.3 (compressed)": lambda v: saved_73(v, compression="gzip", chunks=True),
}


@pytest.mark.parametrize("write", WRITERS.values(), ids=WRITERS)
@pytest.mark.parametrize("column", [False, True], ids=["rows", "columns"])
def test_every_version_gives_its_values_back(write: Any, column: bool) -> None:
    shaped = {
        name: values[:, np.newaxis] if column else values[np.newaxis]
        for name, values in {"t": T, "ax": X, "ay": Y, "az": Z}.items()
    }
    got = found(write(shaped))
    assert_array_equal(got.samples, SHAKE)
    assert_array_equal(got.times, T)
    assert (got.axes, got.kind, got.unit) == (("x", "y", "z"), "acceleration", "m/s^2")
    assert {note.code for note in got.notes} <= {"unit-assumed"}


LAYOUTS: dict[str, dict[str, Any]] = {
    "columns by name": {"time": T, "x": X, "y": Y, "z": Z},
    "matrix and time": {"t": T, "acc": SHAKE},
    "matrix lying down": {"t": T, "acc": SHAKE.T},
    "matrix and rate": {"acc": SHAKE, "Fs": RATE},
    "matrix and step": {"acc": SHAKE, "dt": 1 / RATE},
    "rate in kHz": {"acc": SHAKE, "fs_kHz": RATE / 1000},
    "time within the matrix": {"data": np.column_stack([T, SHAKE])},
    "nameless matrix": {"data": SHAKE, "sample_rate": RATE},
    "milliseconds": {"t_ms": T * 1000, "acc": SHAKE},
    "unit in the name": {"t": T, "acc_g": SHAKE / G},
    "unit beside it": {"t": T, "acc": SHAKE / G, "unit": "g"},
    "struct": {"rec": {"t": T, "acc": SHAKE, "units": "m/s^2"}},
    "struct in a struct": {"log": {"phone": {"time": T, "ax": X, "ay": Y, "az": Z}}},
    "rate above the struct": {"Fs": RATE, "rec": {"acc": SHAKE}},
    "time above the struct": {"t": T, "acceleration": {"x": X, "y": Y, "z": Z}},
    "struct with its clock": {"acc": {"t": T, "x": X, "y": Y, "z": Z}},
    "sensors of other rates": {
        "acc": {"t": T, "x": X, "y": Y, "z": Z},
        "gyro": {"t": T[:100] * 3, "x": X[:100], "y": Y[:100], "z": Z[:100]},
    },
    "struct named data": {"data": {"x": X, "y": Y, "z": Z, "fs": RATE}},
    "other variables": {"t": T, "acc": SHAKE, "picture": np.zeros((9, 9, 3)), "note": "calm"},
    "single precision": {"t": T, "acc": SHAKE.astype(np.float32)},
    "epoch in whole ms": {"time": 1_777_629_600_000 + np.arange(COUNT) * 5, "acc": SHAKE},
}


@pytest.mark.parametrize("write", [saved, saved_73], ids=["5", "7.3"])
@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_layouts_are_read_without_hints(layout: dict[str, Any], write: Any) -> None:
    got = found(write(layout))
    assert_allclose(got.samples, SHAKE, rtol=2e-7)  # single precision; else a product's rounding
    assert got.kind == "acceleration"
    assert got.unit == "m/s^2"
    assert len(got.axes or "xyz") == 3
    if got.times is None:
        assert got.sample_rate == pytest.approx(RATE, abs=1e-8)  # as written for the table
    else:
        assert_allclose(got.times, T, rtol=1e-12)


def test_column_names_from_a_list_of_texts() -> None:
    labels = np.array(["time (s)", "acc z (g)", "acc x (g)"], dtype=object)
    got = found(saved({"data": np.column_stack([T, Z / G, X / G]), "labels": labels}))
    assert_allclose(got.samples, np.column_stack([Z, X]), rtol=1e-15)
    assert got.axes == ("z", "x")


def test_day_numbers_become_seconds() -> None:
    """Matlab counts days from the year 0: datenum(2026, 5, 1) is 740103."""
    assert dt.date(2026, 5, 1).toordinal() + 366 == 740_103
    got = found(saved({"t": 740_103.5 + T / 86_400, "acc": SHAKE}))
    assert got.times is not None
    assert_allclose(got.times, T, atol=1e-5)  # a float64 has 1.2e-10 days there
    assert got.date == dt.date(2026, 5, 1)


def test_tags_and_date() -> None:
    tags = {"rpm": 1000.0, "hours": 3120.0, "position": "fore mount", "date": "2026-05-01"}
    got = found(saved({"acc": SHAKE, "Fs": RATE, **tags}))
    assert (got.stated.rpm, got.stated.hours, got.stated.position) == (1000, 3120, "fore mount")
    assert got.date == dt.date(2026, 5, 1)


def test_hints_count_more() -> None:
    data = saved({"acc": {"x": X, "y": Y}, "gyro": {"x": Z, "y": Y}, "Fs": RATE})
    assert_array_equal(found(data, columns=("acc.y",)).samples, Y[:, np.newaxis])
    turned = found(data, kind="rotation", unit="deg/s")
    assert_allclose(turned.samples, np.column_stack([Z, Y]) * np.pi / 180, rtol=1e-15)
    assert found(data, rate=50.0).sample_rate == 50.0
    counts = found(saved({"ax": np.round(X * 100), "Fs": RATE}), unit="0.01 g")
    assert_allclose(counts.samples, np.round(X * 100)[:, np.newaxis] * 0.01 * G, rtol=1e-14)
    with pytest.raises(ReadError, match="full_scale is for sound files"):
        found(data, full_scale="1 g")
    with pytest.raises(ReadError, match=r"column 'acc\.w' does not exist"):
        found(data, columns=("acc.w",))


def test_a_variable_may_be_the_tacho() -> None:
    pulses = np.where(np.arange(COUNT) % 10 < 2, 5.0, 0.0)
    data = saved({"rec": {"acc": SHAKE, "tape": pulses}, "Fs": RATE})
    got = found(data, tacho_column="tape", teeth="1")
    assert_array_equal(got.samples, SHAKE)
    assert got.tacho is not None
    assert_allclose(np.diff(got.tacho.edge_times), 10 / RATE, rtol=1e-9)  # rounding of the times


def test_what_is_left_out_is_said() -> None:
    got = found(saved(LAYOUTS["sensors of other rates"]))
    assert "left out: gyro.t, gyro.x, gyro.y, gyro.z" in got.notes[0].message
    mixed = {"acc": SHAKE, "Fs": RATE, "spectrum": X + 1j * Y}
    messages = " ".join(note.message for note in found(saved(mixed)).notes)
    assert "not read, being no plain numbers: spectrum (complex numbers)" in messages


def test_through_the_front_door(tmp_path: Path) -> None:
    file = tmp_path / "idle_1000rpm_3120h_2026-05-01.mat"
    file.write_bytes(saved({"t": T, "acc_g": SHAKE / G}))
    recording = read(file)
    assert (recording.rpm, recording.hours, recording.date) == (1000, 3120, dt.date(2026, 5, 1))
    assert recording.mean_rate_hz == pytest.approx(RATE, rel=1e-12)


@pytest.mark.parametrize("file", sorted(SAMPLES.glob("*.mat")), ids=lambda path: path.name)
def test_agrees_with_scipy_on_files_matlab_wrote(file: Path) -> None:
    data = file.read_bytes()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of deprecated contents
            theirs = scipy.io.loadmat(io.BytesIO(data))
        ours = matfile.variables(data) if matlab.can_read(data) else matfile.Variables()
    except (ReadError, NotImplementedError, TypeError, ValueError, OSError, zlib.error):
        pytest.skip("damaged on purpose, or of version 7.3")
    plain = {
        name: value
        for name, value in theirs.items()
        if isinstance(value, np.ndarray) and value.dtype.kind in "fiub"
    }
    if not ours.whole:
        pytest.skip("damaged on purpose")
    read_here = {
        path[0]: value
        for path, value in ours.values
        if len(path) == 1 and isinstance(value, np.ndarray) and path[0]
    }
    assert read_here.keys() == {name for name in plain if not name.startswith("__")}
    for name, value in read_here.items():
        assert_array_equal(value, plain[name])


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (saved({"note": "calm"}), "without plain arrays of numbers; save timetables"),
        (saved({"S": X + 1j * Y}), r"but with S \(complex numbers\); save timetables"),
        (saved({"acc": SHAKE}), "give the sample rate in Hz with rate"),
        (saved({"c": np.array([X, Y], dtype=object)}), r"c \(cell array\)"),
        (saved({f"v{i}": X[:2] for i in range(1001)}), "more than 1000 columns of numbers"),
        (saved({f"v{i}": 1 for i in range(10_001)}), "more than 10000 variables"),
        (saved({"ax": X})[:600], "cut short before the end of its first array"),
        (saved({"t": T})[:128] + b"\7\0\0\0" * 99, "damaged as a Matlab file"),
    ],
)
def test_says_what_is_wrong(data: bytes, message: str) -> None:
    with pytest.raises(ReadError, match=message):
        found(data)


def test_timetables_are_refused_in_words() -> None:
    """An opaque object has class 17 and no dimensions (MAT-File Format: array flags)."""

    def element(kind: int, body: bytes) -> bytes:
        return struct.pack("<2I", kind, len(body)) + body + bytes(-len(body) % 8)

    opaque = element(6, struct.pack("<2I", 17, 0))
    opaque += element(1, b"TT") + element(1, b"MCOS") + element(1, b"timetable")
    data = saved({})[:128] + element(14, opaque)
    with pytest.raises(ReadError, match=r"but with TT \(object\); save timetables and objects"):
        found(data)
    buffer = io.BytesIO(saved_73({"x": X}))
    with h5py.File(buffer, "r+") as file:
        file["x"].attrs["MATLAB_object_decode"] = np.int32(3)
        file["x"].attrs["MATLAB_class"] = np.bytes_("timetable")
    with pytest.raises(ReadError, match=r"but with x \(timetable\); save timetables and objects"):
        found(buffer.getvalue())


def test_cut_file_keeps_its_whole_variables() -> None:
    data = saved({"acc": SHAKE, "Fs": RATE, "more": np.zeros(1000)})
    got = found(data[:-500])
    assert_array_equal(got.samples, SHAKE)
    assert got.notes[0].code == "truncated"


def test_unpacks_no_more_than_can_be_held() -> None:
    """170 MB of zeros in 170 kB, said to be a matrix."""
    packed = zlib.compress(struct.pack("<2I", 14, 2**27) + bytes(170_000_000))
    data = saved({})[:128] + struct.pack("<2I", 15, len(packed)) + packed
    with pytest.raises(ReadError, match="too long to hold at once"):
        found(data)


def test_sizes_in_hdf5_are_not_believed() -> None:
    buffer = io.BytesIO()
    with h5py.File(buffer, "w") as file:
        file.create_dataset(
            "acc", shape=(3, 10**9), dtype="f8", chunks=(3, 1000), compression="gzip"
        )
    with pytest.raises(ReadError, match="unusual size"):
        found(buffer.getvalue())
    buffer = io.BytesIO()
    with h5py.File(buffer, "w") as file:
        file.create_dataset(
            "acc", shape=(3, 10**9), dtype="f8", chunks=(3, 10**6), compression="gzip"
        )
    with pytest.raises(ReadError, match="too long to hold at once"):
        found(buffer.getvalue())


def test_hdf5_does_not_reach_into_other_files(tmp_path: Path) -> None:
    (tmp_path / "raw.bin").write_bytes(X.tobytes())
    with h5py.File(tmp_path / "other.h5", "w") as other:
        other["x"] = X
    path = tmp_path / "links.mat"
    with h5py.File(path, "w") as file:
        file["far"] = h5py.ExternalLink(str(tmp_path / "other.h5"), "/x")
        file["around"] = h5py.SoftLink("/")
        raw = [(str(tmp_path / "raw.bin"), 0, h5py.h5f.UNLIMITED)]
        file.create_dataset("raw", shape=(COUNT,), dtype="f8", external=raw)
        layout = h5py.VirtualLayout((COUNT,), dtype="f8")
        layout[:] = h5py.VirtualSource(str(tmp_path / "other.h5"), "x", (COUNT,))
        file.create_virtual_dataset("virtual", layout)
    with pytest.raises(ReadError, match=r"raw \(data in other files\), virtual \(data in other"):
        found(path.read_bytes())


def test_says_how_to_get_the_optional_part(monkeypatch: pytest.MonkeyPatch) -> None:
    data = saved_73({"acc": SHAKE, "Fs": RATE})
    monkeypatch.setitem(sys.modules, "h5py", None)
    with pytest.raises(ReadError, match=r"pip install 'vibetrend\[hdf5\]' .* or save .* as CSV"):
        found(data)
    assert found(saved({"acc": SHAKE, "Fs": RATE})).sample_rate == RATE  # needs none


def test_does_not_claim_other_files() -> None:
    for head in (b"", b"\0" * 4096, b"MATLAB", b"RIFF" + b"\0" * 500, b"t,x\n0,1\n" * 500):
        assert not matlab.can_read(head)


RICH = {"t": T[:60], "acc": SHAKE[:60], "rec": {"fs": RATE, "in": {"y": Y[:60], "u": "g"}}}
FILES = {
    "4": saved({"t": T[:60], "acc": SHAKE[:60], "name": "idle"}, format="4"),
    "5": saved({**RICH, "names": np.array(["a", "b", "c"], dtype=object)}),
    "7": saved(RICH, do_compression=True),
    "7.3": saved_73(RICH, compression="gzip", chunks=True),
}


@pytest.mark.parametrize("data", FILES.values(), ids=FILES)
def test_damage_ends_in_one_plain_error_or_a_recording(data: bytes) -> None:
    generator = np.random.default_rng(11)
    cut = [data[:end] for end in generator.integers(0, len(data), 150)]
    flipped = []
    for number in range(200):
        damaged = bytearray(data)
        end = len(data) if number % 2 else min(len(data), 1000)  # headers come first
        for place in generator.integers(0, end, generator.integers(1, 8)):
            damaged[place] = generator.integers(0, 256)
        flipped.append(bytes(damaged))
    begun = time.perf_counter()
    whole, said = 0, []
    for damaged_file in (*cut, *flipped):
        if not matlab.can_read(damaged_file[:4096]):
            continue
        try:
            matlab.read(io.BytesIO(damaged_file), Stated())
            whole += 1
        except ReadError as error:
            said.append(str(error))
    assert all(len(text) < 350 and "\n" not in text for text in said)
    assert min(whole, len(said)) > 10  # the damage was not all fatal, so values were read too
    assert time.perf_counter() - begun < 15  # 50 ms each, ten times what they take
