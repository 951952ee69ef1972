"""What another process does meanwhile; `crowd.py` has six at one logbook for a minute."""

from pathlib import Path
from typing import Any
from unittest.mock import patch

from every_command import LOGBOOK, run
from trial import Trials
from whole_logbook import faults

from vibetrend.logbook import Logbook


def test_a_verdict_knows_only_what_it_was_told(trials: Trials, tmp_path: Path) -> None:
    """Another process adds a recording between judging and the keeping of the verdict."""
    status, add = trials.prepared["status"], trials.prepared["add one"]
    at = trials.prepared.copy(tmp_path, status)
    real = Logbook.keep_verdict
    added: list[bool] = []

    def late(self: Logbook, *given: Any, **named: Any) -> None:
        if not added:
            added.append(True)
            assert run(at, add.arguments).accepted
        real(self, *given, **named)

    with patch.object(Logbook, "keep_verdict", late):
        assert run(at, status.arguments).accepted
    assert list(faults(at / LOGBOOK)) == []
    with Logbook.open(at / LOGBOOK) as book:
        (series,) = book.series("main")
        known = [f"{day}" for day in book.verdicts(series.id)["newest"][-2:]]
    # That of the recording added last, kept first; then the one that did not know it.
    assert known == ["2025-01-10", "2025-01-09"]
