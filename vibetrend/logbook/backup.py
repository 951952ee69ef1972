"""One file with the whole logbook, checked once it is written, and a logbook made from it.

The file is a plain ZIP, so that any such program can take the originals out of it.
"""

import contextlib
import io
import shutil
import sqlite3
import stat
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from vibetrend.errors import LogbookError
from vibetrend.logbook import unpacking
from vibetrend.logbook.book import Logbook
from vibetrend.logbook.checking import check
from vibetrend.logbook.copies import (
    DATABASE,
    ORIGINALS,
    PRIVATE_FOLDER,
    MadeAgain,
    UnreadableError,
    lying,
    make_parent,
    measured,
    name_of,
    read_through,
    real,
    refuse_faults,
)
from vibetrend.logbook.database import reason
from vibetrend.logbook.described import Manifest, Member
from vibetrend.logbook.foreign import Seen, look_over
from vibetrend.logbook.unpacking import MANIFEST, DamagedMemberError, Packed
from vibetrend.logbook.whole_folder import refuse_used, whole_folder, workshop
from vibetrend.whole_file import PRIVATE, finish, sync_folder, unfinished

_BLOCK = 2**20
_SPARE = 50 * 2**20  # bytes left on the disk beside what is restored


@dataclass(frozen=True)
class BackedUp:
    """A backup that was written and checked."""

    path: Path
    size: int  # bytes
    recordings: int
    originals: int  # files: recordings and photos
    entries: int  # links of the chain
    head: str  # hash of the last one
    faults: tuple[str, ...]  # what is not right in the logbook


def back_up(book: Logbook, file: Path, *, damaged: bool = False) -> BackedUp:
    """Write one file with the database and every original, and check it before it has its name.

    Others may go on adding: what they add meanwhile may be in it or not, whole in either case.

    Parameters
    ----------
    damaged : bool
        Whether to back up a damaged logbook too; what is not right is noted in the file.

    Raises
    ------
    LogbookError
        If the file exists, lies in the logbook, cannot be written, or the logbook is damaged.
    """
    try:
        _refuse_target(book, file)
        faults = list(check(book).faults)
        _refuse_faults(book, faults, damaged=damaged)
        with workshop(file) as shop, unfinished(shop) as (stream, path):
            manifest = _write(book, stream, file, shop, faults, damaged=damaged)
            finish(stream)
            _verify(path, file, shop, damaged=damaged)
            size = path.stat().st_size
            _refuse_target(book, file)  # another program may have made it meanwhile
            path.rename(file)
        _settled(file)
    except OSError as error:
        raise _not_written(file, reason(error)) from error
    return BackedUp(
        path=file,
        size=size,
        recordings=manifest.recordings,
        originals=len(manifest.members) - 1,
        entries=manifest.entries,
        head=manifest.head,
        faults=tuple(manifest.faults),
    )


def restore(file: Path, folder: Path, *, damaged: bool = False) -> MadeAgain:
    """Make a logbook from a backup, in a folder that is empty or does not exist yet.

    All or nothing; a backup of an older version is brought up to date.

    Parameters
    ----------
    damaged : bool
        Whether to restore a damaged backup too: originals that cannot be read are left out.

    Raises
    ------
    LogbookError
        If the file is no backup, of a newer version or damaged, or the folder is in use.
    """
    instead = "name another, empty folder with --logbook"
    refuse_used(real(folder), instead=instead)
    with unpacking.opened(file) as packed:
        make_parent(folder, instead=instead)
        _refuse_full_disk(packed, folder)
        with whole_folder(folder, instead=instead) as place:
            faults = _unpack(packed, place, damaged=damaged)
            seen = look_over(place / DATABASE, where=f"{file}: {DATABASE}")
            if (seen.head, seen.entries) != (packed.manifest.head, packed.manifest.entries):
                faults.append("the database ends in another entry than the backup says")
            with Logbook.open(place) as book:
                checked = check(book)
            faults += checked.faults
            refuse_faults(
                faults,
                damaged=damaged,
                where=file,
                undone="nothing was restored",
                instead="Use another backup, or restore what is there",
            )
    return MadeAgain(
        folder=folder,
        made_at=packed.manifest.made_at,
        recordings=seen.recordings,
        originals=checked.originals,
        entries=checked.entries,
        head=checked.head,
        faults=tuple(faults),
    )


def _settled(file: Path) -> None:
    """Put a name that was given on the disk; where that fails, the file is not said to be there."""
    try:
        sync_folder(file.parent)
    except OSError:
        with contextlib.suppress(OSError):
            file.unlink()
        raise


