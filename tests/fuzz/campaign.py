"""Mutated inputs for one target, guided by the lines that they reach, and how they ended."""

import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType
from typing import Self

from ended import Ended
from mutation import Mutator
from reached import Line

SECONDS = 10.0
MEGABYTES = 1000.0
_STARTING_S = 120.0
_IN_MEMORY = "/dev/shm"
_IDLE = 10  # times as long may an input take that hardly uses the processor
_HERE = Path(__file__).parent


class Worker:
    """A process that runs inputs; another takes its place when it hangs or dies."""

    def __init__(
        self, module: str, *, seconds: float = SECONDS, megabytes: float = MEGABYTES
    ) -> None:
        """Take the name of the module whose `TARGETS` are run, and what an input may take."""
        self._module, self._seconds, self._megabytes = module, seconds, megabytes
        # In memory where there is such a place: what is written is waited for often.
        place = _IN_MEMORY if Path(_IN_MEMORY).is_dir() else None
        self._folder = tempfile.TemporaryDirectory(prefix="fuzz-", dir=place)
        self._process: subprocess.Popen[bytes] | None = None
        self._pipe: Connection | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._end()
        self._folder.cleanup()

    def forget(self) -> None:
        """Take every line that is reached from now on for new."""
        self._started().send(("", b""))

    def run(self, target: str, data: bytes) -> Ended:
        """Run one input and return how it ended."""
        pipe = self._started()
        pipe.send((target, data))
        try:
            if self._answers(pipe):
                ended: Ended = pipe.recv()
                return ended
            kind, seconds = "hung", self._seconds
            self._end(signal.SIGABRT)
        except EOFError:
            kind, seconds = f"crashed ({self._end()})", 0.0
        return Ended(kind=kind, said=self._where(), seconds=seconds, detail=self._complaints())

    def _answers(self, pipe: Connection) -> bool:
        """Wait for an answer; a machine that is busy with other things is no hang of ours."""
        assert self._process is not None
        begun, used = time.monotonic(), _cpu_s(self._process.pid)
        while not pipe.poll(self._seconds / 10):
            if _cpu_s(self._process.pid) - used > self._seconds:
                return False
            if time.monotonic() - begun > _IDLE * self._seconds:
                return False
        return True

    def _started(self) -> Connection:
        if self._pipe is not None:
            return self._pipe
        self._pipe, theirs = Pipe()
        with Path(self._folder.name, "stderr").open("wb") as complaints:
            self._process = subprocess.Popen(
                [
                    *(sys.executable, str(_HERE / "child.py"), str(theirs.fileno())),
                    *(self._folder.name, self._module, str(self._megabytes)),
                ],
                pass_fds=[theirs.fileno()],
                stdout=subprocess.DEVNULL,
                stderr=complaints,
                env=os.environ
                | {
                    "PYTHONHASHSEED": "0",  # the order of a set is no chance
                    "PYTHONPATH": os.pathsep.join(map(str, (_HERE, _HERE.parents[1]))),
                    "OMP_NUM_THREADS": "1",
                    "OPENBLAS_NUM_THREADS": "1",
                },
            )
        theirs.close()
        if not self._pipe.poll(_STARTING_S) or self._pipe.recv() != "ready":
            raise RuntimeError(f"the worker does not start: {self._complaints()}")
        return self._pipe

    def _end(self, how: int = signal.SIGKILL) -> int:
        """End the process, and return its exit code."""
        if self._process is None or self._pipe is None:
            return 0
        self._pipe.close()
        if how != signal.SIGKILL:  # it tells first where it was
            self._process.send_signal(how)
            try:
                return self._forget(self._process.wait(2))
            except subprocess.TimeoutExpired:
                pass
        self._process.kill()
        return self._forget(self._process.wait())

    def _forget(self, code: int) -> int:
        self._process = self._pipe = None
        return code

    def _complaints(self) -> str:
        return Path(self._folder.name, "stderr").read_text(errors="replace")[-4000:]

    def _where(self) -> str:
        """Return the innermost line of the program, as the fault handler wrote it."""
        at = re.findall(r'vibetrend/(\S+)", line \d+ in (\w+)', self._complaints())
        return f"at {at[0][0]}:{at[0][1]}" if at else "outside the program"


def _cpu_s(process: int) -> float:
    """Return what a process has used of the processor, seconds (proc(5))."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Subject:
    """What one target's inputs are made of."""

    target: str
    seeds: tuple[bytes, ...]
    mutator: Mutator
    share: int = 1  # of all inputs: cheap targets may have more


@dataclass
class Failure:
    """A way to fail, with the first input that failed so."""

    kind: str
    said: str
    detail: str
    data: bytes
    count: int = 1


@dataclass
class Tally:
    """How the inputs of one target ended."""

    target: str
    inputs: int = 0  # the seeds too
    kinds: Counter[str] = field(default_factory=Counter)
    refusals: Counter[str] = field(default_factory=Counter)
    lines: set[Line] = field(default_factory=set)
    seed_lines: int = 0
    slowest_s: float = 0.0
    slowest: bytes = b""
    peak_mb: float = 0.0
    failures: dict[str, Failure] = field(default_factory=dict)

    def count(self, ended: Ended, data: bytes) -> bool:
        """Count an input; True if it reached a line or ended in a way that is new."""
        self.inputs += 1
        self.kinds[ended.kind] += 1
        if ended.seconds > self.slowest_s:
            self.slowest_s, self.slowest = ended.seconds, data
        self.peak_mb = max(self.peak_mb, ended.megabytes)
        new = not self.lines.issuperset(ended.lines)
        self.lines.update(ended.lines)
        if ended.kind == "refused":
            words = _without_values(ended.said)
            new |= words not in self.refusals
            self.refusals[words] += 1
        if ended.failed:
            name = f"{ended.kind} {ended.said}"
            if name in self.failures:
                self.failures[name].count += 1
                new = False
            else:
                self.failures[name] = Failure(ended.kind, ended.said, ended.detail, data)
        return new


def campaign(subject: Subject, *, inputs: int, seed: int, worker: Worker) -> Tally:
    """Run the seeds, then `inputs` mutations of them and of all that reached something new."""
    tally = Tally(subject.target)
    worker.forget()
    chance = random.Random(f"{seed} {subject.target}")
    pool: list[bytes] = []
    for data in _inputs(subject, pool, chance, inputs):
        ended = worker.run(subject.target, data)
        is_new = tally.count(ended, data)
        if is_new or tally.inputs <= len(subject.seeds):
            pool.append(data)
        if tally.inputs == len(subject.seeds):
            tally.seed_lines = len(tally.lines)
    return tally


def _inputs(
    subject: Subject, pool: list[bytes], chance: random.Random, count: int
) -> Iterator[bytes]:
    yield from subject.seeds
    for _ in range(count):
        recent = pool[-max(1, len(pool) // 4) :]
        # From valid ones too: of what was refused, most is refused again before it gets far.
        one = chance.choice(chance.choice((subject.seeds, recent, pool)))
        yield subject.mutator.mutated(one, chance.choice(pool), chance)


def _without_values(text: str) -> str:
    """Return a refusal without what it quotes and counts, so that alike ones are one."""
    return re.sub(r"'[^']*'|\"[^\"]*\"|[-+]?\d[\d.,e+-]*", "~", text)[:200]
