"""Kill every command that writes at random moments; afterwards nothing may be lost or half there.

Run as: kills.py --kills 300 --seed 1 [--only NAME] [--without NAME]. Prints a row for each command
and every fault; exits with 1 after a fault. Kills of a process say nothing of a disk that loses
power.

Half of the kills come at any moment of a command's usual time, half while something is written:
between asking for the database's lock and the end of its transaction, or between the beginning of
a file and its renaming. A script of its own because it forks, which a test process with threads
must not.
"""

import argparse
import contextlib
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from typing import Any

from every_command import LOGBOOK, REFUSED, VERSIONS, Command, Prepared, environment, prepare, run
from whole_logbook import JUDGED, Row, faults, held, left_over

from vibetrend import whole_file
from vibetrend.cli import main as vibetrend
from vibetrend.logbook.database import Database

BEGIN, END = b"(", b")"
_CRASHED = 70  # exit code after an unexpected error
_KILLED_AGAIN = 0.3  # chance that the repetition is killed as well
_marks: int | None = None  # in a child: where it says that it writes


@dataclass(frozen=True)
class Died:
    """How a child ended."""

    marks: bytes
    out: str
    code: int | None  # None: it was killed

    @property
    def writing(self) -> bool:
        return self.marks.count(BEGIN) > self.marks.count(END)


@dataclass(frozen=True)
class Usual:
    """How a command goes when nobody kills it."""

    seconds: float
    writes: list[float]  # how long each lasts, seconds
    before: "Counter[Row]"
    after: "Counter[Row]"
    files: set[str]  # that lie in the folder afterwards


@dataclass
class Tally:
    """What became of the kills of one command."""

    before: int = 0  # anything was written
    inside: int = 0  # a write
    after: int = 0  # or between two
    too_late: int = 0  # it had ended: no kill
    faults: list[str] = field(default_factory=list)

    def count(self, died: Died) -> None:
        if died.code is not None:
            self.too_late += 1
        elif died.writing:
            self.inside += 1
        elif died.marks:
            self.after += 1
        else:
            self.before += 1


# A command in a child


def mark_writing() -> None:
    """Let everything that writes say so."""
    real = whole_file.unfinished
    for module in list(sys.modules.values()):
        if getattr(module, "unfinished", None) is real:
            module.unfinished = _marked(real)  # type: ignore[attr-defined]
    Database.writing = _marked(Database.writing)  # type: ignore[method-assign]


def _marked(real: Callable[..., Any]) -> Callable[..., Any]:
    def mark(letter: bytes) -> None:
        if _marks is not None:
            os.write(_marks, letter)

    @contextlib.contextmanager
    def marking(*given: Any, **named: Any) -> Iterator[Any]:
        mark(BEGIN)
        try:
            with real(*given, **named) as made:
                yield made
        finally:
            mark(END)

    return marking


def start(folder: Path, command: Command) -> tuple[int, int, int]:
    """Run a command in a child; return its number, its marks and what it says."""
    marks, marking = os.pipe()
    said, saying = os.pipe()
    child = os.fork()
    if not child:
        _be_child(folder, command, marking, saying)
    os.close(marking)
    os.close(saying)
    return child, marks, said


def _be_child(folder: Path, command: Command, marking: int, saying: int) -> None:
    global _marks
    code: object = _CRASHED
    try:
        _marks = marking
        os.chdir(folder)
        os.environ.update(environment(folder))
        sys.argv = ["vibetrend", *command.arguments]
        with open(saying, "w", buffering=1, encoding="utf-8") as told:
            sys.stdout = sys.stderr = told
            try:
                vibetrend()
            except SystemExit as stopped:
                code = stopped.code or 0
            except BaseException:
                traceback.print_exc()
    finally:
        os._exit(int(str(code)))


def _rest(pipe: int) -> bytes:
    with os.fdopen(pipe, "rb") as stream:
        return stream.read()


def measured(folder: Path, command: Command) -> tuple[float, list[float]]:
    """Return how long a command takes, and each of its writes."""
    begun = time.perf_counter()
    child, marks, said = start(folder, command)
    at, writes = [], []
    while letter := os.read(marks, 1):
        now = time.perf_counter()
        if letter == BEGIN:
            at.append(now)
            writes.append(0.0)
        else:
            writes[len(writes) - 1] = now - at[-1]
    os.waitpid(child, 0)
    seconds = time.perf_counter() - begun
    os.close(marks)
    os.close(said)
    return seconds, writes


