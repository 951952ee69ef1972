"""Layouts of the recording in `written_tables` that combine difficulties."""

import datetime as dt
from collections.abc import Callable

import numpy as np
from written_tables import EPOCH_S, ROWS, SAMPLES, TIMES, table

START = dt.datetime(2026, 5, 1, 10, 20, 3)


def stamp(form: str, *, start: dt.datetime = START) -> Callable[[int], str]:
    """Write the moment of a row, %f being milliseconds."""

    def written_as(i: int) -> str:
        moment = start + dt.timedelta(milliseconds=5 * i)
        return moment.strftime(form.replace("%f", f"{moment.microsecond // 1000:03d}"))

    return written_as


def comma(value: float) -> str:
    return f"{value:.4f}".replace(".", ",")


def month(spelled: str) -> str:
    """A table whose dates have this month or date written out."""
    return table(separator=";", header="Zeit;ax (m/s2);ay (m/s2);az (m/s2)", stamp=stamp(spelled))


def columns(*parts: str) -> str:
    return ",".join(parts)


def long_table(*, codes: tuple[str, str, str], between: str = "") -> str:
    """Three sensors by turns, as phones write them; the others are noise of a fixed seed."""
    noise = np.random.default_rng(3).normal(size=(ROWS, 6)).round(4)
    lines = ["time (s),sensor,x,y,z"]
    for i in range(ROWS):
        fields = [f"{v:.4f}" for v in SAMPLES[i]]
        lines.append(columns(f"{TIMES[i]:.4f}", codes[0], *fields))
        lines.append(columns(f"{TIMES[i] + 0.001:.4f}", codes[1], *map(str, noise[i, :3])))
        if i % 3 == 0:
            lines.append(columns(f"{TIMES[i] + 0.002:.4f}", codes[2], *map(str, noise[i, 3:])))
    return f"{between}\n".join(lines) + "\n"


def between_others() -> str:
    """Rows of acceleration and of rotation by turns, each with gaps for the other."""
    lines = ["time (s),ax,ay,az,gx,gy,gz"]
    for i in range(ROWS):
        lines.append(f"{TIMES[i]:.4f},{','.join(f'{v:.4f}' for v in SAMPLES[i])},,,")
        lines.append(f"{TIMES[i] + 0.002:.4f},,,,1.0,{i % 5}.5,3.0")
    return "\n".join(lines) + "\n"


def one_axis_a_row() -> str:
    lines = ["time (s),channel,value (m/s^2)"]
    for i in range(ROWS):
        lines += [f"{TIMES[i]:.4f},acc_{a},{SAMPLES[i, k]:.4f}" for k, a in enumerate("xyz")]
    return "\n".join(lines) + "\n"


def header(*names: str) -> str:
    return table(header=",".join(names))


def aligned() -> str:
    rows = [[TIMES[i], *SAMPLES[i]] for i in range(ROWS)]
    return "time,x,y,z\n" + "\n".join(",".join(f"{v:10.4f}" for v in row) for row in rows) + "\n"


