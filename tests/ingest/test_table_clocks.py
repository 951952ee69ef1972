"""Times in a table: every form of stamp, summer time, whole seconds, contradicting rates.

Expected values are those that were written.
"""

import datetime as dt
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from numpy.testing import assert_allclose
from written_layouts import LAYOUTS, START
from written_tables import EPOCH_S, ROWS, SAMPLES, TIMES, assert_same, table, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read
from vibetrend.ingest.dates import date_of
from vibetrend.recording import FloatArray, Recording


def seconds_of(recording: Recording) -> FloatArray:
    assert recording.times is not None
    return recording.times


def test_days_of_a_spreadsheet(tmp_path: Path) -> None:
    """46143 is 2026-05-01 counted from 1899-12-30 (ECMA-376 part 1, 18.17.4.1)."""
    text = table(header="date,ax,ay,az", stamp=lambda i: f"{46143.43059 + TIMES[i] / 86400:.13f}")
    recording = read(written(tmp_path, text))
    assert recording.date == dt.date(2026, 5, 1)
    # A float64 near 46143 has steps of 7.3e-12 days, 0.63 us; two of them are subtracted.
    assert_allclose(seconds_of(recording), TIMES, atol=1.3e-6)


@pytest.mark.parametrize("step_ns", [100, 1_000, 2_500_100])
def test_epoch_nanoseconds_in_small_steps_among_damage(step_ns: int, tmp_path: Path) -> None:
    """Every stamp is a multiple of 100 ns; a float64 there has steps of 256 ns."""
    text = table(
        header="time (ns),x,y,z",
        stamp=lambda i: (
            ("time (ns),x,y,z\n" if i == 33 else "") + str(10**9 * EPOCH_S + step_ns * i)
        ),
    ).replace(f"\n{10**9 * EPOCH_S + step_ns * 17},", "\n,")
    recording = read(written(tmp_path, text))
    kept = np.delete(np.arange(ROWS), 17)
    assert_allclose(seconds_of(recording), kept * step_ns * 1e-9, rtol=1e-12)


@pytest.mark.parametrize(
    ("layout", "date"),
    [
        *((name, dt.date(2026, 5, 1)) for name in LAYOUTS if name.endswith(" month")),
        ("ISO without marks", dt.date(2026, 5, 1)),
        ("time before date", dt.date(2026, 5, 1)),
        ("split, day first", dt.date(2026, 5, 1)),
        ("minutes and seconds", None),
    ],
)
def test_takes_the_date_in_every_language(
    layout: str, date: dt.date | None, tmp_path: Path
) -> None:
    assert read(written(tmp_path, LAYOUTS[layout])).date == date


MONTHS = {
    "English": "January February March April May June July August September October November "
    "December",
    "German": "Januar Februar März April Mai Juni Juli August September Oktober November Dezember",
    "French": "janvier février mars avril mai juin juillet août septembre octobre novembre "
    "décembre",
    "Spanish": "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre "
    "diciembre",
    "Italian": "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre "
    "novembre dicembre",
    "Portuguese": "janeiro fevereiro março abril maio junho julho agosto setembro outubro "
    "novembro dezembro",
    "Dutch": "januari februari maart april mei juni juli augustus september oktober november "
    "december",
    "Danish": "januar februar marts april maj juni juli august september oktober november december",
    "Norwegian": "januar februar mars april mai juni juli august september oktober november "
    "desember",
    "Swedish": "januari februari mars april maj juni juli augusti september oktober november "
    "december",
}


@pytest.mark.parametrize("language", MONTHS)
def test_knows_the_months(language: str) -> None:
    for number, name in enumerate(MONTHS[language].split(), start=1):
        short = name[:4] if name.lower() in ("juin", "juillet") else name[:3]
        for written_so in (f"7. {name} 2026", f"07-{short}-2026", f"7 {short}. 2026"):
            assert date_of(f"{written_so} 10:20:03") == dt.date(2026, number, 7), written_so


def local(zone: str, start: dt.datetime, *, with_zone: bool) -> Callable[[int], str]:
    def written_as(i: int) -> str:
        moment = (start + dt.timedelta(milliseconds=5 * i)).astimezone(ZoneInfo(zone))
        text = moment.strftime("%d.%m.%Y %H:%M:%S.%f")[:-3]
        return text + (f" {moment.strftime('%Z' if with_zone else '')}" if with_zone else "")

    return written_as


@pytest.mark.parametrize("with_zone", [True, False])
@pytest.mark.parametrize("day", [dt.datetime(2026, 3, 29), dt.datetime(2026, 10, 25)])
def test_summer_time_does_not_move_the_clock(
    day: dt.datetime, with_zone: bool, tmp_path: Path
) -> None:
    """Directive 2000/84/EC: the change is at 01:00 UTC on the last Sundays of March, October."""
    start = day.replace(hour=0, minute=59, second=59, microsecond=850_000, tzinfo=dt.UTC)
    text = table(separator=";", stamp=local("Europe/Berlin", start, with_zone=with_zone))
    recording = read(written(tmp_path, text))
    assert_same(recording)
    # Without zones it has to be guessed, which is said.
    assert ("clock" in [note.code for note in recording.notes]) is not with_zone


