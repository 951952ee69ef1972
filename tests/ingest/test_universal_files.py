"""Universal files: known values back from text and binary, mixed content, damage.

The records are written here by the published format (UC-SDRL, universal file datasets 58 with
addenda A and B, 58b, 164); the second route is pyuff, which writes and reads them on its own.
"""

import datetime as dt
import io
import struct
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyuff
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray

from vibetrend.errors import ReadError
from vibetrend.ingest import read, universal
from vibetrend.ingest.found import Found
from vibetrend.ingest.tags import Stated
from vibetrend.units import STANDARD_GRAVITY as G

FloatArray = NDArray[np.float64]

RATE = 256.0  # a power of two: its step is exact in any number of digits
SHAKE = np.round(np.random.default_rng(58).normal(scale=3.0, size=(3, 50)), 4)
SINGLE = 1e-5 / 2 * 10  # E13.5 has 6 digits; the largest value is below 10
DELIMITER = b"    -1\n"


def record_lines(
    *,
    function: int = 1,
    direction: int = 1,
    node: int = 1,
    form: int = 2,
    count: int = 50,
    even: bool = True,
    step: float = 1 / RATE,
    abscissa: int = 17,
    ordinate: int = 12,
    unit: str = "m/s2",
    title: str = "NONE",
    created: str = "01-MAY-26 10:20:03",
) -> bytes:
    """Return records 1 to 11."""
    lines = [
        title,
        "NONE",
        created,
        "NONE",
        "NONE",
        f"{function:5d}{1:10d}{0:5d}{0:10d} {'NONE':10s}{node:10d}{direction:4d} "
        f"{'NONE':10s}{0:10d}{0:4d}",
        f"{form:10d}{count:10d}{int(even):10d}{0:13.5E}{step if even else 0:13.5E}{0:13.5E}",
        f"{abscissa:10d}{0:5d}{0:5d}{0:5d} {'Time':20s} {'s':20s}",
        f"{ordinate:10d}{0:5d}{0:5d}{0:5d} {'NONE':20s} {unit:20s}",
        f"{0:10d}{0:5d}{0:5d}{0:5d} {'NONE':20s} {'NONE':20s}",
        f"{0:10d}{0:5d}{0:5d}{0:5d} {'NONE':20s} {'NONE':20s}",
    ]
    return "".join(f"{line:80s}\n" for line in lines).encode()


def text_dataset(values: FloatArray, times: FloatArray | None = None, **header: Any) -> bytes:
    """Return a dataset 58 in the Fortran formats of record 12."""
    form = header.get("form", 2)
    value = "{:13.5E}" if form == 2 else "{:20.12E}"
    if times is None:
        fields = [value.format(v) for v in values]
        in_line = 6 if form == 2 else 4
    else:
        pairs = zip(times, values, strict=True)
        fields = [f"{t:13.5E}{value.format(v)}" for t, v in pairs]
        in_line = 3 if form == 2 else 2
    rows = ["".join(fields[i : i + in_line]) for i in range(0, len(fields), in_line)]
    header = {"count": len(values), "even": times is None, **header}
    head = record_lines(**header)
    return DELIMITER + b"    58\n" + head + "\n".join([*rows, ""]).encode() + DELIMITER


def binary_dataset(
    values: FloatArray,
    times: FloatArray | None = None,
    *,
    order: int = 1,
    floating: int = 2,
    times_as: str = "f",
    **header: Any,
) -> bytes:
    """Return a dataset 58b; `order` 1 is little endian, 2 big endian."""
    mark = "<" if order == 1 else ">"
    letter = "f" if header.get("form", 2) == 2 else "d"
    if times is None:
        data = struct.pack(f"{mark}{len(values)}{letter}", *values)
    else:
        pairs = zip(times, values, strict=True)
        data = b"".join(struct.pack(f"{mark}{times_as}{letter}", *pair) for pair in pairs)
    header = {"count": len(values), "even": times is None, **header}
    identifier = f"    58b{order:6d}{floating:6d}{11:12d}{len(data):12d}{0:6d}{0:6d}{0:12d}{0:12d}"
    head = record_lines(**header)
    return DELIMITER + identifier.encode() + b"\n" + head + data + DELIMITER


