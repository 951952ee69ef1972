"""The record between logbook and installation: what is kept, what comes back judged."""

import datetime as dt
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from vibetrend.checkup import dampers, installing
from vibetrend.checkup.standing import standing
from vibetrend.engine import Engine
from vibetrend.errors import InstallationError, LogbookError, VibetrendError
from vibetrend.hashing import digest
from vibetrend.installation import (
    belt_content,
    bolt_content,
    photo_content,
    runout_content,
)
from vibetrend.logbook import Logbook
from vibetrend.quantities import ShownUnits

ENGINE = 'name = "main"\ncylinders = 6\nfast_idle_rpm = 1000\n'
LIMIT = '[limits.runout.rim]\nmax = 0.1\nunit = "mm"\nsource = "invented sheet"\n'
FITTED, TODAY = dt.date(2024, 6, 1), dt.date(2024, 9, 1)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook.open(tmp_path / "logbook") as found:
        found.put_engine(ENGINE, Engine.parse(ENGINE))
        yield found


def start(book: Logbook, date: dt.date = FITTED, hours: float = 3000) -> installing.Started:
    return installing.start(book, "main", date=date, hours=hours, as_found=False)


def rim(*readings: float) -> dict[str, object]:
    return runout_content("rim", readings, unit="mm")


def test_what_is_kept_comes_back_with_its_record(book: Logbook) -> None:
    start(book)
    kept = installing.keep(book, "main", "runout", rim(0, 0.05, 0.02), date=FITTED)
    (reading,) = kept.readings
    assert (reading.state, reading.entry_id) == ("limit-unknown", kept.entry.id)
    again = installing.keep(book, "main", "runout", rim(0, 0.05, 0.02), date=FITTED)
    assert (again.entry.id, again.entry.duplicate) == (kept.entry.id, True)
    told = again.to_dict(ShownUnits())
    assert (told["tir"], told["duplicate"]) == (0.05, True)
    assert told["readings"][0]["sentence"].startswith("Rim run-out is 0.05 mm")


def test_a_limit_written_in_later_counts_and_is_said(book: Logbook) -> None:
    start(book)
    book.put_engine(ENGINE + LIMIT, Engine.parse(ENGINE + LIMIT))
    (reading,) = installing.keep(book, "main", "runout", rim(0, 0.2, 0.1), date=FITTED).readings
    assert (reading.state, reading.limit_added_later) == ("beyond", True)


def test_the_latest_reading_tells_what_is_beyond(book: Logbook) -> None:
    book.put_engine(ENGINE + LIMIT, Engine.parse(ENGINE + LIMIT))
    start(book)
    bad = installing.keep(book, "main", "runout", rim(0, 0.2, 0.1), date=FITTED)
    assert bad.record.beyond == ("run-out of rim",)
    good = installing.keep(book, "main", "runout", rim(0, 0.04, 0.01), date=TODAY)
    assert good.record.beyond == ()


def test_an_entry_belongs_to_the_damper_that_was_on_then(book: Logbook) -> None:
    start(book)
    start(book, dt.date(2024, 8, 1), 3200)
    old = installing.keep(book, "main", "runout", rim(0, 1, 2), date=dt.date(2024, 7, 31))
    new = installing.keep(book, "main", "runout", rim(0, 1, 3), date=TODAY)
    assert (old.record.date, new.record.date) == (FITTED, dt.date(2024, 8, 1))
    every = dampers.records(book, "main")
    assert [[each.details.tir for each in one.readings] for _, one in every] == [[2.0], [3.0]]
    told = [dampers.record_json(*pair, ShownUnits()) for pair in every]
    assert [each["until"] for each in told] == ["2024-08-01", None]
    assert [each["meter_hours"] for each in told] == [3000, 3200]