def killed(folder: Path, command: Command, usual: Usual, chance: random.Random) -> Died:
    """Start a command and kill it."""
    aimed = bool(usual.writes) and chance.random() < 0.5
    number = chance.randrange(len(usual.writes)) if aimed else 0
    wait = chance.uniform(0, usual.writes[number] if aimed else usual.seconds)
    child, marks, said = start(folder, command)
    seen = b""
    while aimed and seen.count(BEGIN) <= number and (letter := os.read(marks, 1)):
        seen += letter
    time.sleep(wait)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    code = None if os.WIFSIGNALED(status) else os.waitstatus_to_exitcode(status)
    return Died(seen + _rest(marks), _rest(said).decode(), code)


# What must hold


def usual(prepared: Prepared, command: Command, scratch: Path, *, times: int = 3) -> Usual:
    """Run a command to its end several times."""
    took = []
    for _ in range(times):
        with copied(prepared, command, scratch) as folder:
            before = held(folder / LOGBOOK)
            took.append(measured(folder, command))
            if left := left_over(folder):
                raise RuntimeError(f"{command.name} leaves {left} where nobody kills it")
            after, files = held(folder / LOGBOOK), _files(folder)
    writes = [median(each) for each in zip(*(writes for _, writes in took), strict=True)]
    return Usual(median(seconds for seconds, _ in took), writes, before, after, files)


@contextlib.contextmanager
def copied(prepared: Prepared, command: Command, scratch: Path) -> Iterator[Path]:
    """Give a fresh copy of what a command needs."""
    folder = prepared.copy(scratch / "copy", command)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def _files(folder: Path) -> set[str]:
    inside = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {str(path) for path in inside if not path.name.endswith(("-wal", "-shm"))}


def once(
    prepared: Prepared, command: Command, known: Usual, scratch: Path, chance: random.Random
) -> Iterator[tuple[Died, list[str]]]:
    """Kill a command once or twice and let it run to its end; give each kill and its faults."""
    with copied(prepared, command, scratch) as folder:
        while True:
            died = killed(folder, command, known, chance)
            found = list(after_kill(folder, command, known, died))
            again = not found and died.code is None and chance.random() < _KILLED_AGAIN
            if not again:
                found += at_the_end(folder, command, known)
            yield died, found
            if not again:
                return


def after_kill(folder: Path, command: Command, known: Usual, died: Died) -> Iterator[str]:
    """Give what is wrong after a kill."""
    now = _as_it_lies(folder / LOGBOOK)
    if command.on not in VERSIONS:
        if gone := known.before - now:
            yield f"{sum(gone.values())} entries are missing: {next(iter(gone))}"
        if strange := _but_verdicts(command, now - known.after):
            yield f"{sum(strange.values())} entries were never meant: {next(iter(strange))}"
    elif now not in (known.before, known.after):
        yield "the change of the schema is half done"
    yield from faults(folder / LOGBOOK)
    yield from made(folder, command)
    labels = {str(row[3]) for row in held(folder / LOGBOOK) if row[0] == "recording"}
    # Recordings are told one by one, long before the command ends.
    accepted = set(re.findall(r"\b[0-9a-f]{10}\b", died.out))
    if command.name.startswith("add") and not accepted <= {label[:10] for label in labels}:
        yield f"accepted and missing: {accepted - labels}"
    if died.code is None:
        return
    if died.code in REFUSED or died.code == _CRASHED:
        yield f"exit {died.code}: {died.out}"
    elif _but_verdicts(command, _difference(held(folder / LOGBOOK), known.after)):
        yield "accepted, and not all of it is there"


def _difference(one: "Counter[Row]", other: "Counter[Row]") -> "Counter[Row]":
    return (one - other) + (other - one)


def _but_verdicts(command: Command, rows: "Counter[Row]") -> "Counter[Row]":
    """Leave out what differs of a command that was stopped: the verdict where it went on."""
    if command.name != "remeasure":
        return rows
    return Counter({row: times for row, times in rows.items() if row[0] not in JUDGED})


