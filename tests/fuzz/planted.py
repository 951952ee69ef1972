"""Readers with faults put into them on purpose: the harness has to find each."""

import ctypes
import gc
import os
import socket
import subprocess
import sys
import threading
import time
import warnings
from collections.abc import Callable
from pathlib import Path

from guard import CANARY

from vibetrend.errors import ReadError


def _misses_a_key(_: Path, data: bytes) -> None:
    {}[data]


def _warns(_: Path, __: bytes) -> None:
    warnings.warn("this goes to the terminal", stacklevel=1)


def _runs_for_ever(_: Path, __: bytes) -> None:
    while True:
        pass


def _waits_for_ever(_: Path, __: bytes) -> None:
    threading.Event().wait()


def _crashes(_: Path, __: bytes) -> None:
    ctypes.string_at(0)


def _leaves(_: Path, __: bytes) -> None:
    os._exit(0)


def _eats_memory(_: Path, __: bytes) -> None:
    held = bytearray(60_000_000)
    held[::4096] = bytes(len(held[::4096]))


def _opens_a_socket(_: Path, __: bytes) -> None:
    socket.create_connection(("127.0.0.1", 9))


def _swallows_that_it_opened_a_socket(_: Path, __: bytes) -> None:
    try:
        socket.create_connection(("127.0.0.1", 9))
    except BaseException as error:
        raise ReadError("no connection; try again") from error


def _calls_the_listening_port(_: Path, data: bytes) -> None:
    # As a library in C would do it: no event of Python's tells.
    library = ctypes.CDLL(None)
    address = (
        (2).to_bytes(2, sys.byteorder) + int(data).to_bytes(2) + bytes([127, 0, 0, 1]) + bytes(8)
    )
    library.connect(library.socket(2, 1, 0), address, len(address))


def _reads_a_file_beside(_: Path, __: bytes) -> None:
    library = ctypes.CDLL(None)
    descriptor = library.open(CANARY.encode(), os.O_RDONLY)
    library.read(descriptor, ctypes.create_string_buffer(9), 9)
    library.close(descriptor)


def _runs_a_program(_: Path, __: bytes) -> None:
    subprocess.run(["true"], check=False)


def _writes_outside(folder: Path, __: bytes) -> None:
    (folder / ".." / ".." / "fuzz-escaped").write_text("x")


def _removes_outside(_: Path, __: bytes) -> None:
    Path("/dev/shm/fuzz-not-there").unlink(missing_ok=True)


def _reads_outside(_: Path, __: bytes) -> None:
    Path("/etc/passwd").read_text()


def _writes_through_a_link(folder: Path, __: bytes) -> None:
    (folder / "link").unlink(missing_ok=True)
    (folder / "link").symlink_to("/dev/shm/fuzz-escaped")
    (folder / "link").write_text("x")


def _fails_in_a_thread(_: Path, __: bytes) -> None:
    thread = threading.Thread(target=lambda: 1 / 0)
    thread.start()
    thread.join()


def _fails_while_it_is_let_go(_: Path, __: bytes) -> None:
    class Held:
        def __del__(self) -> None:
            raise KeyError

    Held()
    gc.collect()


def _talks_too_much(_: Path, __: bytes) -> None:
    raise ReadError("a" * 2000)


def _says_nothing(_: Path, __: bytes) -> None:
    raise ReadError


def _obeys_the_file(_: Path, data: bytes) -> None:
    raise ReadError(f"the file says \x1b[2J {data!r}")


def _refuses(_: Path, data: bytes) -> None:
    raise ReadError(f"not a recording but {data!r}")


def _stays_within(folder: Path, data: bytes) -> None:
    (folder / "a").write_bytes(data)
    (folder / "a").rename(folder / "b")
    (folder / "b").unlink()
    time.sleep(0)


TARGETS: dict[str, Callable[[Path, bytes], None]] = {
    name.removeprefix("_").replace("_", " "): made
    for name, made in list(globals().items())
    if name.startswith("_") and callable(made) and getattr(made, "__module__", "") == __name__
}