def test_what_a_finished_job_lacked_is_kept(book: Logbook) -> None:
    start(book)
    done = installing.finish(book, "main", date=FITTED, person="A. Example")
    assert "No bolt torque is recorded." in done.entry.content["missing"]
    bolt = bolt_content("centre", stages=["50 N m"])
    later = installing.keep(book, "main", "bolt", bolt, date=TODAY).record
    assert "No bolt torque is recorded." not in later.missing
    assert later.finished is not None
    assert "No bolt torque is recorded." in later.finished.missing


def test_details_are_kept_with_the_beginning_or_not_at_all(book: Logbook) -> None:
    with pytest.raises(InstallationError, match="after it was fitted"):
        installing.start(
            book, "main", date=FITTED, hours=1, as_found=False, made_on=dt.date(2024, 6, 2)
        )
    assert book.installations("main") == []
    first = installing.start(book, "main", date=FITTED, hours=1, as_found=False, part="X")
    again = installing.start(book, "main", date=FITTED, hours=1, as_found=False, serial="7")
    assert (first.duplicate, again.duplicate) == (False, True)
    assert (again.record.details.part, again.record.details.serial) == ("X", "7")


def test_comparing_needs_two_readings(book: Logbook) -> None:
    start(book)
    with pytest.raises(InstallationError, match="recorded is: of none"):
        dampers.compare(book, "main", surface="rim", other=None, date=TODAY)
    installing.keep(book, "main", "runout", rim(0, 0.1, 0, 0.1), date=FITTED)
    with pytest.raises(InstallationError, match="recorded once"):
        dampers.compare(book, "main", surface="rim", other=None, date=TODAY)
    hub = runout_content("Hub", [0, 0.3, 0, -0.3], unit="mm")
    installing.keep(book, "main", "runout", hub, date=FITTED)
    moved = dampers.compare(book, "main", surface="Rim", other="hub", date=TODAY)
    assert moved.change.moved == pytest.approx(0.3)
    with pytest.raises(InstallationError, match="no installation on 'main' had begun"):
        dampers.compare(book, "main", surface="rim", other=None, date=dt.date(2024, 5, 1))


@pytest.mark.parametrize(
    ("amount", "wanted", "found"),
    [
        (None, "mm", None),
        ((0.01, ""), "mm", 0.01),
        ((1.0, "thou"), "mm", 0.0254),
        ((0.01, "mm"), "mm", 0.01),
        ((2.0, "lbf"), None, 2.0),
    ],
)
def test_amounts_in_the_unit_of_a_reading(
    amount: tuple[float, str] | None, wanted: str | None, found: float | None
) -> None:
    assert installing.in_unit(amount, wanted) == pytest.approx(found)


def test_an_amount_of_another_kind_is_refused() -> None:
    with pytest.raises(VibetrendError, match="no unit of length"):
        installing.in_unit((1.0, "kg/m"), "mm")


def test_the_torque_of_the_last_stage_names_the_unit() -> None:
    assert installing.torque_unit(["50 N m", "100 lbf ft", "90 deg"]) == "lbf ft"


# photos


def picture(path: Path, taken: str = "") -> Path:
    tags = Image.Exif()
    if taken:
        tags.get_ifd(0x8769)[0x9003] = f"{taken} 10:11:12"
    Image.new("RGB", (60, 40), "grey").save(path, "JPEG", exif=tags)
    return path


@pytest.mark.parametrize(
    ("taken", "date", "said"),
    [
        ("2024:06:05", dt.date(2024, 6, 5), None),
        # Before this damper: of what it shows the camera cannot tell.
        ("2024:05:30", TODAY, "date, 2024-05-30, lies outside this damper's time, which began on"),
        ("2031:01:01", TODAY, "date, 2031-01-01, lies outside"),  # a clock that is wrong
        ("", TODAY, None),
        ("    :  :  ", TODAY, None),
        ("0000:00:00", TODAY, "date, '0000:00:00', is no date; the photo is dated 2024-09-01. Say"),
    ],
)
def test_a_photo_is_dated_by_its_camera_within_the_installation(
    book: Logbook, tmp_path: Path, taken: str, date: dt.date, said: str | None
) -> None:
    start(book)
    path = picture(tmp_path / "rim.jpg", taken)
    kept = installing.add_photo(book, "main", path, today=TODAY)
    assert kept.entry.date == date
    assert [said is not None and said in each for each in kept.remarks] == [True] * bool(said)
    stated = installing.add_photo(book, "main", path, today=TODAY, date=FITTED, caption="rim")
    assert stated.entry.date == FITTED
    assert len(stated.remarks) == 1  # the camera's date does not matter then


