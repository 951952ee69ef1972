"""A command with a fault around it: one plain line, nothing changed, and it works afterwards."""

import tempfile
from collections import Counter
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path

from every_command import LOGBOOK, UNJUDGED, Command, Prepared, Ran, run
from whole_logbook import JUDGED, Row, exactly, faults, held, left_over, originals


@dataclass(frozen=True)
class State:
    """What a logbook holds at a moment."""

    text: list[str]
    rows: "Counter[Row]"
    originals: set[str]

    @classmethod
    def of(cls, at: Path) -> "State":
        """Look at the logbook in a folder."""
        folder = at / LOGBOOK
        return cls(exactly(folder), held(folder), originals(folder))


@dataclass
class Trials:
    """Tries faults on commands; knows how each goes without."""

    prepared: Prepared
    _usual: "dict[str, Counter[Row]]" = field(default_factory=dict)

    def usual(self, command: Command) -> "Counter[Row]":
        """Return what the logbook holds after a command; imports all that it needs too."""
        if command.name not in self._usual:
            with tempfile.TemporaryDirectory() as folder:
                at = self.prepared.copy(Path(folder), command)
                ran = run(at, command.arguments)
                assert ran.accepted, ran.err
                self._usual[command.name] = held(at / LOGBOOK)
        return self._usual[command.name]

    def refused(
        self, command: Command, at: Path, fault: AbstractContextManager[object], *, lines: int = 1
    ) -> str:
        """Run a command with a fault around it; return the line it says."""
        before = State.of(at)
        ran = self.ran(command, at, fault)
        assert ran.code == 1, ran
        self.unchanged(command, at, before)
        told(ran, lines=lines)
        return ran.err

    def ran(self, command: Command, at: Path, fault: AbstractContextManager[object]) -> Ran:
        """Run a command with a fault around it."""
        self.usual(command)
        with fault:
            return run(at, command.arguments)

    def unchanged(self, command: Command, at: Path, before: "State") -> None:
        """Assert that a logbook is as it was, whole and clean; a verdict may have been kept."""
        after = State.of(at)
        assert not before.rows - after.rows
        more = {row[0] for row in after.rows - before.rows}
        assert more <= (JUDGED if command.on == UNJUDGED else set())
        if more:
            assert list(faults(at / LOGBOOK)) == []
        else:
            assert after.text == before.text
        assert after.originals == before.originals
        assert left_over(at) == []
        assert not command.leaves or not (at / command.leaves).exists()

    def works(self, command: Command, at: Path) -> None:
        """Assert that a command does what it usually does."""
        usual = self.usual(command)
        ran = run(at, command.arguments)
        assert ran.accepted, ran.err
        assert held(at / LOGBOOK) == usual
        assert list(faults(at / LOGBOOK)) == []
        assert left_over(at) == []


def told(ran: Ran, *, lines: int = 1) -> None:
    """Assert that so many plain lines were said on stderr."""
    said = ran.err.splitlines()
    assert len(said) == lines, ran.err
    assert all(line.startswith("vibetrend: ") for line in said)
    assert "Traceback" not in ran.err
    assert "Errno" not in ran.err
