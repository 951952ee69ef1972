"""Disks, files, rights and clocks that fail, as contexts around a command in this process."""

import contextlib
import datetime as dt
import errno
import io
import os
import subprocess
import sys
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

NOBODY = 65534


class _Pulled(io.FileIO):
    """A file on a stick that is pulled once so many bytes are read."""

    def __init__(self, path: str, good: int, number: int) -> None:
        super().__init__(path)
        self.good, self.number = good, number

    def readinto(self, into: Any, /) -> int:
        if self.tell() >= self.good:
            raise OSError(self.number, os.strerror(self.number), self.name)
        return super().readinto(memoryview(into)[: self.good - self.tell()])

    def readall(self) -> bytes:
        super().readall()
        raise OSError(self.number, os.strerror(self.number), self.name)


@contextlib.contextmanager
def pulled(path: Path, *, good: int, number: int, opening: int = 1) -> Iterator[None]:
    """Let reading a file fail after `good` bytes, from the n-th time on that it is opened."""
    real = Path.open
    times = 0

    def opened(self: Path, mode: str = "r", *given: Any, **named: Any) -> Any:
        nonlocal times
        if self.resolve() != path.resolve() or mode not in ("r", "rb"):
            return real(self, mode, *given, **named)
        times += 1
        if times < opening:
            return real(self, mode, *given, **named)
        stream = io.BufferedReader(_Pulled(str(self), good, number))
        return stream if mode == "rb" else io.TextIOWrapper(stream, *given, **named)

    with patch.object(Path, "open", opened):
        yield


@contextlib.contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """Let every write beyond so many bytes of a file fail, SQLite's too."""
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextlib.contextmanager
def failing(name: str, number: int, *, after: int = 0, ending: str = "") -> Iterator[None]:
    """Let a function of `os` fail when it was called so often, on names that end so."""
    real: Callable[..., Any] = getattr(os, name)
    calls = 0

    def fails(*given: Any, **named: Any) -> Any:
        nonlocal calls
        concerned = str(given[0]).endswith(ending)
        calls += concerned
        if concerned and calls > after:
            raise OSError(number, os.strerror(number))
        return real(*given, **named)

    with patch.object(os, name, fails):
        yield


@contextlib.contextmanager
def rights(place: Path, *, folders: int, files: int, itself: int | None = None) -> Iterator[None]:
    """Be an ordinary user with these rights to a folder and all in it; root may do everything."""
    inside = [place, *place.rglob("*")]
    modes = [path.stat().st_mode for path in inside]
    for path in reversed(inside):
        path.chmod(folders if path.is_dir() else files)
    place.chmod(folders if itself is None else itself)
    root = os.geteuid() == 0
    if root:
        os.setresuid(NOBODY, NOBODY, 0)
    try:
        yield
    finally:
        if root:
            os.setresuid(0, 0, 0)
        for path, mode in zip(inside, modes, strict=True):
            path.chmod(mode)


@contextlib.contextmanager
def mounted(folder: Path, *, size: str) -> Iterator[bool]:
    """Give a small disk of its own in a folder, and whether that was possible."""
    folder.mkdir()
    possible = sys.platform == "linux" and os.geteuid() == 0
    if possible:
        command = ["mount", "-t", "tmpfs", "-o", f"size={size},mode=755", "tmpfs", str(folder)]
        possible = subprocess.run(command, capture_output=True, check=False).returncode == 0
    try:
        yield possible
    finally:
        if possible:
            subprocess.run(["umount", str(folder)], check=True)


@contextlib.contextmanager
def read_only(disk: Path) -> Iterator[None]:
    """Let a mounted disk only be read."""
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    try:
        yield
    finally:
        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)


@contextlib.contextmanager
def filled(disk: Path, *, leave: int = 0) -> Iterator[None]:
    """Fill a disk but for some bytes."""
    filler = disk / "filler"
    free = os.statvfs(disk)
    with filler.open("wb") as file:
        os.posix_fallocate(file.fileno(), 0, free.f_bavail * free.f_bsize - leave)
    try:
        yield
    finally:
        filler.unlink()


class _Dates(type(dt.date)):  # type: ignore[misc]
    def __instancecheck__(cls, one: object) -> bool:
        return isinstance(one, dt.date)


class _Times(type(dt.datetime)):  # type: ignore[misc]
    def __instancecheck__(cls, one: object) -> bool:
        return isinstance(one, dt.datetime)


@contextlib.contextmanager
def clock(says: dt.datetime) -> Iterator[None]:
    """Let this computer's clock say another time to the program, and to nothing else."""

    class Date(dt.date, metaclass=_Dates):
        @classmethod
        def today(cls) -> dt.date:  # type: ignore[override]
            return says.date()

    class Time(dt.datetime, metaclass=_Times):
        @classmethod
        def now(cls, tz: dt.tzinfo | None = None) -> dt.datetime:  # type: ignore[override]
            return says.astimezone(tz)

    fake = types.ModuleType("datetime")
    vars(fake).update(vars(dt) | {"date": Date, "datetime": Time})
    with contextlib.ExitStack() as patches:
        for name, module in list(sys.modules.items()):
            if name.split(".")[0] == "vibetrend" and getattr(module, "dt", None) is dt:
                patches.enter_context(patch.object(module, "dt", fake))
        yield


GONE = (errno.EIO, errno.ENODEV, errno.ENXIO, errno.ESTALE)
"""What reading from a stick that is gone may give."""