def test_the_same_photo_with_another_caption_is_said(book: Logbook, tmp_path: Path) -> None:
    start(book)
    path = picture(tmp_path / "rim.jpg")

    def add(caption: str, today: dt.date = TODAY) -> installing.Kept:
        return installing.add_photo(book, "main", path, today=today, caption=caption)

    assert add("rim", FITTED).remarks == ()
    assert add("rim").entry.duplicate  # its day is known from the record
    other = add("the rim, dial at 12")
    assert (other.entry.duplicate, other.entry.date) == (False, FITTED)
    (said,) = other.remarks
    assert said.startswith("This photo is in the record already, of 2024-06-01, caption 'rim'; it")
    (said,) = add("rim").remarks
    assert "as it was kept last: of 2024-06-01, caption 'the rim, dial at 12'." in said
    start(book, dt.date(2024, 8, 1), 3200)
    assert add("of the next damper").remarks == ()


def test_a_folder_is_no_photo(book: Logbook, tmp_path: Path) -> None:
    start(book)
    with pytest.raises(VibetrendError, match="is a folder; name the photo's file"):
        installing.add_photo(book, "main", tmp_path, today=TODAY)


def test_small_pictures_are_made_of_what_can_be_shown(book: Logbook, tmp_path: Path) -> None:
    start(book)
    kept = installing.add_photo(book, "main", picture(tmp_path / "rim.jpg"), today=FITTED)
    start(book, dt.date(2024, 8, 1), 3200)
    heic = io.BytesIO(b"\0\0\0\x14ftypheic\0\0\0\0mif1" + bytes(8))
    sha256 = digest(heic)
    entry = photo_content(sha256, "rim.heic", media_type="image/heic", bytes=28)
    installing.keep(book, "main", "photo", entry, date=TODAY, file=heic)
    said: list[str] = []
    found = installing.small_photos(
        book, standing(book, ["main"], today=TODAY), tell=said.append
    )  # of the damper before too
    assert list(found) == [kept.entry.content["sha256"]]
    assert found[kept.entry.content["sha256"]].startswith(b"\xff\xd8\xff")
    assert ["rim.heic" in each for each in said] == [True]


def test_nothing_is_kept_of_a_photo_that_belongs_to_no_damper(
    book: Logbook, tmp_path: Path
) -> None:
    path = picture(tmp_path / "rim.jpg")
    with pytest.raises(InstallationError, match="had begun by"):
        installing.add_photo(book, "main", path, today=TODAY)
    start(book)
    with pytest.raises(InstallationError, match="had begun by"):
        installing.add_photo(book, "main", path, today=TODAY, date=dt.date(2024, 5, 1))
    with pytest.raises(InstallationError, match="write one line"):
        installing.add_photo(book, "main", path, today=TODAY, caption="two\nlines")
    assert not (tmp_path / "logbook" / "originals").exists()


def test_a_reading_needs_an_engine_and_a_damper(book: Logbook) -> None:
    belt = belt_content("fan", stage="as-installed", tension=600, unit="N")
    with pytest.raises(LogbookError, match="had begun by"):
        installing.keep(book, "main", "belt", belt, date=TODAY)
    with pytest.raises(LogbookError, match="not in the logbook"):
        installing.keep(book, "mian", "belt", belt, date=TODAY)
