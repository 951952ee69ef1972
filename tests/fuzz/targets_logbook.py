"""What a logbook from elsewhere is put to: restoring, importing, opening a damaged one."""

import datetime as dt
import shutil
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

from vibetrend.checkup.standing import standing
from vibetrend.errors import VibetrendError
from vibetrend.logbook import Logbook
from vibetrend.logbook.backup import restore
from vibetrend.logbook.importing import import_logbook

BACKUP = Path(__file__).with_name("backup.zip")
TODAY = dt.date(2026, 10, 1)


def _restore(folder: Path, data: bytes) -> None:
    file = folder / "backup.zip"
    file.write_bytes(data)
    _all_or_nothing(
        folder / "restored",
        lambda target: restore(file, target, damaged=_one_in_two(data)),
    )


def _import(folder: Path, data: bytes) -> None:
    source = folder / "export"
    shutil.rmtree(source, ignore_errors=True)
    source.mkdir()
    (source / "outside.csv").symlink_to("/etc/hostname")
    try:
        with zipfile.ZipFile(folder / "export.zip", "w"):
            pass
        (folder / "export.zip").write_bytes(data)
        with zipfile.ZipFile(folder / "export.zip") as packed:
            packed.extractall(source)
    except Exception as error:  # an export is a folder: this is no part of it
        raise VibetrendError("the zip around the export is damaged") from error
    _all_or_nothing(
        folder / "imported",
        lambda target: import_logbook(source, target, damaged=_one_in_two(data)),
    )


def _all_or_nothing(target: Path, make: Callable[[Path], object]) -> None:
    """Make a logbook and use it; after a refusal there must be nothing at all."""
    before = {each.name for each in target.parent.iterdir()}
    try:
        try:
            make(target)
        except VibetrendError:
            left = {each.name for each in target.parent.iterdir()} - before
            assert not left, f"left behind: {left}"
            raise
        _used(target)
    finally:
        shutil.rmtree(target, ignore_errors=True)


def _database(folder: Path, data: bytes) -> None:
    place = folder / "logbook"
    if not place.exists():
        with zipfile.ZipFile(BACKUP) as packed:
            packed.extractall(place)
    for name in ("logbook.sqlite-wal", "logbook.sqlite-shm", "logbook.sqlite-journal"):
        (place / name).unlink(missing_ok=True)
    (place / "logbook.sqlite").write_bytes(data)
    _used(place)


def _used(folder: Path) -> None:
    with Logbook.open(folder) as book:
        checked = book.check()
        records = standing(book, today=TODAY)
        assert all(each.verdict.to_dict() for record in records for each in record.series)
        for line in (*checked.faults, *checked.notes):
            assert line.isprintable(), f"unprintable: {line!r:.300}"
            assert len(line) <= 500, f"{len(line)} characters: {line:.300}"


def _one_in_two(data: bytes) -> bool:
    return zlib.crc32(data) % 2 == 0


TARGETS: dict[str, Callable[[Path, bytes], None]] = {
    "restore": _restore,
    "import": _import,
    "database": _database,
}
