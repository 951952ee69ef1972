"""More tables as other people's devices and programs write them, none seen by the reader.

Written later than foreign_layouts.py and by the same rules: everything is invented, nobody looked
at the reader, and no file here was ever recorded. Rows without numbers, or that stop early, are
no samples.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from foreign_layouts import (
    ROWS,
    START,
    Clock,
    G,
    Layout,
    _clock,
    _expected,
    _rows,
    _shaking,
    _text,
    _words,
)


def _grouped(ticks: list[int], mark: str) -> list[str]:
    """Return whole numbers with a mark between thousands."""
    return [f"{tick:,}".replace(",", mark) for tick in ticks]


def _polish_spaces_in_the_counter() -> Layout:
    """The spaces do not break, as spreadsheets write them; a million is passed on the way."""
    a, clock = _shaking(100, seed=41), _clock(100, 3, jitter=0.1)
    stamps = _grouped([998_760 + t for t in clock.ticks.tolist()], "\N{NO-BREAK SPACE}")
    lines = [
        ";".join(["Czas [ms]", *(f"Przyspieszenie {axis} [m/s²]" for axis in "XYZ")]),
        *_rows(";", stamps, _words(a, ".5f", ",")),
    ]
    return Layout("pomiar.csv", _text(lines, "\r\n").encode("utf-8-sig"), _expected(a, clock, 5e-6))


def _turkish_dots_in_the_counter() -> Layout:
    """The first half could be decimals, 999.505; then comes 1.000.000."""
    a, clock = _shaking(200, seed=42), _clock(200, 3)
    stamps = _grouped([999_505 + t for t in clock.ticks.tolist()], ".")
    lines = [
        ";".join(["Zaman (ms)", *(f"İvme {axis} (m/s²)" for axis in "XYZ")]),
        *_rows(";", stamps, _words(a, ".4f", ",")),
    ]
    return Layout("ölçüm.csv", _text(lines, "\r\n").encode("cp1254"), _expected(a, clock, 5e-5))


def _italian_month_names() -> Layout:
    """31 marzo becomes 1 aprile half way."""
    a, clock = _shaking(200, seed=43), _clock(200, 3)
    start = dt.datetime(2025, 3, 31, 23, 59, 59, tzinfo=dt.UTC)
    months = {3: "marzo", 4: "aprile"}
    stamps = [
        f"{second.day} {months[second.month]} {second.year} {second:%H:%M:%S},{rest}"
        for second, rest in Clock(clock.ticks + 500, 3).moments(start)
    ]
    lines = [
        ";".join(["Data e ora", *(f"Accelerazione {axis} (g)" for axis in "XYZ")]),
        *_rows(";", stamps, _words(a / G, ".5f", ",")),
    ]
    expected = _expected(a, clock, 5e-6 * G, absolute=True)
    return Layout("prova del 31 marzo.csv", _text(lines, "\r\n").encode(), expected)


def _summer_time_begins() -> Layout:
    """01:59:59.995+01:00 is followed by 03:00:00.000+02:00."""
    a, clock = _shaking(200, seed=44), _clock(200, 3)
    start = dt.datetime(2025, 3, 30, 0, 59, 59, tzinfo=dt.UTC)
    change = dt.datetime(2025, 3, 30, 1, 0, 0, tzinfo=dt.UTC)
    stamps = []
    for second, rest in Clock(clock.ticks + 400, 3).moments(start):
        hours = 1 if second < change else 2
        local = second + dt.timedelta(hours=hours)
        stamps.append(f"{local:%Y-%m-%dT%H:%M:%S}.{rest}+0{hours}:00")
    lines = [
        "recorded_at,accel_x_g,accel_y_g,accel_z_g",
        *_rows(",", stamps, _words(a / G, ".6f")),
    ]
    expected = _expected(a, clock, 5e-7 * G, absolute=True)
    return Layout("night_2025-03-30.csv", _text(lines).encode(), expected)


def _finnish_dots_in_the_clock() -> Layout:
    """No date: 23.59.59,995 is followed by 0.00.00,000."""
    a, clock = _shaking(200, seed=45), _clock(200, 3)
    stamps = [
        f"{second.hour}.{second:%M.%S},{rest}"
        for second, rest in Clock(clock.ticks + 700, 3).moments(
            START.replace(hour=23, minute=59, second=59)
        )
    ]
    lines = [
        ";".join(["Kellonaika", *(f"Kiihtyvyys {axis} (m/s²)" for axis in "XYZ")]),
        *_rows(";", stamps, _words(a, ".5f", ",")),
    ]
    expected = _expected(a, clock, 5e-6, absolute=True)
    return Layout("mittaus.csv", _text(lines, "\r\n").encode("cp1252"), expected)


def _spreadsheet_day_numbers() -> Layout:
    """Days and their fraction, in the 15 digits that a sheet keeps."""
    a = _shaking(100, seed=46)
    ticks = np.floor(np.arange(ROWS) / 100 / 86_400 * 1e10 + 0.5).astype(np.int64)
    first = 45_730 * 10**10 + 5_035_532_407
    stamps = [f"{(first + t) // 10**10}.{(first + t) % 10**10:010d}" for t in ticks.tolist()]
    lines = [
        "Date and time (days since 1899-12-30),X (g),Y (g),Z (g)",
        *_rows(",", stamps, _words(a / G, ".5f")),
    ]
    step = 86_400e-10  # s
    expected = replace(
        _expected(a, _clock(100, 3), 5e-6 * G),
        times=np.asarray(ticks * step, dtype=np.float64),
        time_tolerance=step,  # first and last are rounded
    )
    return Layout("Book2.csv", _text(lines, "\r\n").encode(), expected)


def _seconds_of_the_gps_week() -> Layout:
    """Short names that say nothing, described in the second row."""
    a, clock = _shaking(200, seed=47), _clock(200, 6, jitter=0.02)
    lines = [
        "WN,TOW,NSV,A1,A2,A3",
        '"GPS week number","seconds of the GPS week","satellites in view",'
        '"acceleration x in m/s^2","acceleration y in m/s^2","acceleration z in m/s^2"',
        *_rows(
            ",",
            ["2357"] * ROWS,
            clock.seconds(475_525),
            [str(9 + i // 90) for i in range(ROWS)],
            _words(a, ".5f"),
        ),
    ]
    expected = _expected(a, clock, 5e-6, absolute=True)
    return Layout("rover_0314.csv", _text(lines).encode(), expected)


def _slovenian_typographic_minus() -> Layout:
    """Pressure from before a trigger on, each minus a − and not a hyphen."""
    p, clock = _shaking(2000, seed=48, gravity=False)[:, 2] * 20.0, _clock(2000, 4)  # kPa
    stamps = [row[0] for row in _words(clock.ticks * 0.1 - 50.0, ".1f", ",")]
    rows = [row.replace("-", "−") for row in _rows(";", stamps, _words(p, ".3f", ","))]
    lines = ["Čas (ms);Tlak (kPa)", *rows]
    expected = _expected(p * 1e3, clock, 0.5, kind="pressure", unit="Pa")
    return Layout("tlak_v_cevi.csv", _text(lines).encode(), expected)


def _minutes_and_inches() -> Layout:
    v = _shaking(200, seed=49, gravity=False)[:, 0] * 0.1  # in/s
    ticks = np.floor(np.arange(ROWS) / 200 / 60 * 1e7 + 0.5).astype(np.int64)
    stamps = [f"3.{tick:07d}" for tick in ticks.tolist()]
    lines = ['"Elapsed Time (min)","Velocity (in/s)"', *_rows(",", stamps, _words(v, ".6f"))]
    step = 60e-7  # s
    expected = replace(
        _expected(v * 0.0254, _clock(200, 3), 5e-7 * 0.0254, kind="velocity", unit="m/s"),
        times=np.asarray(ticks * step, dtype=np.float64),
        time_tolerance=step,  # first and last are rounded
    )
    return Layout("pump house 2.csv", _text(lines, "\r\n").encode(), expected)


def _interval_in_preamble() -> Layout:
    """No times, no counter and no headings above the numbers."""
    a, clock = _shaking(400, seed=50), Clock(np.arange(ROWS, dtype=np.int64) * 25_000, 7)
    lines = [
        "Logger 14 (invented)",
        "Quantity:\tacceleration",
        "Channels:\tX, Y, Z",
        "Unit:\tg",
        "Interval:\t2.5 ms",
        "Points:\t200",
        "",
        *_rows("\t", _words(a / G, ".5f")),
    ]
    return Layout("LOG14.TXT", _text(lines, "\r\n").encode(), _expected(a, clock, 5e-6 * G))


def _names_and_values_in_each_line() -> Layout:
    a, clock = _shaking(100, seed=51), _clock(100, 3, jitter=0.1)
    lines = ["accelerometer ready, values in m/s^2, t in s"]
    lines += [
        f"x={x} y={y} z={z} t={t}"
        for (x, y, z), t in zip(_words(a, ".4f"), clock.seconds(12), strict=True)
    ]
    return Layout("terminal.log", _text(lines, "\r\n").encode(), _expected(a, clock, 5e-5))


def _groups_over_the_same_names() -> Layout:
    """Only the first row tells the gyroscope's x, y and z from the accelerometer's."""
    a, clock = _shaking(200, seed=52), _clock(200, 4, jitter=0.02)
    gyro = np.random.default_rng(52).normal(0, 0.3, (ROWS, 3))
    lines = [
        ",Gyroscope,,,Accelerometer,,,Temperature",
        "Time,x,y,z,x,y,z,",
        "s,rad/s,rad/s,rad/s,m/s²,m/s²,m/s²,°C",
        *_rows(",", clock.seconds(), _words(gyro, ".5f"), _words(a, ".5f"), ["24.6"] * ROWS),
    ]
    return Layout("imu.csv", _text(lines).encode(), _expected(a, clock, 5e-6))


def _danish_backwards_with_remarks() -> Layout:
    """z, y, x, then what somebody typed in, and a marker in a line of its own."""
    a, clock = _shaking(200, seed=53), _clock(200, 3)
    remarks = {0: "målingen starter", 61: "# 1", 118: "dør lukket; ca. 1450 omdr./min", 199: "slut"}
    rows = _rows(
        "\t",
        clock.seconds(0, ","),
        _words(a[:, ::-1], ".5f", ","),
        [remarks.get(i, "") for i in range(ROWS)],
    )
    lines = [
        "\t".join(["Tid [s]", *(f"Acceleration {axis} [m/s²]" for axis in "ZYX"), "Bemærkning"]),
        *rows[:140],
        "# marker 2",
        *rows[140:],
    ]
    return Layout("måling_3.txt", _text(lines, "\r\n").encode("cp1252"), _expected(a, clock, 5e-6))


def _fortran_exponents() -> Layout:
    a, clock = _shaking(400, seed=54), _clock(400, 4)
    cells = np.column_stack([clock.ticks * 1e-4, a])
    lines = [
        " RUN   7     INVENTED DATA       200 POINTS",
        "",
        "".join(f"{head:>16}" for head in ["TIME (S)", *(f"A{n} (M/S**2)" for n in "XYZ")]),
        *("".join(f"{cell:>16}" for cell in row) for row in _words(cells, ".7E")),
    ]
    text = _text([*lines[:3], *(line.replace("E", "D") for line in lines[3:]), " END OF FILE"])
    return Layout("fort.21", text.encode("ascii"), _expected(a, clock, 5e-7))


def _czech_exponents_with_commas() -> Layout:
    w, clock = _shaking(400, seed=55, gravity=False) * 4.0, _clock(400, 4)  # deg/s
    lines = [
        "\t".join(["Čas [s]", *(f"Úhlová rychlost {axis} [°/s]" for axis in "XYZ")]),
        *_rows(
            "\t",
            [row[0] for row in _words(clock.ticks * 1e-4, ".4E", ",")],
            _words(w, ".5E", ","),
        ),
    ]
    expected = _expected(
        np.deg2rad(w), clock, float(np.deg2rad(5e-6)), kind="rotation", unit="rad/s"
    )
    return Layout("měření.txt", _text(lines, "\r\n").encode("cp1250"), expected)


def _japanese_big_endian() -> Layout:
    a, clock = _shaking(250, seed=56), _clock(250, 3)
    lines = [
        "測定日時,2025/03/14 21:05:07",
        "測定者,架空",
        "",
        ",".join(["時間[s]", *(f"{axis}軸加速度[G]" for axis in "XYZ")]),
        *_rows(",", clock.seconds(), _words(a / G, ".5f")),
    ]
    content = b"\xfe\xff" + _text(lines, "\r\n").encode("utf-16-be")
    return Layout("測定データ.csv", content, _expected(a, clock, 5e-6 * G))


def _line_breaks_in_quoted_headings() -> Layout:
    """An empty first column, and headings of two and three lines."""
    a, clock = _shaking(400, seed=57), _clock(400, 4)
    heads = ["", "Elapsed\ntime\n(s)", *(f"Acceleration {n}\n(m/s²)" for n in "XYZ")]
    lines = [
        ",".join(f'"{head}"' for head in heads),
        *("," + row for row in _rows(",", clock.seconds(), _words(a, ".4f"))),
    ]
    return Layout(
        "Sheet3 (2).csv", _text(lines, "\r\n").encode("utf-8-sig"), _expected(a, clock, 5e-5)
    )


def _a_counter_that_wraps() -> Layout:
    """A byte counts rows, the temperature rises as evenly as a clock, the time comes last."""
    a, clock = _shaking(250, seed=58), _clock(250, 6, jitter=0.02)
    lines = [
        "nr,T [°C],ax [mg],ay [mg],az [mg],t [µs]",
        *_rows(
            ",",
            [str((100 + i) % 256) for i in range(ROWS)],
            [f"{21 + i / 100:.2f}" for i in range(ROWS)],
            _words(a / G * 1e3, ".2f"),
            [str(7_204_816 + t) for t in clock.ticks.tolist()],
        ),
    ]
    expected = _expected(a, clock, 5e-6 * G)
    return Layout("LOG_0042.CSV", _text(lines, "\r\n").encode("latin-1"), expected)


def _milliseconds_in_a_column_of_their_own() -> Layout:
    """Voltage; milliseconds without leading zeros, and a battery that stays as it is."""
    v, clock = _shaking(200, seed=59, gravity=False)[:, 1] * 100.0, _clock(200, 3)  # mV
    moments = Clock(clock.ticks + 600, 3).moments(START)
    lines = [
        "Date,Time,ms,AI0 (mV),Overload,Battery (V)",
        *_rows(
            ",",
            [f"{second:%d/%m/%Y}" for second, _ in moments],
            [f"{second:%H:%M:%S}" for second, _ in moments],
            [str(int(rest)) for _, rest in moments],
            _words(v, ".2f"),
            ["0"] * ROWS,
            ["6.02"] * ROWS,
        ),
    ]
    expected = _expected(v * 1e-3, clock, 5e-6, kind="other", unit="V", absolute=True)
    return Layout("site-b.csv", _text(lines, "\r\n").encode(), expected)


def _not_ready_yet() -> Layout:
    """The first six rows hold no numbers, the last two stop early: 192 rows are whole."""
    a, clock = _shaking(100, seed=60), _clock(100, 3, jitter=0.1)
    stamps = [str(845 + t) for t in clock.ticks.tolist()]
    rows = _rows(",", stamps, _words(a, ".4f"))
    rows[:6] = [f"{stamp},nan,nan,nan" for stamp in stamps[:6]]
    rows[-2] = ",".join(rows[-2].split(",")[:3])
    rows[-1] = stamps[-1]
    whole = Clock(clock.ticks[6:-2], clock.decimals)
    lines = ["millis,accel_x_ms2,accel_y_ms2,accel_z_ms2", *rows]
    return Layout("DATA.TXT", _text(lines, "\r\n").encode(), _expected(a[6:-2], whole, 5e-5))


_WRITERS: tuple[Callable[[], Layout], ...] = (
    _polish_spaces_in_the_counter,
    _turkish_dots_in_the_counter,
    _italian_month_names,
    _summer_time_begins,
    _finnish_dots_in_the_clock,
    _spreadsheet_day_numbers,
    _seconds_of_the_gps_week,
    _slovenian_typographic_minus,
    _minutes_and_inches,
    _interval_in_preamble,
    _names_and_values_in_each_line,
    _groups_over_the_same_names,
    _danish_backwards_with_remarks,
    _fortran_exponents,
    _czech_exponents_with_commas,
    _japanese_big_endian,
    _line_breaks_in_quoted_headings,
    _a_counter_that_wraps,
    _milliseconds_in_a_column_of_their_own,
    _not_ready_yet,
)

LAYOUTS: dict[str, Layout] = {write.__name__.removeprefix("_"): write() for write in _WRITERS}
