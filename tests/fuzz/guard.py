"""What an input may not do: reach the network or another program, or touch a file that is not its.

Python's own doings are heard by an audit hook and stopped. What the libraries in C do is not heard
there: a canary file shows by its time of last access that it was read, and a listening socket by
its callers that somebody was called.
"""

import os
import resource
import select
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_FORBIDDEN = (
    "socket.", "subprocess.", "os.exec", "os.fork", "os.posix_spawn", "os.spawn", "os.system",
    "os.startfile", "os.kill", "pty.", "ctypes.dlopen", "ftplib.", "http.client.", "imaplib.",
    "poplib.", "smtplib.", "telnetlib.", "urllib.", "webbrowser.", "ensurepip.",
)  # fmt: skip
# Events that change files: where among an event's arguments a path is, and the descriptor of the
# open folder it counts from.
_CHANGING: dict[str, tuple[tuple[int, int | None], ...]] = {
    "os.rename": ((0, 2), (1, 3)), "os.link": ((0, 2), (1, 3)), "os.symlink": ((1, 2),),
    "os.remove": ((0, 1),), "os.rmdir": ((0, 1),), "os.mkdir": ((0, 2),), "os.chmod": ((0, 2),),
    "os.chown": ((0, 3),), "os.utime": ((0, 3),), "os.truncate": ((0, None),),
    "os.setxattr": ((0, None),), "sqlite3.connect": ((0, None),),
}  # fmt: skip
# They change a name, and not what a link of that name leads to.
_OF_NAMES = ("os.rename", "os.link", "os.symlink", "os.remove", "os.rmdir", "os.mkdir")
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_SYSTEM = ("/dev/null", "/dev/urandom", "/proc/self", "/usr/share/zoneinfo", "/etc/localtime",
           "/etc/mime.types", "/sys/devices/system/cpu",
           "/sys/fs/cgroup")  # fmt: skip
_MEGABYTE = 2**20
CANARY = "canary.wav"
"""Beside the input; inputs name it by ``/proc/self/cwd``, which is as long in every run."""


class ReachedOutError(BaseException):
    """Stops what reaches out; no error of the program, so that nothing there swallows it."""


class Guard:
    """Watches one process from the moment it is made; `armed` while an input runs."""

    def __init__(self, folder: Path) -> None:
        """Watch; `folder` is all that may be written to."""
        self._own = os.path.realpath(folder)
        roots = (sys.prefix, sys.base_prefix, str(Path(__file__).parents[2]), *sys.path)
        self._readable = tuple(
            {
                self._own,
                *_SYSTEM,
                f"/proc/{os.getpid()}",
                *(os.path.realpath(r) for r in roots if r),
            }
        )
        self.armed = False
        self.heard: list[str] = []
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listening.getsockname()[1]
        self._callers = select.poll()
        self._callers.register(self._listening, select.POLLIN)
        self.canary = folder / CANARY
        self.canary.write_bytes(b"RIFF\x24\0\0\0WAVEfmt ")
        self._set_canary()
        self.canary.read_bytes()
        self.tells_reading = bool(self.canary.stat().st_atime)  # not where no times are kept
        self._set_canary()
        sys.addaudithook(self._audit)

    def begin(self) -> None:
        """Forget what was heard, and watch."""
        self.heard.clear()
        self.armed = True

    def end(self) -> list[str]:
        """Return what was reached for since `begin`, and no longer watch."""
        self.armed = False
        if self.tells_reading and self.canary.stat().st_atime:
            self.heard.append("a file beside the input was read")
            self._set_canary()
        if self._callers.poll(0):
            self.heard.append("the network was called")
            self._listening.accept()[0].close()
        return [*self.heard]

    def _set_canary(self) -> None:
        os.utime(self.canary, (0, self.canary.stat().st_mtime))

    def _audit(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self.armed:
            return
        if event == "open":
            path, _, flags = arguments
            writes = bool(flags & _WRITING) and path != os.devnull
            if not _within(path, (self._own,) if writes else self._readable):
                self._stop("opened for writing" if writes else "opened", path)
        elif event in _CHANGING:
            for path in _changed(event, arguments):
                if not _within(path, (self._own,), follows=event not in _OF_NAMES):
                    self._stop(event, path)
        elif event.startswith(_FORBIDDEN):
            self._stop(event, arguments)

    def _stop(self, what: str, on: object) -> None:
        self.heard.append(f"{what}: {on!r:.200}")
        raise ReachedOutError(what)


def _changed(event: str, arguments: tuple[Any, ...]) -> Iterator[Any]:
    """Yield the paths that an event changes, each made whole."""
    for place, folder in _CHANGING[event]:
        path, descriptor = arguments[place], -1 if folder is None else arguments[folder]
        if descriptor is not None and descriptor >= 0 and isinstance(path, str | bytes):
            yield Path(f"/proc/self/fd/{descriptor}").readlink() / os.fsdecode(path)
        else:
            yield path


def _within(path: Any, folders: tuple[str, ...], *, follows: bool = True) -> bool:
    if path is None or isinstance(path, int):  # a descriptor that was opened before
        return True
    name = os.fsdecode(path)
    if name in (":memory:", ""):  # a database without a file
        return True
    if "\0" in name:  # opens nothing
        return True
    folder, last = os.path.split(name.rstrip("/"))
    whole = os.path.realpath(name) if follows else f"{os.path.realpath(folder)}/{last}"
    return any(whole == each or whole.startswith(each + os.sep) for each in folders)


class Memory:
    """The most memory that an input took, as the system counts it: resident, all of the process."""

    def __init__(self, *, virtual_mb: int = 6000) -> None:
        """Keep the process from taking the machine's memory, and learn to ask for its peak."""
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (virtual_mb * _MEGABYTE, hard))
        # proc(5): writing 5 sets the peak to what is in use.
        self._reset = os.open("/proc/self/clear_refs", os.O_WRONLY)
        self._status = os.open("/proc/self/status", os.O_RDONLY)

    def begin(self) -> None:
        """Forget the peak."""
        os.write(self._reset, b"5")

    def peak_mb(self) -> float:
        """Return the peak since `begin`."""
        status = os.pread(self._status, 4096, 0)
        return int(status.split(b"VmHWM:", 1)[1].split(None, 1)[0]) / 1024
