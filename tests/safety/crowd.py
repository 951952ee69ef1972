"""Several processes at one logbook: nobody is turned away, nothing is lost or there twice.

Run as: crowd.py --seconds 60 --seed 1. Four processes add recordings and notes, half of them the
same as the others', and two read. Prints counts and the longest wait; exits with 1 after a fault.
"""

import argparse
import contextlib
import hashlib
import json
import multiprocessing
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from every_command import LOGBOOK, RPM, Ran, prepare, run
from whole_logbook import faults, held, left_over

from vibetrend.logbook.database import Database

ADDING, READING = ("a", "b", "c", "d"), ("e", "f")
_WHEN = ("--engine", "main", "--date", "2025-01-10")
_NOTES = 6  # for each recording: short writes, to meet those of others
_SERIES = 12  # that recordings are spread over: the judge takes longer for long ones


@dataclass
class Told:
    """What one process was told."""

    who: str
    labels: set[str] = field(default_factory=set)  # of recordings that are in the logbook
    notes: set[str] = field(default_factory=set)
    new: int = 0  # times that it was the first to add something
    commands: int = 0
    longest_s: float = 0.0  # command
    waited_s: float = 0.0  # for the lock, the longest
    faults: list[str] = field(default_factory=list)

    def run(self, folder: Path, *arguments: str) -> Ran:
        """Run a command that nothing may go wrong with."""
        begun = time.perf_counter()
        ran = run(folder, arguments)
        self.longest_s = max(self.longest_s, time.perf_counter() - begun)
        self.commands += 1
        if not ran.accepted or ran.err:
            raise RuntimeError(f"{' '.join(arguments)}: exit {ran.code}: {ran.err}")
        return ran


def add(told: Told, folder: Path, number: int) -> None:
    """Add a recording and notes, every second time what the others add too."""
    name = f"all {number // 2}" if number % 2 else f"{told.who} {number}"
    own = folder / f"{told.who}.csv"
    own.write_text((folder / "files" / "0.csv").read_text() + _last_row(name))
    series = ("--device", f"phone {number % _SERIES}", "--position", "head")
    stated = (*_WHEN, "--hours", "25", "--rpm", f"{RPM:.0f}")
    ran = told.run(folder, "add", own.name, *stated, *series, "--json")
    (entry,) = json.loads(ran.out)["added"]
    told.labels.add(entry["recording"])
    told.new += not entry["duplicate"]
    for line in range(_NOTES):
        text = f"{name}, {line}"
        ran = told.run(folder, "installation", "note", text, *_WHEN, "--json")
        told.notes.add(text)
        told.new += not json.loads(ran.out)["duplicate"]


def _last_row(name: str) -> str:
    """Return a row behind the table's last that no other name has."""
    digits = int(hashlib.sha256(name.encode()).hexdigest(), 16)
    values = (f"0.{digits // 10_000**axis % 10_000:04}" for axis in range(3))
    return f"8.00000,{','.join(values)}\n"


def read(told: Told, folder: Path, _: int) -> None:
    """Look at everything."""
    told.run(folder, "status", "--json")
    told.run(folder, "report", "--csv", f"tables-{told.who}", "--json")


def take_part(
    who: str, folder: Path, until: float, seed: int, queue: "multiprocessing.Queue[Told]"
) -> None:
    """Do one thing again and again until the time has come."""
    told, chance, number = Told(who), random.Random(f"{seed} {who}"), 0
    waits = time_the_lock()
    do = add if who in ADDING else read
    while time.time() < until:
        try:
            do(told, folder, number)
        except Exception as error:
            told.faults.append(f"{who}: {type(error).__name__}: {error}")
        number += 1
        time.sleep(chance.uniform(0, 0.02))
    told.waited_s = max(waits, default=0.0)
    queue.put(told)


def time_the_lock() -> list[float]:
    """Return a list that every wait for the database's lock is added to."""
    real: Callable[[Database], Any] = Database.writing
    waits: list[float] = []

    @contextlib.contextmanager
    def timed(self: Database) -> Iterator[Any]:
        begun = time.perf_counter()
        with real(self) as connection:
            waits.append(time.perf_counter() - begun)
            yield connection

    Database.writing = timed  # type: ignore[method-assign]
    return waits


def crowd(folder: Path, seconds: float, seed: int) -> tuple[list[Told], list[str]]:
    """Let all take part; return what each was told and what is wrong."""
    prepared = prepare(folder / "prepared")
    at = prepared.copy(folder / "at", prepared.commands[0])
    add(Told("first"), at, 0)  # and all is imported
    read(Told("first"), at, 0)
    before = held(at / LOGBOOK)
    forked = multiprocessing.get_context("fork")
    queue = forked.Queue()
    until = time.time() + seconds
    running = [
        forked.Process(target=take_part, args=(who, at, until, seed, queue))
        for who in (*ADDING, *READING)
    ]
    for process in running:
        process.start()
    every = sorted((queue.get(timeout=seconds + 120) for _ in running), key=lambda told: told.who)
    for process in running:
        process.join()
    found = [line for told in every for line in told.faults]
    found += faults(at / LOGBOOK)
    found += left_over(at)
    new = held(at / LOGBOOK) - before
    labels = [str(row[3]) for row in new if row[0] == "recording"]
    notes = [row for row in new if row[0] == "entry"]
    if set(labels) != set().union(*(told.labels for told in every)):
        found.append("the recordings kept are not those that were told of")
    if len(notes) != len(set().union(*(told.notes for told in every))):
        found.append("the notes kept are not those that were told of")
    if (times := sum(told.new for told in every)) != len(labels) + len(notes):
        found.append(f"{times} times something was new, and {len(labels) + len(notes)} are")
    return every, found


def table(every: list[Told]) -> str:
    """Return what each was told as text."""
    titles = ("commands", "recordings", "notes", "first", "longest wait s", "longest command s")
    lines = [f"{'process':12}" + "".join(f"{title:>19}" for title in titles)]
    for told in every:
        numbers = (told.commands, len(told.labels), len(told.notes), told.new)
        times = (told.waited_s, told.longest_s)
        does = "adds" if told.who in ADDING else "reads"
        lines.append(
            f"{told.who} {does:10}"
            + "".join(f"{number:19}" for number in numbers)
            + "".join(f"{number:19.3f}" for number in times)
        )
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        every, found = crowd(Path(made), given.seconds, given.seed)
    print(table(every))
    print("\n".join(found) or "no fault")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