def made(folder: Path, command: Command) -> Iterator[str]:
    """Give what is wrong with a file or folder that has its name already, if it has."""
    place = folder / str(command.leaves)
    if command.leaves is None or not place.exists():
        return
    if not command.proof:
        if not place.read_text(encoding="utf-8").rstrip().endswith("</html>"):
            yield f"{command.leaves} is half there"
        return
    ran = run(folder, command.proof)
    if not ran.accepted:
        yield f"{command.leaves} is half there: {ran.err}"
    elif held(folder / "proof") != held(folder / LOGBOOK):
        yield f"{command.leaves} holds something else"
    if command.leaves != "proof":
        shutil.rmtree(folder / "proof", ignore_errors=True)


def _as_it_lies(logbook: Path) -> "Counter[Row]":
    """Return what the database holds before this program opens it, which may repair it."""
    with tempfile.TemporaryDirectory() as aside:
        for path in logbook.glob("logbook.sqlite*"):
            shutil.copy(path, aside)
        return held(Path(aside))


def at_the_end(folder: Path, command: Command, known: Usual) -> Iterator[str]:
    """Repeat a command to its end; give what is not as if nobody had killed it."""
    if not command.made(folder):
        ran = run(folder, command.arguments)
        if not ran.accepted:
            yield f"repeated: exit {ran.code}: {ran.err}"
    yield from made(folder, command)
    yield from (f"repeated: {each}" for each in faults(folder / LOGBOOK))
    if _but_verdicts(command, _difference(held(folder / LOGBOOK), known.after)):
        yield "repeated: what it holds is not what it holds usually"
    if left := left_over(folder):
        yield f"repeated: {', '.join(left)} stayed"
    elif (files := _files(folder)) != known.files:
        yield f"repeated: files {sorted(files ^ known.files)[:3]}"


# The whole


def try_all(
    kills: int,
    seed: int,
    *,
    only: str | None,
    without: str | None,
    progress: Callable[[str], None],
) -> dict[str, Tally]:
    """Kill commands in turn; return the tally of each."""
    chance = random.Random(seed)
    tallies: dict[str, Tally] = {}
    with tempfile.TemporaryDirectory() as made:
        scratch = Path(made)
        prepared = prepare(scratch / "prepared")
        commands = [each for each in prepared.commands if only in (None, each.name)]
        commands = [each for each in commands if each.name != without]
        chance.shuffle(commands)
        commands = commands[:kills]
        mark_writing()
        for each in commands:  # imports all there is to import: children only fork
            with copied(prepared, each, scratch) as folder:
                ran = run(folder, each.arguments)
                if not ran.accepted:
                    raise RuntimeError(f"{each.name}: exit {ran.code}: {ran.err}")
        known: dict[str, Usual] = {}
        done = 0
        while done < kills:
            for each in commands:
                if each.name not in known:
                    times = 3 if kills > len(commands) else 1
                    known[each.name] = usual(prepared, each, scratch, times=times)
                tally = tallies.setdefault(each.name, Tally())
                for died, found in once(prepared, each, known[each.name], scratch, chance):
                    tally.count(died)
                    tally.faults += found
                    done += died.code is None
                    for line in found:
                        progress(f"{each.name}: {line}")
                if done >= kills:
                    break
    return tallies


def table(tallies: dict[str, Tally]) -> str:
    """Return what became of the kills as text."""
    titles = ("kills", "before a write", "inside", "after", "too late", "faults")
    lines = [f"{'command':22}" + "".join(f"{title:>16}" for title in titles)]
    total = [0] * len(titles)
    for name, each in sorted(tallies.items()):
        kills = (each.before, each.inside, each.after)
        numbers = [sum(kills), *kills, each.too_late, len(each.faults)]
        total = [one + other for one, other in zip(total, numbers, strict=True)]
        lines.append(f"{name:22}" + "".join(f"{number:16}" for number in numbers))
    lines.append(f"{'all':22}" + "".join(f"{number:16}" for number in total))
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="Name of a command, as in the table.")
    parser.add_argument("--without", help="Name of a command that is left out.")
    given = parser.parse_args()
    begun = time.perf_counter()
    tallies = try_all(
        given.kills, given.seed, only=given.only, without=given.without, progress=print
    )
    print(table(tallies))
    print(f"{time.perf_counter() - begun:.0f} s")
    return 1 if any(each.faults for each in tallies.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