def test_zones_that_change_within_a_recording_do_not_move_the_clock(tmp_path: Path) -> None:
    for form in ("%Y-%m-%dT%H:%M:%S.%f%z", "%Y-%m-%d %H:%M:%S.%f %z"):
        zones = [dt.timezone(dt.timedelta(hours=h)) for h in (2, 1, 0, -5)]

        def moment(i: int, form: str = form, zones: list[dt.timezone] = zones) -> str:
            utc = START.replace(tzinfo=dt.UTC) + dt.timedelta(milliseconds=5 * i)
            text = utc.astimezone(zones[i % 4]).strftime(form)
            return text[:-2] + ":" + text[-2:]

        assert_same(read(written(tmp_path, table(stamp=moment))))


def test_a_pause_of_another_length_stays_in_the_clock(tmp_path: Path) -> None:
    stamps = [TIMES[i] + (3600 if i >= 30 else 0) for i in range(ROWS)]

    def moment(i: int) -> str:
        return (START + dt.timedelta(seconds=stamps[i])).isoformat(sep=" ", timespec="milliseconds")

    recording = read(written(tmp_path, table(stamp=moment)))
    assert_allclose(seconds_of(recording), stamps, atol=1e-9)  # not at a full hour: a real pause


@pytest.fixture
def west_of_greenwich(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let this computer's clock be 7 hours behind UTC (POSIX writes that as MST7)."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone cannot be set here")
    with monkeypatch.context() as patched:
        patched.setenv("TZ", "MST7")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.usefixtures("west_of_greenwich")
@pytest.mark.parametrize(("unit", "each"), [("s", 1), ("ms", 10**3), ("us", 10**6), ("ns", 10**9)])
def test_the_date_of_an_epoch_stamp_is_the_local_one(unit: str, each: int, tmp_path: Path) -> None:
    """2026-05-02 00:30 UTC is half past five in the afternoon of the day before."""
    late = int(dt.datetime(2026, 5, 2, 0, 30, tzinfo=dt.UTC).timestamp())

    def stamp(i: int) -> str:
        return f"{late + TIMES[i]:.6f}" if each == 1 else str(late * each + i * each // 200)

    text = table(header=f"epoch ({unit}),x,y,z", stamp=stamp)
    assert read(written(tmp_path, text)).date == dt.date(2026, 5, 1)


@pytest.mark.usefixtures("west_of_greenwich")
@pytest.mark.parametrize("zone", ["", "Z", "+02:00", "-07:00"])
def test_a_date_keeps_the_day_as_it_was_written(zone: str, tmp_path: Path) -> None:
    text = table(stamp=lambda i: f"2026-05-02T00:30:{TIMES[i]:06.3f}{zone}")
    assert read(written(tmp_path, text)).date == dt.date(2026, 5, 2)


def whole_seconds(counts: list[int], *, header: str = "time,ax,ay,az") -> str:
    lines, row = [header], 0
    for second, count in enumerate(counts):
        for _ in range(count):
            fields = ",".join(f"{v:.4f}" for v in SAMPLES[row % ROWS])
            lines.append(f"2026-05-01 10:20:{second:02d},{fields}")
            row += 1
    return "\n".join(lines) + "\n"


def test_stamps_of_whole_seconds_give_the_rate_where_each_has_as_many_samples(
    tmp_path: Path,
) -> None:
    recording = read(written(tmp_path, whole_seconds([17, 100, 101, 100, 100, 60])))
    assert recording.times is None
    assert recording.count == 478
    assert recording.sample_rate == pytest.approx(401 / 4)
    assert [note.message for note in recording.notes if note.code == "clock"] == [
        "column 'time' has 100 to 101 samples on each of its stamps; they were taken as evenly "
        "sampled, 100.25 Hz by that count"
    ]


@pytest.mark.parametrize("counts", [[17, 100, 80, 100, 60], [100, 0, 100, 100, 100], [90, 90]])
def test_stamps_of_whole_seconds_ask_for_the_rate_where_they_do_not_tell_it(
    counts: list[int], tmp_path: Path
) -> None:
    path = written(tmp_path, whole_seconds(counts))
    with pytest.raises(ReadError, match=r"'time' stands still for \d+ samples .* with rate"):
        read(path)
    assert read(path, rate=100).sample_rate == 100


def test_a_stated_rate_that_the_stamps_contradict_is_a_warning(tmp_path: Path) -> None:
    for stated, expected in (
        ("200", []),
        ("201.5", []),
        ("203", ["warning"]),
        ("2000", ["warning"]),
    ):
        recording = read(written(tmp_path, table(before=f"Sample rate: {stated} Hz\n")))
        assert_same(recording)  # the stamps count
        assert [n.severity for n in recording.notes if n.code == "clock"] == expected


def test_steps_that_no_recorder_takes_are_no_clock(tmp_path: Path) -> None:
    stamps = [str(i * 3e-310) for i in range(200)] + ["1.0", "2.0"]
    text = "time (s),ax (m/s^2)\n" + "".join(f"{t},{i % 7}\n" for i, t in enumerate(stamps))
    with pytest.raises(ReadError, match=r"column 'time \(s\)' steps by 3e-310, which is no sampl"):
        read(written(tmp_path, text))