def units_dataset(*, length: float, force: float) -> bytes:
    record = f"{length:25.17E}{force:25.17E}{1:25.17E}\n{0:25.17E}\n".replace("E", "D")
    return DELIMITER + f"   164\n{9:10d}{'all our own':20s}{2:10d}\n{record}".encode() + DELIMITER


def three(make: Any = text_dataset, **more: Any) -> bytes:
    """Return a file of three directions."""
    sets = [make(v, direction=i + 1, **more) for i, v in enumerate(SHAKE)]
    return b"".join(sets)


def found(data: bytes, **stated: Any) -> Found:
    assert universal.can_read(data[:4096])
    wanted = Stated(**stated)
    return universal.read(io.BytesIO(data), wanted)


@pytest.mark.parametrize("form", [2, 4], ids=["single", "double"])
@pytest.mark.parametrize("uneven", [False, True], ids=["even", "uneven"])
def test_text_gives_its_values_back(form: int, uneven: bool) -> None:
    times = np.arange(50) / RATE if uneven else None
    got = found(three(times=times, form=form))
    assert got.samples is not None
    # E20.12 has 13 digits, all that these values have and more.
    assert_allclose(got.samples, SHAKE.T, rtol=0, atol=SINGLE if form == 2 else 1e-12)
    assert (got.axes, got.kind, got.unit) == (("x", "y", "z"), "acceleration", "m/s^2")
    assert got.date == dt.date(2026, 5, 1)
    assert got.notes == ()
    if times is None:
        assert got.sample_rate == pytest.approx(RATE, rel=5e-6)  # six digits of the step
    else:
        assert_allclose(got.times, times, rtol=5e-6, atol=0)


@pytest.mark.parametrize("order", [1, 2], ids=["little", "big"])
@pytest.mark.parametrize("form", [2, 4], ids=["single", "double"])
@pytest.mark.parametrize("uneven", [False, True], ids=["even", "uneven"])
def test_binary_gives_its_values_back(order: int, form: int, uneven: bool) -> None:
    times = np.arange(50) / RATE if uneven else None
    got = found(three(binary_dataset, times=times, form=form, order=order))
    expected = SHAKE.T.astype(np.float32) if form == 2 else SHAKE.T
    assert_array_equal(got.samples, expected)
    if times is not None:
        assert_array_equal(got.times, times)  # k/256 is exact in single precision


def test_binary_times_in_double_precision_are_told_by_the_delimiter() -> None:
    """Addendum B has the abscissa in single precision always; some programs write double."""
    times = np.arange(50) / 1000
    got = found(three(binary_dataset, times=times, form=4, times_as="d"))
    assert_array_equal(got.times, times)
    assert_array_equal(got.samples, SHAKE.T)


def test_delimiter_inside_binary_data_is_data() -> None:
    values = np.frombuffer(DELIMITER[:-1] + b"\n    -1\n" + b"\0\0", dtype="<f4").astype(float)
    assert len(values) == 4
    got = found(binary_dataset(values))
    assert got.samples is not None
    assert_array_equal(got.samples[:, 0], values)


@pytest.mark.parametrize("end", [b"\r\n", b"\n\n", b" \n"])
def test_line_ends_and_blank_lines(end: bytes) -> None:
    got = found(three().replace(b"\n", end) if end != b"\n\n" else b"\n\n" + three() + b"\n\n")
    assert_allclose(got.samples, SHAKE.T, rtol=0, atol=SINGLE)


