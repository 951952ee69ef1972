"""Which statement counts: folder, own date, name, columns, side file, options; weakest first."""

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from invented_phone import ENGINE, FITTED, FITTED_HOURS, Phone, clip, kept

from vibetrend.checkup.adding import measure_file
from vibetrend.engine import Engine
from vibetrend.logbook import Logbook


@pytest.fixture
def phone(tmp_path: Path) -> Phone:
    return Phone(tmp_path)


def _only(phone: Phone, **options: Any) -> dict[str, Any]:
    """Add the one recording there is and return what the logbook holds of it."""
    phone.restart(engine=None, **(options or {"columns": None}))
    phone.watcher.start()
    assert len(kept(phone.settle())) == 1
    (row,) = phone.tags()
    return row


def _folder(phone: Phone, text: str) -> None:
    (phone.folder / "folder.toml").write_text(f'engine = "main"\n{text}', encoding="utf-8")


def _with_column(path: Path, name: str, value: object) -> None:
    head, *rows = path.read_text().splitlines()
    path.write_text("\n".join([f"{head},{name}", *(f"{row},{value}" for row in rows)]) + "\n")


def test_the_folder_counts_where_nothing_else_is_stated(phone: Phone) -> None:
    _folder(
        phone,
        'rpm = 1085\nhours = 3131\ndate = 2024-06-05\nposition = "front"\ndevice = "phone"\n'
        'condition = "warm"\ncoolant_c = 82\nshore_power = "off"',
    )
    clip(phone.folder / "clip.csv")
    row = _only(phone)
    assert (row["rpm"], row["hours"], row["date"]) == (1085, 3131, dt.date(2024, 6, 5))
    assert row["visit"] == "2024-06-05"
    assert (row["position"], row["device"]) == ("front", "phone")
    assert row["circumstances"] == {"coolant_c": 82.0, "shore_power": "off"}
    (note,) = [each for each in row["quality"] if each["code"] == "tag-assumed"]
    assert note["message"].startswith("taken from the folder's defaults: rpm 1085, hours 3131")


def test_each_place_counts_more_than_the_one_before(phone: Phone) -> None:
    """Hours are stated by one more place in each step."""
    _folder(phone, "rpm = 1080\nhours = 3131")
    file = clip(phone.folder / "2024-06-05.csv")
    steps: list[tuple[float, Any, dict[str, Any]]] = [
        (3131, lambda: None, {}),
        (3132, lambda: file.rename(file.with_name("2024-06-05_3132h.csv")), {}),
        (3133, lambda: _with_column(_file(phone), "hours", 3133), {}),
        (3134, lambda: _file(phone).with_suffix(".toml").write_text("hours = 3134"), {}),
        (3135, lambda: None, {"hours": 3135.0}),
    ]
    for number, (hours, step, options) in enumerate(steps):
        step()
        phone.logbook = phone.logbook.with_name(f"logbook {number}")  # a fresh one each time
        _new_logbook(phone)
        assert _only(phone, **options)["hours"] == hours


def _file(phone: Phone) -> Path:
    (file,) = phone.folder.glob("*.csv")
    return file


def _new_logbook(phone: Phone) -> None:
    with Logbook.open(phone.logbook) as book:
        book.put_engine(ENGINE, Engine.parse(ENGINE))
        book.start_installation("main", date=FITTED, hours=FITTED_HOURS)


def test_a_date_in_the_name_counts_more_than_the_folders(phone: Phone) -> None:
    _folder(phone, "rpm = 1080\nhours = 3131\ndate = 2024-07-07")
    clip(phone.folder / "2024-06-05.csv")
    assert _only(phone)["date"] == dt.date(2024, 6, 5)


def test_a_stated_zero_is_a_statement(phone: Phone) -> None:
    _folder(phone, "rpm = 1080\nhours = 3131\ndate = 2024-06-05")
    file = clip(phone.folder / "clip.csv")
    file.with_suffix(".toml").write_text("hours = 0\ndate = 2024-01-01")
    assert _only(phone)["hours"] == 0


def test_the_folder_says_how_to_read(phone: Phone) -> None:
    """A stated unit overrules the heading's, as in a side file, and is kept for reading again."""
    _folder(phone, 'rpm = 1080\nhours = 3131\ndate = 2024-06-05\nunit = "g"')
    as_stated = measure_file(clip(phone.folder / "clip.csv"), rpm=1080).overall["value"]
    row = _only(phone)
    assert row["reading"]["unit"] == "g"
    with Logbook.open(phone.logbook) as book:
        overall = [each["value"] for each in book.measurement(row["recording"])["overall"]]
    # Standard gravity (ISO 80000-3); amplitudes are proportional but for rounding.
    np.testing.assert_allclose(overall, 9.80665 * as_stated, rtol=1e-6)


def test_a_side_file_says_how_to_read_before_the_folder_does(phone: Phone) -> None:
    _folder(phone, 'rpm = 1080\nhours = 3131\ndate = 2024-06-05\nunit = "g"\nmanner = "run-up"')
    file = clip(phone.folder / "clip.csv")
    file.with_suffix(".toml").write_text('unit = "m/s^2"\nmanner = "steady"')
    row = _only(phone)
    assert (row["reading"]["unit"], row["manner"]) == ("m/s^2", "steady")


def test_processed_sound_of_a_folder_is_filed_as_such(phone: Phone) -> None:
    """Processed sound must never be compared with sound that was not."""
    _folder(phone, 'rpm = 1080\nhours = 3131\ndate = 2024-06-05\nautomatic_gain = "on"')
    rate, rng = 8000, np.random.default_rng(5)
    times = np.arange(12 * rate) / rate
    sound = sum(0.02 * np.cos(2 * np.pi * 9.0 * order * times + order) for order in (1, 2, 3, 6, 9))
    soundfile.write(phone.folder / "clip.wav", sound + 1e-3 * rng.standard_normal(times.size), rate)
    assert _only(phone)["codec"].endswith("processed")


def test_the_check_ups_circumstances_count_more_than_the_folders(phone: Phone) -> None:
    _folder(phone, 'rpm = 1080\nhours = 3131\ndate = 2024-06-05\nalternator_load = "low"')
    file = clip(phone.folder / "1.csv")
    file.with_suffix(".toml").write_text('alternator_load = "high"')
    _only(phone)
    clip(phone.folder / "2.csv", seed=2)
    phone.settle()
    stated = [row["circumstances"]["alternator_load"] for row in phone.tags()]
    assert stated == ["high", "high"]