GERMAN = "Zeit (s),Beschleunigung x (m/s²),Beschleunigung y (m/s²),Beschleunigung z (m/s²)"
SWISS = "Zeit [ms];x [m/s2];y [m/s2];z [m/s2]"
LAYOUTS: dict[str, str | bytes] = {
    # Encodings and decimal marks together
    "UTF-16 with tabs and decimal commas": table(
        separator="\t", header=GERMAN, decimal_comma=True
    ).encode("utf-16"),
    "UTF-16 big-endian without mark": table(header=GERMAN).encode("utf-16-be"),
    "UTF-32": table(header=GERMAN).encode("utf-32"),
    "old Mac ends, semicolons, cp1252": table(
        separator=";", header=GERMAN, decimal_comma=True, end="\r"
    ).encode("cp1252"),
    "mixed line ends": table().replace("\n", "\r\n", 20),
    "decimal commas between spaces": table(separator="  ", header="t x y z", decimal_comma=True),
    "minus signs of typography": table(value=lambda v: f"{v:.4f}".replace("-", "−")),
    "aligned with spaces": aligned(),
    "Fortran exponents": table(value=lambda v: f"{v:.6E}".replace("E", "D")),
    # Thousands
    "thousands with dots": table(
        separator=";", header=SWISS, stamp=lambda i: f"{1e6 + 5 * i:,.1f}".translate(
            str.maketrans(",.", ".,")), value=comma,
    ),
    "thousands with commas": table(
        separator="\t", header="time (ms)\tx (m/s2)\ty (m/s2)\tz (m/s2)",
        stamp=lambda i: f"{1e6 + 5 * i:,.1f}",
    ),
    "thousands with apostrophes": table(
        separator=";", header=SWISS, stamp=lambda i: f"{1e6 + 5 * i:,.1f}".replace(",", "'"),
    ),
    # Headers
    "names in two lines with units": header("time", "acc", "acc", "acc").replace(
        "time,acc,acc,acc", "time,x,y,z\ns,m/s²,m/s²,m/s²"
    ),
    "units in words": header(
        "time (seconds)", *(f"{a} (meters per second squared)" for a in "xyz")
    ),
    "units after a slash": header("t/s", "ax/(m/s^2)", "ay/(m/s^2)", "az/(m/s^2)"),
    "units after in": header("t in s", "a_x in m/s²", "a_y in m/s²", "a_z in m/s²"),
    "two pairs of brackets": header("time [s]", *(f"acc (port) {a} [m/s^2]" for a in "xyz")),
    "quoted names with commas": table(
        header=None, before='"time, s","a, x (m/s2)","a, y (m/s2)","a, z (m/s2)"\n'
    ),
    "French": header("temps (s)", *(f"accélération {a} (m/s²)" for a in "xyz")),
    "Spanish": header("tiempo (s)", *(f"aceleración {a} (m/s²)" for a in "xyz")),
    "Italian": header("tempo (s)", *(f"accelerazione {a} (m/s²)" for a in "xyz")),
    "Portuguese": header("tempo (s)", *(f"aceleração {a} (m/s²)" for a in "xyz")),
    "Dutch": header("tijd (s)", *(f"versnelling {a} (m/s²)" for a in "xyz")),
    "Norwegian": header("tid (s)", *(f"akselerasjon {a} (m/s²)" for a in "xyz")),
    "g-force": header("time", "gFx", "gFy", "gFz", "TgF").replace("\n", ",\n").replace(
        "TgF,", "TgF"),
    "in mg": table(
        header="t_ms,x_mg,y_mg,z_mg", stamp=lambda i: f"{5 * i}",
        value=lambda v: f"{v / 9.80665e-3:.6f}",
    ),
    "in ft/s2": table(
        header="time (s),x (ft/s^2),y (ft/s^2),z (ft/s^2)", value=lambda v: f"{v / 0.3048:.9f}"
    ),
    # Times
    "German month": month("'%d-Mai-2026 %H:%M:%S.%f'").replace("'", '"'),
    "French month": month("%d mai 2026 %H:%M:%S.%f"),
    "Spanish month": month("1 de mayo de 2026 %H:%M:%S.%f"),
    "Italian month": month("01-mag-2026 %H:%M:%S.%f"),
    "Dutch month": month("vr 1 mei 2026 %H:%M:%S.%f"),
    "Danish month": month("1. maj 2026 %H:%M:%S.%f"),
    "American month": month("May 1, 2026 %H:%M:%S.%f"),
    "weekday before": month("Fri, 01 May 2026 %H:%M:%S.%f"),
    "year and named month": month("2026-May-01 %H:%M:%S.%f"),
    "named zone": month("2026-05-01 %H:%M:%S.%f CEST"),
    "zone after a space": month("2026-05-01 %H:%M:%S.%f +0200"),
    "ISO without marks": month("20260501T%H%M%S.%fZ"),
    "ISO with a comma": month("2026-05-01T%H:%M:%S,%f"),
    "time before date": month("%H:%M:%S.%f 01.05.2026"),
    "minutes and seconds": month("%M:%S.%f"),
    "date and comma": month("2026-05-01, %H:%M:%S.%f"),
    "AM with points": table(
        separator=";", stamp=lambda i: stamp("%d/%m/%Y %I:%M:%S.%f")(i) + " a.m."
    ),
    "split, day first": table(
        separator=";", header="Datum;Uhrzeit;x;y;z", stamp=stamp("01.05.2026;%H:%M:%S,%f"),
        value=comma,
    ),
    "split, time before date": table(
        header="hour,day,x,y,z", stamp=stamp("%H:%M:%S.%f,2026-05-01")
    ),
    "coarse clock beside elapsed ms": table(
        header="date,time,elapsed_ms,ax,ay,az",
        stamp=lambda i: f"2026-05-01,10:20:{3 + i // 200:02d},{5 * i}",
    ),
    "spans of time": month("0 days %H:%M:%S.%f000"),
    "epoch s with ns digits": table(stamp=lambda i: f"{EPOCH_S}.{5_000_000 * i:09d}"),
    # Several sensors
    "three sensors by name": long_table(codes=("accelerometer", "gyroscope", "magnetometer")),
    "three sensors in capitals": long_table(codes=("ACC", "GYRO", "MAG")),
    "sensors by a phone's numbers": long_table(codes=("1", "4", "2")),
    "one axis a row": one_axis_a_row(),
    "gaps where others were sampled": between_others(),
    # Damage
    "repeated header among epoch ns": table(
        header="time,x,y,z",
        stamp=lambda i: ("time,x,y,z\n" if i in (20, 40) else "")
        + str(10**9 * EPOCH_S + 5_000_000 * i),
    ),
    "a wider first row": table(header=None, before="1,2,3,4,5,6,7\n"),
    "remarks below": table(after="\n# stopped by hand\n# rows,60,checked\n"),
    "preamble with semicolons": table(
        before="device;logger\nserial;0042\nrange;+-8 g\n\n", separator=";"
    ),
    "comments among rows": table(
        stamp=lambda i: ("# marker\n" if i % 20 == 7 else "") + f"{TIMES[i]:.4f}"
    ),
    "nothing but quotes in the text column": table(
        header='time (s),ax,ay,az,"note"', end=',"quay, port side"\n'
    ).replace('"note","quay, port side"', '"note"'),
}  # fmt: skip
