"""Tables as other people's devices and programs write them, none of them seen by the reader.

Everything here is invented: the signals, dates, places, devices and the layouts themselves,
which follow general habits of phones, spreadsheets, microcontrollers, oscilloscopes and loggers.
They were written without looking at the reader. No file here was ever recorded.

Where several answers are possible, three axes are expected rather than one, acceleration rather
than rotation, and acceleration without gravity where both are given.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

G = 9.80665  # m/s^2
ROWS = 200
START = dt.datetime(2025, 3, 14, 12, 5, 7, tzinfo=dt.UTC)
EPOCH = int(START.timestamp())
# A double that counts seconds since 1970 has steps of 2.4e-7 s.
ABSOLUTE = 2.5e-7


@dataclass(frozen=True, eq=False)
class Expected:
    """What a careful person reads from the file, in SI units."""

    kind: str
    unit: str
    axes: tuple[str, ...] | None  # None: one column, whatever it is called
    samples: FloatArray  # (n, axes)
    tolerance: float  # half of the last digit written
    times: FloatArray  # (n,) seconds from the first sample, as written
    time_tolerance: float


@dataclass(frozen=True, eq=False)
class Layout:
    """A file and what is in it; no hints are needed to read it."""

    file_name: str
    content: bytes
    expected: Expected


@dataclass(frozen=True, eq=False)
class Clock:
    """Times as whole numbers of the layout's smallest step."""

    ticks: IntArray
    decimals: int  # 3: a tick is a millisecond

    def seconds(self, start: int = 0, mark: str = ".") -> list[str]:
        """Return the times as decimal numbers of seconds."""
        one = 10**self.decimals
        return [
            f"{start + tick // one}{mark}{tick % one:0{self.decimals}d}"
            for tick in self.ticks.tolist()
        ]

    def moments(self, start: dt.datetime) -> list[tuple[dt.datetime, str]]:
        """Return date and time to the second, and the digits after it."""
        one = 10**self.decimals
        return [
            (start + dt.timedelta(seconds=tick // one), f"{tick % one:0{self.decimals}d}")
            for tick in self.ticks.tolist()
        ]


def _clock(rate: float, decimals: int, *, jitter: float = 0.0, seed: int = 1) -> Clock:
    uneven = np.random.default_rng(seed).uniform(-jitter, jitter, ROWS)
    uneven[0] = 0.0
    ticks = np.floor((np.arange(ROWS) + uneven) / rate * 10**decimals + 0.5)
    return Clock(ticks.astype(np.int64), decimals)


def _shaking(rate: float, *, seed: int, gravity: bool = True) -> FloatArray:
    """Return x, y and z in m/s^2; gravity lies on z."""
    random = np.random.default_rng(seed)
    t = np.arange(ROWS)[:, np.newaxis] / rate
    signal = (
        np.array([1.1, 0.7, 1.6]) * np.sin(2 * np.pi * 17.3 * t + np.array([0.2, 1.3, 2.5]))
        + np.array([0.4, 0.9, 0.3]) * np.sin(2 * np.pi * 34.6 * t + np.array([1.0, 0.1, 2.0]))
        + random.normal(0.0, 0.05, (ROWS, 3))
    )
    return np.asarray(signal + np.array([0.0, 0.0, G if gravity else 0.0]), dtype=np.float64)


def _expected(
    samples: FloatArray,
    clock: Clock,
    tolerance: float,
    *,
    kind: str = "acceleration",
    unit: str = "m/s^2",
    absolute: bool = False,
) -> Expected:
    data = samples if samples.ndim == 2 else samples[:, np.newaxis]
    step = 10.0**-clock.decimals
    return Expected(
        kind=kind,
        unit=unit,
        axes=("x", "y", "z") if data.shape[1] == 3 else None,
        samples=data,
        tolerance=tolerance * (1 + 1e-6),
        times=(clock.ticks - clock.ticks[0]) * step,
        time_tolerance=0.5 * step + (ABSOLUTE if absolute else 0.0),
    )


def _words(values: NDArray[np.floating[Any]], form: str, mark: str = ".") -> list[list[str]]:
    data = values if values.ndim == 2 else values[:, np.newaxis]
    return [[format(v, form).replace(".", mark) for v in row] for row in data.tolist()]


def _text(lines: Iterable[str], end: str = "\n") -> str:
    return "".join(line + end for line in lines)


def _rows(separator: str, *columns: Sequence[str] | Sequence[list[str]]) -> list[str]:
    """Join columns, or blocks of columns, row by row."""
    rows = []
    for parts in zip(*columns, strict=True):
        cells: list[str] = []
        for part in parts:
            cells += [part] if isinstance(part, str) else part
        rows.append(separator.join(cells))
    return rows


def _german_decimal_comma() -> Layout:
    a, clock = _shaking(200, seed=11), _clock(200, 6, jitter=0.02)
    total = np.sqrt((a**2).sum(axis=1))
    lines = [
        "Zeit (s);Beschleunigung x (m/s²);Beschleunigung y (m/s²);Beschleunigung z (m/s²);"
        "Beschleunigung gesamt (m/s²)",
        *_rows(";", clock.seconds(0, ","), _words(a, ".5f", ","), _words(total, ".5f", ",")),
    ]
    return Layout("Messung.csv", _text(lines, "\r\n").encode("cp1252"), _expected(a, clock, 5e-6))


def _phone_sensors_as_columns() -> Layout:
    a, clock = _shaking(100, seed=12), _clock(100, 3, jitter=0.1)
    random = np.random.default_rng(12)
    gyro = _words(random.normal(0, 0.02, (ROWS, 3)), ".6f")
    lines = [
        "timestamp_ms,gyroscope_x,gyroscope_y,gyroscope_z,accelerometer_x,accelerometer_y,"
        "accelerometer_z,magnetometer_x,magnetometer_y,magnetometer_z,latitude,longitude,speed"
    ]
    for i, tick in enumerate(clock.ticks.tolist()):
        field = ["21.06", "-4.31", f"{-43 - i % 7 / 10:.2f}"] if i % 4 == 1 else ["NaN"] * 3
        place = ["12.345678", "-34.567891", "0.0"] if i % 100 == 30 else ["", "", ""]
        cells = [str(EPOCH * 1000 + tick), *gyro[i], *_words(a[i : i + 1], ".6f")[0]]
        lines.append(",".join([*cells, *field, *place]))
    return Layout(
        "all_sensors.csv", _text(lines).encode(), _expected(a, clock, 5e-7, absolute=True)
    )


def _long_table_of_sensors() -> Layout:
    a, clock = _shaking(200, seed=13), _clock(200, 9, jitter=0.05)
    random = np.random.default_rng(13)
    gyro = _words(random.normal(0, 0.03, (ROWS, 3)), ".5f")
    lines = ["time_ns;sensor;x;y;z"]
    for i, (tick, row) in enumerate(zip(clock.ticks.tolist(), _words(a, ".5f"), strict=True)):
        now = EPOCH * 10**9 + tick
        lines.append(";".join([str(now), "accelerometer", *row]))
        lines.append(";".join([str(now + 812_345), "gyroscope", *gyro[i]]))
        if i % 4 == 0:
            field = [f"{20 + i % 3:.5f}", "-4.12500", "-42.93750"]
            lines.append(";".join([str(now + 1_500_000), "magnetometer", *field]))
    return Layout("stream.csv", _text(lines).encode(), _expected(a, clock, 5e-6, absolute=True))


def _linear_beside_gravity() -> Layout:
    a, clock = _shaking(200, seed=14, gravity=False), _clock(200, 4, jitter=0.02)
    lines = [
        "\t".join(
            ["time (s)"]
            + [f"acceleration {axis} (m/s^2)" for axis in "xyz"]
            + [f"linear acceleration {axis} (m/s^2)" for axis in "xyz"]
        ),
        *_rows("\t", clock.seconds(), _words(a + np.array([0.0, 0.0, G]), ".4f"), _words(a, ".4f")),
    ]
    return Layout("motion.tsv", _text(lines).encode(), _expected(a, clock, 5e-5))


def _spanish_all_quoted() -> Layout:
    """Decimal commas between separating commas: only the quotes tell them apart."""
    a, clock = _shaking(250, seed=15), _clock(250, 3)
    heads = ["Tiempo (s)", *(f"Aceleración {axis} (m/s²)" for axis in "XYZ")]
    lines = [
        '"' + '","'.join(heads) + '"',
        *(f'"{row}"' for row in _rows('","', clock.seconds(0, ","), _words(a, ".5f", ","))),
    ]
    return Layout(
        "medición.csv", _text(lines, "\r\n").encode("utf-8-sig"), _expected(a, clock, 5e-6)
    )


def _french_sheet() -> Layout:
    """A title row, empty rows and columns, and the units in a row of their own."""
    a, clock = _shaking(400, seed=16), _clock(400, 4)
    lines = [
        ";;;;;;",
        ";Essai moteur, banc n° 2, capteur fixé à la cire;;;;;",
        ";;;;;;",
        ";Temps;;Accélération X;Accélération Y;Accélération Z;",
        ";s;;m/s²;m/s²;m/s²;",
        *(
            f";{time};;{';'.join(row)};"
            for time, row in zip(clock.seconds(0, ","), _words(a, ".4f", ","), strict=True)
        ),
    ]
    return Layout("Feuille 1.csv", _text(lines, "\r\n").encode("cp1252"), _expected(a, clock, 5e-5))


def _italian_utf16() -> Layout:
    a, clock = _shaking(200, seed=17), _clock(200, 3)
    lines = [
        "\t".join(["Tempo [s]", *(f"Accelerazione {axis} [m/s²]" for axis in "XYZ")]),
        *_rows("\t", clock.seconds(0, ","), _words(a, ".5f", ",")),
    ]
    content = b"\xff\xfe" + _text(lines, "\r\n").encode("utf-16-le")
    return Layout("esportazione.txt", content, _expected(a, clock, 5e-6))


def _dutch_utf16_without_mark() -> Layout:
    a, clock = _shaking(200, seed=18), _clock(200, 3)
    lines = [
        ";".join(["Tijd (s)", *(f"Versnelling {axis} (g)" for axis in "xyz")]),
        *_rows(";", clock.seconds(0, ","), _words(a / G, ".6f", ",")),
    ]
    content = _text(lines, "\r\n").encode("utf-16-le")
    return Layout("meting.csv", content, _expected(a, clock, 5e-7 * G))


def _norwegian_split_date() -> Layout:
    a, clock = _shaking(200, seed=19), _clock(200, 3)
    moments = clock.moments(START)
    lines = [
        ";".join(["Dato", "Klokkeslett", *(f"Akselerasjon {axis} (m/s²)" for axis in "XYZ")]),
        *_rows(
            ";",
            [f"{second:%d.%m.%Y}" for second, _ in moments],
            [f"{second:%H:%M:%S},{rest}" for second, rest in moments],
            _words(a, ".4f", ","),
        ),
    ]
    return Layout("måling.csv", _text(lines).encode(), _expected(a, clock, 5e-5, absolute=True))


def _portuguese_whole_milli_g() -> Layout:
    """No decimals anywhere, and a separator at the end of each row."""
    a, clock = _shaking(100, seed=20), _clock(100, 3)
    lines = [
        "Tempo (ms);Aceleração X (mg);Aceleração Y (mg);Aceleração Z (mg);",
        *(
            row + ";"
            for row in _rows(
                ";", [str(t) for t in clock.ticks.tolist()], _words(a / G * 1e3, ".0f")
            )
        ),
    ]
    return Layout("registo.csv", _text(lines).encode(), _expected(a, clock, 5e-4 * G))


def _iso_8601_with_zone() -> Layout:
    a, clock = _shaking(400, seed=21), _clock(400, 6, jitter=0.03)
    moments = clock.moments(START.astimezone(dt.timezone(dt.timedelta(hours=1))))
    stamps = [f"{second:%Y-%m-%dT%H:%M:%S}.{rest}+01:00" for second, rest in moments]
    lines = ["time,ax,ay,az,temperature", *_rows(",", stamps, _words(a, ".5f"), ["21.5"] * ROWS)]
    return Layout("node-3.csv", _text(lines).encode(), _expected(a, clock, 5e-6, absolute=True))


def _twelve_hour_clock() -> Layout:
    """One axis; 12:59:59 PM is followed by 1:00:00 PM."""
    a, clock = _shaking(200, seed=22)[:, 2], _clock(200, 3)
    later = Clock(clock.ticks + 500, 3)
    stamps = [
        f"{second.month}/{second.day}/{second.year} {int(f'{second:%I}')}:{second:%M:%S}.{rest} PM"
        for second, rest in later.moments(START.replace(hour=12, minute=59, second=59))
    ]
    lines = ["Date/Time,Acceleration (g)", *_rows(",", stamps, _words(a / G, ".5f"))]
    return Layout(
        "logger export.csv",
        _text(lines, "\r\n").encode(),
        _expected(a, clock, 5e-6 * G, absolute=True),
    )


def _elapsed_clock_in_spaces() -> Layout:
    """Columns stand below each other; the units have a row of their own."""
    a, clock = _shaking(400, seed=23), _clock(400, 3)
    since = [59_800 + tick for tick in clock.ticks.tolist()]  # ms
    stamps = [f"00:{t // 60_000:02d}:{t // 1000 % 60:02d}.{t % 1000:03d}" for t in since]
    lines = [
        f"{'Elapsed':>14}{'Accel_X':>12}{'Accel_Y':>12}{'Accel_Z':>12}",
        f"{'(hh:mm:ss.mmm)':>14}{'(g)':>12}{'(g)':>12}{'(g)':>12}",
        *(
            f"{stamp:>14}" + "".join(f"{cell:>12}" for cell in row)
            for stamp, row in zip(stamps, _words(a / G, ".5f"), strict=True)
        ),
    ]
    return Layout("run.prn", _text(lines).encode(), _expected(a, clock, 5e-6 * G))


def _time_in_last_column() -> Layout:
    a, clock = _shaking(400, seed=24), _clock(400, 5, jitter=0.05)
    lines = [
        "Accel_X (g),Accel_Y (g),Accel_Z (g),Time (s)",
        *_rows(",", _words(a / G, ".6f"), clock.seconds(12)),
    ]
    return Layout("DATA0007.CSV", _text(lines).encode(), _expected(a, clock, 5e-7 * G))


def _sample_rate_in_preamble() -> Layout:
    a, clock = _shaking(400, seed=25), Clock(np.arange(ROWS, dtype=np.int64) * 25_000, 7)
    lines = [
        "Accelerometer data",
        "Serial number = 000123",
        "Sample rate = 400 Hz",
        "Range = 4 g",
        "",
        "Sample,X (m/s^2),Y (m/s^2),Z (m/s^2)",
        *_rows(",", [str(i + 1) for i in range(ROWS)], _words(a, ".5f")),
    ]
    return Layout("capture.txt", _text(lines, "\r\n").encode(), _expected(a, clock, 5e-6))


def _microseconds_on_a_serial_line() -> Layout:
    a, clock = _shaking(250, seed=26), _clock(250, 6, jitter=0.01)
    lines = [
        "",
        "booting...",
        "accelerometer found, range +/-4g",
        "micros,ax_g,ay_g,az_g",
        *_rows(",", [str(3_204_816 + t) for t in clock.ticks.tolist()], _words(a / G, ".4f")),
    ]
    return Layout("serial.log", _text(lines, "\r\n").encode(), _expected(a, clock, 5e-5 * G))


def _pipes() -> Layout:
    a, clock = _shaking(200, seed=27), _clock(200, 3)
    lines = [
        "| time [s] | x [m/s²] | y [m/s²] | z [m/s²] |",
        "|----------|----------|----------|----------|",
        *(
            "| " + " | ".join([f"{time:>8}", *(f"{cell:>8}" for cell in row)]) + " |"
            for time, row in zip(clock.seconds(), _words(a, ".4f"), strict=True)
        ),
    ]
    return Layout("notes.txt", _text(lines).encode(), _expected(a, clock, 5e-5))


def _old_mac_epoch_seconds() -> Layout:
    a, clock = _shaking(200, seed=28), _clock(200, 6, jitter=0.04)
    lines = [
        "unix time (s),acc x (g),acc y (g),acc z (g)",
        *_rows(",", clock.seconds(EPOCH), _words(a / G, ".5f")),
    ]
    return Layout(
        "old.csv", _text(lines, "\r").encode(), _expected(a, clock, 5e-6 * G, absolute=True)
    )


def _header_again_and_blank_lines() -> Layout:
    a, clock = _shaking(400, seed=29), _clock(400, 6, jitter=0.02)
    head = "epoch_us\taccX [m/s2]\taccY [m/s2]\taccZ [m/s2]\tbattery [V]"
    stamps = [str(EPOCH * 10**6 + t) for t in clock.ticks.tolist()]
    rows = _rows("\t", stamps, _words(a, ".4f"), ["3.91"] * ROWS)
    lines = [head, *rows[:80], "", "", head, *rows[80:150], "", *rows[150:]]
    return Layout("joined.txt", _text(lines).encode(), _expected(a, clock, 5e-5, absolute=True))


def _swedish_footer() -> Layout:
    """One column of velocity, with its statistics below it."""
    v, clock = _shaking(200, seed=30, gravity=False)[:, 0] * 3.0, _clock(200, 3)  # mm/s
    lines = [
        "Tid (s);Vibrationshastighet (mm/s)",
        *_rows(";", clock.seconds(0, ","), _words(v, ".4f", ",")),
        "",
        *(
            f"{name};{value:.4f}".replace(".", ",")
            for name, value in [
                ("Medelvärde", v.mean()),
                ("Max", v.max()),
                ("Min", v.min()),
                ("Standardavvikelse", v.std()),
            ]
        ),
    ]
    expected = _expected(v * 1e-3, clock, 5e-8, kind="velocity", unit="m/s")
    return Layout("mätning.csv", _text(lines).encode("cp1252"), expected)


def _cut_in_the_last_line() -> Layout:
    """The last line ends within its second number: 199 rows are whole."""
    a, clock = _shaking(200, seed=31), _clock(200, 4, jitter=0.03)
    rows = _rows(",", clock.seconds(), _words(a, ".5f"))
    text = _text(["seconds,x,y,z", *rows[:-1]]) + rows[-1][:11]
    whole = Clock(clock.ticks[:-1], clock.decimals)
    return Layout("battery_empty.csv", text.encode(), _expected(a[:-1], whole, 5e-6))


def _oscilloscope() -> Layout:
    """A preamble, then time from the trigger and volts."""
    v, clock = _shaking(400, seed=32, gravity=False)[:, 1] * 0.1, _clock(400, 4)
    seconds = clock.ticks * 1e-4 - 0.25
    lines = [
        '"Model","invented two-channel oscilloscope"',
        '"Record Length",200',
        '"Sample Interval",2.500000E-03',
        '"Trigger Point",100',
        '"Horizontal Units","s"',
        '"Vertical Units","V"',
        '"Vertical Scale",5.000000E-02',
        '"Probe Attenuation",1',
        "",
        '"TIME","CH1"',
        *_rows(",", [row[0] for row in _words(seconds, "+.6E")], _words(v, "+.4E")),
    ]
    expected = _expected(v, clock, 5e-6, kind="other", unit="V")
    return Layout("F0003CH1.CSV", _text(lines, "\r\n").encode(), expected)


def _german_laboratory() -> Layout:
    """Sections in brackets; rate and unit stand above the table only."""
    a, clock = _shaking(400, seed=33), Clock(np.arange(ROWS, dtype=np.int64) * 25_000, 7)
    lines = [
        "[Messung]",
        "Datum: 14.03.2025",
        "Uhrzeit: 13:05:07",
        "Prüfer: erfunden",
        "Abtastrate: 400 Hz",
        "Einheit: m/s²",
        "Anzahl Werte: 200",
        "",
        "[Daten]",
        "Nr.\tX\tY\tZ",
        *_rows("\t", [str(i) for i in range(ROWS)], _words(a, ".5f", ",")),
    ]
    return Layout("Versuch.asc", _text(lines, "\r\n").encode("cp1252"), _expected(a, clock, 5e-6))


def _hash_comments_scientific() -> Layout:
    a, clock = _shaking(400, seed=34), _clock(400, 4)
    lines = [
        "# written by a script, everything invented",
        "# t[s] a_x[m/s^2] a_y[m/s^2] a_z[m/s^2]",
    ]
    rows = _rows(" ", [r[0] for r in _words(clock.ticks * 1e-4, "+.6e")], _words(a, "+.6e"))
    lines += [*rows[:100], "# 100 rows so far", *rows[100:]]
    return Layout("out.dat", _text(lines).encode(), _expected(a, clock, 5e-6))


def _percent_comments_milli_g() -> Layout:
    """Times in milliseconds with decimals, three axes in mg with decimals."""
    a, clock = _shaking(400, seed=35), _clock(400, 6, jitter=0.05)
    stamps = [f"{t // 1000}.{t % 1000:03d}" for t in clock.ticks.tolist()]
    lines = [
        "% sensor on the front casting, invented",
        "% no filter",
        "t_ms, ax_mg, ay_mg, az_mg",
        *_rows(", ", stamps, _words(a / G * 1e3, ".4f")),
        "% end",
    ]
    return Layout("trial.txt", _text(lines).encode(), _expected(a, clock, 5e-8 * G))


def _gyroscope_in_degrees() -> Layout:
    w, clock = _shaking(200, seed=36, gravity=False) * 4.0, _clock(200, 3)  # deg/s
    lines = [
        "Zeit in s;Drehrate x in °/s;Drehrate y in °/s;Drehrate z in °/s",
        *_rows(";", clock.seconds(0, ","), _words(w, ".4f", ",")),
    ]
    expected = _expected(
        np.deg2rad(w), clock, float(np.deg2rad(5e-5)), kind="rotation", unit="rad/s"
    )
    return Layout("Kreisel.csv", _text(lines).encode("cp1252"), expected)


_WRITERS: tuple[Callable[[], Layout], ...] = (
    _german_decimal_comma,
    _phone_sensors_as_columns,
    _long_table_of_sensors,
    _linear_beside_gravity,
    _spanish_all_quoted,
    _french_sheet,
    _italian_utf16,
    _dutch_utf16_without_mark,
    _norwegian_split_date,
    _portuguese_whole_milli_g,
    _iso_8601_with_zone,
    _twelve_hour_clock,
    _elapsed_clock_in_spaces,
    _time_in_last_column,
    _sample_rate_in_preamble,
    _microseconds_on_a_serial_line,
    _pipes,
    _old_mac_epoch_seconds,
    _header_again_and_blank_lines,
    _swedish_footer,
    _cut_in_the_last_line,
    _oscilloscope,
    _german_laboratory,
    _hash_comments_scientific,
    _percent_comments_milli_g,
    _gyroscope_in_degrees,
)

LAYOUTS: dict[str, Layout] = {write.__name__.removeprefix("_"): write() for write in _WRITERS}