# pyuff leaves closing a binary file it wrote to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("binary", [0, 1], ids=["text", "binary"])
@pytest.mark.parametrize("even", [0, 1], ids=["uneven", "even"])
def test_reads_what_pyuff_writes_as_pyuff_does(tmp_path: Path, binary: int, even: int) -> None:
    file = pyuff.UFF(str(tmp_path / "idle.uff"))
    sets = [
        pyuff.prepare_58(
            binary=binary, func_type=1, id1="idle", id3="01-May-26 10:20:03", rsp_node=1,
            rsp_dir=axis, ref_node=0, ref_dir=0, data=values, x=np.arange(50) / RATE,
            abscissa_spacing=even, abscissa_spec_data_type=17, ordinate_spec_data_type=12,
            ordinate_axis_units_lab="g", orddenom_spec_data_type=0,
        )
        for axis, values in zip((1, 2, -3), SHAKE, strict=True)
    ]  # fmt: skip
    file.write_sets(sets, "add")
    back = [each["data"] for each in file.read_sets()]
    recording = read(tmp_path / "idle.uff")
    assert recording.samples is not None
    expected = np.column_stack(back) * [1, 1, -1] * G
    assert_allclose(recording.samples, expected, rtol=1e-15)  # rounding of the product
    assert_allclose(expected, SHAKE.T * [1, 1, -1] * G, atol=1e-9)  # 12 digits
    assert recording.axes == ("x", "y", "z")
    assert recording.date == dt.date(2026, 5, 1)


def test_directions_against_the_axis_are_turned_round() -> None:
    got = found(text_dataset(SHAKE[0], direction=-1) + text_dataset(SHAKE[1], direction=2))
    assert_allclose(got.samples, [-1, 1] * SHAKE[:2].T, atol=SINGLE)
    assert got.axes == ("x", "y")


def test_channels_of_several_nodes_are_named_by_node_and_direction() -> None:
    parts = [(7, 1), (7, 3), (8, 3)]
    data = b"".join(
        text_dataset(values, node=node, direction=direction)
        for (node, direction), values in zip(parts, SHAKE, strict=True)
    )
    assert found(data).axes == ("acceleration 7:x", "acceleration 7:z", "acceleration 8:z")
    got = found(data, columns=("acceleration 8:z", 1))
    assert_allclose(got.samples, SHAKE[[2, 0]].T, atol=SINGLE)


def test_channels_without_direction_are_named_by_their_id_line() -> None:
    data = text_dataset(SHAKE[0], direction=0, title="fore mount")
    data += text_dataset(SHAKE[1], direction=0, title="aft mount")
    assert found(data).axes == ("acceleration fore mount", "acceleration aft mount")


@pytest.mark.parametrize(
    ("ordinate", "direction", "unit", "kind", "si", "factor"),
    [
        (12, 1, "g", "acceleration", "m/s^2", G),
        (12, 1, "(m/s^2)", "acceleration", "m/s^2", 1.0),
        (12, 1, "mm/s^2", "acceleration", "m/s^2", 1e-3),
        (11, 1, "mm/s", "velocity", "m/s", 1e-3),
        (11, 4, "deg/s", "rotation", "rad/s", np.pi / 180),
        (15, 0, "kPa", "pressure", "Pa", 1e3),
        (0, 1, "g", "acceleration", "m/s^2", G),
        (1, 0, "V", "other", "V", 1.0),
        (12, 1, "mV", "other", "V", 1e-3),
    ],
)
def test_units_and_kinds(
    ordinate: int, direction: int, unit: str, kind: str, si: str, factor: float
) -> None:
    got = found(text_dataset(SHAKE[0], ordinate=ordinate, direction=direction, unit=unit))
    assert (got.kind, got.unit) == (kind, si)
    assert got.samples is not None
    assert_allclose(got.samples[:, 0], SHAKE[0] * factor, atol=SINGLE * factor)


@pytest.mark.parametrize(
    ("ordinate", "length", "force", "si", "factor"),
    [
        (12, 1.0, 1.0, "m/s^2", 1.0),
        (12, 1000.0, 1000.0, "m/s^2", 1e-3),  # mm
        (11, 3.28083989501312334, 0.224808943099710480, "m/s", 0.3048),  # ft, lbf
        (15, 1000.0, 1000.0, "Pa", 1e3),  # mN/mm^2
    ],
)
def test_dataset_164_scales_what_has_no_unit_of_its_own(
    ordinate: int, length: float, force: float, si: str, factor: float
) -> None:
    """Universal file units become SI by division (dataset 164); exponents from addendum A."""
    data = units_dataset(length=length, force=force)
    got = found(data + text_dataset(SHAKE[0], ordinate=ordinate, unit="NONE"))
    assert got.unit == si
    assert got.samples is not None
    assert_allclose(got.samples[:, 0], SHAKE[0] * factor, atol=SINGLE * factor, rtol=1e-6)
    assert got.notes == ()
    own = found(data + text_dataset(SHAKE[0], ordinate=12, unit="g")).samples
    assert own is not None
    assert_allclose(own[:, 0], SHAKE[0] * G, atol=SINGLE * G)


