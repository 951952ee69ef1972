"""Making what is whole at any moment: beside its place, and then renamed into it."""

import contextlib
import os
import secrets
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from vibetrend.errors import LogbookError
from vibetrend.logbook.copies import PRIVATE_FOLDER, real
from vibetrend.logbook.database import make_private_file, reason
from vibetrend.whole_file import ENDING, sync_folder

_LOCK = "lock"
_LONGEST_NAME = 100  # letters; more has to fit beside it


@contextlib.contextmanager
def whole_folder(target: Path, *, instead: str) -> Iterator[Path]:
    """Give an empty private folder to fill; it becomes `target` at the end, and only then.

    After any error, and after an interruption, `target` is what it was before.

    Parameters
    ----------
    target : path
        Must not exist, or be an empty folder.
    instead : str
        What a person can do where that is not so.

    Raises
    ------
    LogbookError
        If `target` is in use or cannot be written.
    """
    place = real(target)
    refuse_used(place, instead=instead)
    with _written(target, instead), workshop(place) as shop:
        inner = shop / "whole"
        inner.mkdir(mode=PRIVATE_FOLDER)
        try:
            yield inner
        except LogbookError as error:  # what it names has no such name yet
            raise LogbookError(str(error).replace(str(inner), str(target))) from error
        for folder, _, _ in os.walk(inner):
            sync_folder(Path(folder))
        refuse_used(place, instead=instead)
        if os.name == "nt" and place.exists():  # elsewhere an empty one is replaced
            place.rmdir()
        inner.rename(place)
        sync_folder(place.parent)


@contextlib.contextmanager
def workshop(target: Path) -> Iterator[Path]:
    """Give an empty private folder beside a target, to make it in; it is gone at the end.

    What a killed program left of making the same is cleared away first.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    begins = f".{target.name[:_LONGEST_NAME]}."
    for path in target.parent.iterdir():
        if path.name.startswith(begins) and path.name.endswith(ENDING) and path.is_dir():
            _clear_left_over(path)
    shop = target.with_name(f"{begins}{secrets.token_hex(8)}{ENDING}")
    shop.mkdir(mode=PRIVATE_FOLDER)
    try:
        make_private_file(shop / _LOCK)
        with contextlib.closing(sqlite3.connect(shop / _LOCK, timeout=0)) as lock:
            # The system lets go of it however this ends. A disk without locks does without.
            with contextlib.suppress(sqlite3.Error):
                lock.execute("BEGIN EXCLUSIVE")
            yield shop
    finally:
        _clear(shop)


def _clear_left_over(shop: Path) -> None:
    """Remove the folder of a program that was killed: nobody holds its lock any more."""
    try:
        uri = f"{(shop / _LOCK).absolute().as_uri()}?mode=rw"
        with contextlib.closing(sqlite3.connect(uri, uri=True, timeout=0)) as lock:
            lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error:
        with contextlib.suppress(OSError):  # it may have been killed before it had one
            shop.rmdir()
        return
    _clear(shop)


def _clear(shop: Path) -> None:
    """Remove a folder, its lock last: while anything is left, it can be told whose it is."""
    for path in set(shop.glob("*")) - {shop / _LOCK}:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                path.unlink()
    shutil.rmtree(shop, ignore_errors=True)


def refuse_used(folder: Path, *, instead: str) -> None:
    """Refuse a folder that holds something, or is none.

    Raises
    ------
    LogbookError
        If it is so.
    """
    try:
        if not os.path.lexists(folder):
            return
        if not folder.is_dir():
            raise LogbookError(f"{folder}: this is no folder; {instead}")
        if any(folder.iterdir()):
            raise LogbookError(
                f"{folder}: this folder holds something already and is left alone; {instead}"
            )
    except OSError as error:
        raise LogbookError(
            f"{folder}: cannot be looked into ({reason(error)}); {instead}"
        ) from error


@contextlib.contextmanager
def _written(target: Path, instead: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise LogbookError(
            f"{target}: the folder cannot be written ({reason(error)}), so nothing was made; see "
            f"that the disk has space and may be written to, or {instead}"
        ) from error
