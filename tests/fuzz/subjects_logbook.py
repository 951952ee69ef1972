"""What the inputs that bring a logbook along begin as: a backup, an export, a database.

All come from `backup.zip`, so that they are the same in every run. It is made anew, where its
format has changed, by ``python tests/fuzz/subjects_logbook.py``.
"""

import io
import re
import sys
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

from campaign import Subject
from doors import zipped
from doors_logbook import DATABASE, of_backup, of_database, of_export
from mutation import Mutator

from vibetrend.logbook import Logbook
from vibetrend.logbook.backup import back_up, restore
from vibetrend.logbook.exporting import export

BACKUP = Path(__file__).with_name("backup.zip")
_MADE_AT = re.compile(rb'("made_at": ")[^"]*')
_WORDS = (
    b"0", b"-1", b"1e999", b"nan", b"\\N", b"true", b"null", b"{}", b"[]", b'{"a": NaN}', b"main",
    b"2026-13-45", b"0001-01-01", b"9999-12-31", b"2026-05-01T10:20:03.004Z", b'""', b"recording",
    b"\xe2\x80\xae", b"\xff", b"\0", b"../../../../etc/passwd", b"/etc/passwd", b"[" * 3000,
    b"name = 'x'\ncylinders = 4", b"9" * 400, b"steady", b"a" * 64, b"logbook.sqlite",
)  # fmt: skip


def subjects() -> Mapping[str, Subject]:
    """Return the subjects by the names of their targets."""
    backup = BACKUP.read_bytes()
    with zipfile.ZipFile(io.BytesIO(backup)) as packed:
        database = packed.read(DATABASE)
    made = (
        Subject("restore", (backup,), Mutator(tokens=_WORDS, text=True, door=of_backup)),
        Subject("import", (_exported(),), Mutator(tokens=_WORDS, text=True, door=of_export)),
        Subject("database", (database,), Mutator(tokens=_WORDS, text=True, door=of_database)),
    )
    return {each.target: each for each in made}


def _exported() -> bytes:
    """Return the export of the logbook in the backup, packed, as if it was made on a fixed day."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        restore(BACKUP, folder / "logbook")
        with Logbook.open(folder / "logbook") as book:
            export(book, folder / "export")
        files = sorted(each for each in (folder / "export").rglob("*") if each.is_file())
        members = [
            (
                each.relative_to(folder / "export").as_posix(),
                _MADE_AT.sub(rb"\g<1>2026-10-01T12:00:00.000Z", each.read_bytes()),
            )
            for each in files
        ]
    return zipped(members)


def _make() -> None:
    sys.path[:0] = [str(Path(__file__).parents[1] / room) for room in ("logbook", "checkup")]
    from lived_in import lived_in

    with tempfile.TemporaryDirectory() as name, lived_in(Path(name) / "logbook") as book:
        BACKUP.unlink(missing_ok=True)
        back_up(book, BACKUP)


if __name__ == "__main__":
    _make()