def test_no_unit_anywhere_is_assumed_and_noted() -> None:
    got = found(text_dataset(SHAKE[0], unit="NONE"))
    assert (got.kind, got.unit) == ("acceleration", "m/s^2")
    assert [note.code for note in got.notes] == ["unit-assumed"]
    stated = found(text_dataset(SHAKE[0], unit="NONE"), unit="g")
    assert stated.samples is not None
    assert_allclose(stated.samples[:, 0], SHAKE[0] * G, atol=SINGLE * G)


def test_other_functions_and_datasets_are_left_aside() -> None:
    nodes = DELIMITER + b"  2411\n         1         1         1        11\n" + DELIMITER
    # A binary spectrum whose data hold what looks like a delimiter.
    trap = np.frombuffer(b"\n    -1\n    58\n\0", dtype="<f4").astype(float)
    spectra = binary_dataset(trap, function=12, abscissa=18) + text_dataset(
        SHAKE[0], function=4, abscissa=18
    )
    got = found(nodes + spectra + three() + text_dataset(SHAKE[0], ordinate=8, unit="mm"))
    assert_allclose(got.samples, SHAKE.T, atol=SINGLE)
    assert [note.message for note in got.notes] == [
        "not read, being of no use here: spectrum (1), frequency response function (1), "
        "displacement (1)"
    ]


def test_signals_on_another_clock_are_left_out_unless_asked_for() -> None:
    slow = text_dataset(SHAKE[0, :20], step=1 / 8, direction=0, ordinate=11, unit="mm/s")
    got = found(slow + three())
    assert_allclose(got.samples, SHAKE.T, atol=SINGLE)
    assert "sampled at other times" in got.notes[0].message
    asked = found(slow + three(), columns=(1,))
    assert (asked.sample_rate, asked.kind) == (8.0, "velocity")


def test_a_channel_may_be_the_tacho() -> None:
    """A pulse of 5 V every tenth sample: a tape on a shaft at 25.6 turns a second."""
    pulses = np.where(np.arange(200) % 10 < 2, 5.0, 0.0)
    shake = np.tile(SHAKE[0], 4)
    data = text_dataset(shake) + text_dataset(
        pulses, ordinate=1, unit="V", direction=0, title="tape"
    )
    for name in ("tape", 2):
        got = found(data, tacho_column=name, teeth="1")
        assert got.axes == ("x",)
        assert got.tacho is not None
        # Steps of the pulse train are met to within a sample, evenly.
        assert_allclose(np.diff(got.tacho.edge_times), 10 / RATE, rtol=1e-5)


def test_times_in_milliseconds() -> None:
    data = three(times=np.arange(50) * 5.0).replace(
        b"Time                 s ", b"Time                 ms"
    )
    got = found(data)
    assert_allclose(got.times, np.arange(50) * 0.005, rtol=1e-12)


@pytest.mark.parametrize(
    ("created", "date"),
    [
        ("01-MAY-26 10:20:03", dt.date(2026, 5, 1)),
        ("01-May-2026 10:20", dt.date(2026, 5, 1)),
        ("2026-05-01 10:20:03", dt.date(2026, 5, 1)),
        ("03/04/26 10:20:03", None),  # March or April
        ("NONE", None),
    ],
)
def test_date(created: str, date: dt.date | None) -> None:
    assert found(three(created=created)).date == date


