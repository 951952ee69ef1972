"""What runs in a process of its own: one input after the other, watched.

Started by `campaign.Worker` with the number of an open pipe, a folder to write to, the module
whose `TARGETS` are run, and the memory that one input may take in megabytes.
"""

import faulthandler
import importlib
import os
import sys
import threading
import time
import traceback
import warnings
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

from ended import Ended, fault_in
from guard import Guard, Memory, ReachedOutError
from reached import Reached

PACKAGE = Path(__file__).parents[2] / "vibetrend"

Target = Callable[[Path, bytes], object]
"""Puts an input to use, in a folder of its own."""

PORT_TOKEN = b"@PORT"
"""In an input, it becomes the listening port; as long as its digits, so that lengths stay right."""


def main() -> None:
    """Run inputs until there is no more."""
    pipe, folder, module, most_mb = sys.argv[1:]
    connection = Connection(int(pipe))
    faulthandler.enable()
    sys.dont_write_bytecode = True
    warnings.simplefilter("error")
    reached = Reached(PACKAGE.name)
    targets = importlib.import_module(module).TARGETS
    runner = _Runner(Path(folder), float(most_mb), reached)
    connection.send("ready")
    while True:
        try:
            name, data = connection.recv()
        except EOFError:  # there is no more
            return
        if name:
            connection.send(runner.run(targets[name], data))
        else:
            reached.forget()


class _Runner:
    def __init__(self, folder: Path, most_mb: float, reached: Reached) -> None:
        self._folder = folder / "run"
        self._folder.mkdir(exist_ok=True)
        os.environ["TMPDIR"] = str(self._folder)
        os.chdir(self._folder)
        self._most_mb = most_mb
        self._memory = Memory()
        self._reached = reached
        self._refusal = importlib.import_module("vibetrend.errors").VibetrendError
        self._stray: list[str] = []
        sys.unraisablehook = lambda raised: self._stray.append(repr(raised.exc_value))
        threading.excepthook = lambda raised: self._stray.append(repr(raised.exc_value))
        self._guard = Guard(self._folder)  # last: what is above may still be done

    def run(self, target: Target, data: bytes) -> Ended:
        data = data.replace(PORT_TOKEN, b"%05d" % self._guard.port)
        kind, said, detail = "accepted", "", ""
        self._stray.clear()
        self._memory.begin()
        begun = time.process_time()
        self._guard.begin()
        self._reached.begin()
        try:
            target(self._folder, data)
        except self._refusal as error:
            kind, said = "refused", str(error).replace(str(self._folder) + os.sep, "")
            if fault := fault_in(said):
                kind, said, detail = fault, _signature(error), said
        except ReachedOutError:
            pass  # heard by the guard
        except BaseException as error:  # whatever it is, it is what is looked for
            kind, said, detail = "raised", _signature(error), traceback.format_exc()
        finally:
            lines = self._reached.end()
            heard = self._guard.end()
        seconds, megabytes = time.process_time() - begun, self._memory.peak_mb()
        if heard:
            kind, said = "reached out", heard[0]
        elif self._stray:
            kind, said = "raised aside", self._stray[0]
        elif megabytes > self._most_mb:
            kind, said = "memory", f"took {megabytes:.0f} MB"
        return Ended(
            kind=kind,
            said=said,
            detail=detail,
            seconds=seconds,
            megabytes=megabytes,
            lines=lines,
        )


def _signature(error: BaseException) -> str:
    """Return an error's kind and the innermost line of the program, which tell it from others."""
    steps = traceback.extract_tb(error.__traceback__)
    ours = [step for step in steps if step.filename.startswith(str(PACKAGE))]
    at = (ours or steps)[-1]
    return f"{type(error).__name__} at {Path(at.filename).name}:{at.name}"


if __name__ == "__main__":
    main()