def _refuse_target(book: Logbook, file: Path) -> None:
    if file.is_dir():
        raise LogbookError(f"{file}: this is a folder; name a file, such as {file / 'logbook.zip'}")
    if file.exists() or file.is_symlink():
        raise LogbookError(
            f"{file}: this file exists and is left alone; choose another name for the backup"
        )
    if not file.parent.is_dir():
        raise LogbookError(
            f"{file}: its folder does not exist; is the disk connected? Make the folder, or choose "
            f"another file"
        )
    if real(file.parent).is_relative_to(real(book.folder)):
        raise LogbookError(
            f"{file}: a backup within the logbook would be lost with it; choose a folder on "
            f"another disk"
        )


def _refuse_faults(book: Logbook, faults: list[str], *, damaged: bool) -> None:
    refuse_faults(
        faults,
        damaged=damaged,
        where=book.folder,
        undone="no backup was made",
        instead="See all of it with vibetrend logbook check and put back what an earlier backup "
        "has, or back up what is there",
    )


def _not_written(file: Path, why: str) -> LogbookError:
    return LogbookError(
        f"{file}: the backup cannot be written ({why}), so none was made; see that the disk has "
        f"space and may be written to, then try again"
    )


def _write(
    book: Logbook,
    stream: BinaryIO,
    file: Path,
    shop: Path,
    faults: list[str],
    *,
    damaged: bool,
) -> Manifest:
    """Write the archive: the state of the database now, then every original that lies there."""
    members: dict[str, Member] = {}
    with zipfile.ZipFile(stream, "w") as archive, unfinished(shop) as (database, path):
        _snapshot(book, path, file)
        seen = Seen("", 0, frozenset(), 0, "")
        try:
            seen = look_over(path, where=f"{book.folder}: {DATABASE}")
        except LogbookError as error:
            faults.append(str(error))
            _refuse_faults(book, faults, damaged=damaged)
        members[DATABASE] = measured(database)
        _put(archive, DATABASE, database)
        for sha256, original in lying(book.originals.folder):
            try:
                content, members[name_of(sha256)] = read_through(original)
            except UnreadableError as error:
                if sha256 not in seen.originals:  # of an entry that was refused: taken away
                    continue
                if not damaged:
                    raise
                faults.append(str(error))
                continue
            with content:
                _put(archive, name_of(sha256), content)
        manifest = Manifest(
            schema_version=seen.schema,
            recordings=seen.recordings,
            entries=seen.entries,
            head=seen.head,
            faults=faults,
            members=members,
        )
        _put(archive, MANIFEST, io.BytesIO(manifest.as_text()))
    return manifest


def _snapshot(book: Logbook, target: Path, file: Path) -> None:
    """Copy the database as it is at one moment, whoever is adding to it."""
    try:
        book.database.copy_to(target)
        # A copy has no write-ahead file: let its header say so (sqlite.org/fileformat2.html, 1.3).
        with target.open("r+b") as header:
            header.seek(18)
            header.write(b"\x01\x01")
    except sqlite3.Error as error:
        raise _not_written(file, str(error)) from error


def _put(archive: zipfile.ZipFile, name: str, content: BinaryIO) -> None:
    entry = zipfile.ZipInfo(name)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = (stat.S_IFREG | PRIVATE) << 16
    with archive.open(entry, "w", force_zip64=True) as target:
        shutil.copyfileobj(content, target, _BLOCK)


def _verify(path: Path, file: Path, shop: Path, *, damaged: bool) -> None:
    """Read a backup that was written from its beginning to its end, as `restore` would."""
    with unpacking.opened(path) as packed, unfinished(shop) as (database, copy):
        packed.copy(DATABASE, database)
        database.flush()
        for name in packed.originals:
            packed.copy(name)
        if damaged:
            return
        seen = look_over(copy, where=f"{file}: {DATABASE}")
        if missing := {name_of(sha256) for sha256 in seen.originals} - set(packed.originals):
            raise LogbookError(
                f"{file}: {min(missing)} is missing in the backup, so none was kept; look for what "
                f"is wrong with vibetrend logbook check"
            )


def _refuse_full_disk(packed: Packed, folder: Path) -> None:
    needed, free = packed.total + _SPARE, shutil.disk_usage(real(folder).parent).free
    if needed > free:
        raise LogbookError(
            f"{folder}: the logbook in {packed.path} needs {needed / 1e6:.0f} MB and the disk has "
            f"{free / 1e6:.0f} MB left; free some space, or name a folder on another disk with "
            f"--logbook"
        )


def _unpack(packed: Packed, place: Path, *, damaged: bool) -> list[str]:
    """Unpack all members; return a line for each original that was left out."""
    left_out = []
    (place / ORIGINALS).mkdir(mode=PRIVATE_FOLDER)
    for name in (DATABASE, *packed.originals):
        path = place / name  # of a name that `unpacking` let in
        path.parent.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
        try:
            with unfinished(path.parent) as (stream, part):
                packed.copy(name, stream)
                finish(stream)
                part.rename(path)
        except DamagedMemberError as error:
            if name == DATABASE or not damaged:
                raise
            left_out.append(f"{error}; it was left out")
    return left_out