def test_numbers_that_fill_their_fields() -> None:
    values = np.array([-1e-100, -2e-100, -3e-100, 4e-100] * 3)  # 13 characters each
    got = found(text_dataset(values))
    assert got.samples is not None
    assert_array_equal(got.samples[:, 0], values)
    with_d = three(form=4).replace(b"E+00", b"D+00").replace(b"E-01", b"D-01")
    assert_allclose(found(with_d).samples, SHAKE.T, atol=1e-12)


def test_a_stated_rate_counts_more_and_is_noted() -> None:
    got = found(three(step=0.0), rate=100.0)
    assert got.sample_rate == 100.0
    assert "rate was stated; the distance of samples in the file" in got.notes[0].message


def test_cut_file_keeps_its_whole_signals() -> None:
    data = three()
    got = found(data[: int(len(data) * 0.9)])
    assert got.axes == ("x", "y")
    assert_allclose(got.samples, SHAKE[:2].T, atol=SINGLE)
    assert [note.code for note in got.notes] == ["truncated"]
    alone = text_dataset(SHAKE[0])
    got = found(alone[:-60])
    assert got.samples is not None
    # Of nine lines of six the last is gone and the eighth is cut.
    assert_allclose(got.samples[:, 0], SHAKE[0, :42], atol=SINGLE)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (DELIMITER + b"    15\n" + DELIMITER, r"with no functions \(dataset 58\); export"),
        (text_dataset(SHAKE[0], function=4, abscissa=18), "with frequency response function;"),
        (text_dataset(SHAKE[0], ordinate=8, unit="mm"), "with displacement; export"),
        (text_dataset(SHAKE[0], form=5), "with complex time response; export"),
        (text_dataset(SHAKE[0], direction=4), "with angular acceleration; export"),
        (text_dataset(SHAKE[0], form=3), "is damaged; copy"),
        (text_dataset(SHAKE[0], count=20), "holds more values than it says"),
        (text_dataset(SHAKE[0], count=10**9), "too long to hold at once"),
        (text_dataset(SHAKE[0], step=0.0), "0 s apart, which cannot be"),
        (text_dataset(SHAKE[0]).replace(b"E+00", b"****"), "is damaged; copy"),
        (text_dataset(SHAKE[0])[:900], "cut short before the end of its first signal"),
        (text_dataset(SHAKE[0]) + b"\n" * 22_000_000, "hardly anything but line ends"),
        (text_dataset(SHAKE[0]) * 201, "more than 200 signals"),
        (binary_dataset(SHAKE[0], floating=1), "computers before IEEE 754; export it as text"),
        (binary_dataset(SHAKE[0], order=3), "is damaged; copy"),
        (binary_dataset(SHAKE[0], count=47), "is damaged; copy"),
    ],
)
def test_says_what_is_wrong(data: bytes, message: str) -> None:
    with pytest.raises(ReadError, match=message):
        found(data)


def test_does_not_claim_other_files() -> None:
    for head in (b"", b"-1\n58\n", b"    -1\n", b"    -1\n    -1\n", b"    -1.0,2\n", b"\0" * 99):
        assert not universal.can_read(head)


@pytest.mark.parametrize("data", [three(), three(binary_dataset)], ids=["text", "binary"])
def test_damage_ends_in_one_plain_error_or_a_recording(data: bytes) -> None:
    data = units_dataset(length=1.0, force=1.0) + data
    generator = np.random.default_rng(3)
    cut = [data[:end] for end in generator.integers(0, len(data), 200)]
    flipped = []
    for _ in range(200):
        damaged = bytearray(data)
        for place in generator.integers(0, len(data), generator.integers(1, 20)):
            damaged[place] = generator.integers(0, 256)
        flipped.append(bytes(damaged))
    begun = time.perf_counter()
    read_so_far, said = 0, []
    for damaged_file in (*cut, *flipped):
        try:
            universal.read(io.BytesIO(damaged_file), Stated())
            read_so_far += 1
        except ReadError as error:
            said.append(str(error))
    assert all(len(text) < 400 and "\n" not in text for text in said)
    assert min(read_so_far, len(said)) > 10  # the damage was not all fatal, so values were read too
    assert time.perf_counter() - begun < 10  # 25 ms each, tens of times what they take
