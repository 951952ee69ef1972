"""Several processes at one logbook: a taste of what `crowd.py` does at length."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from every_command import LOGBOOK, run
from trial import Trials
from whole_logbook import faults

from vibetrend.logbook import Logbook

SCRIPT = Path(__file__).with_name("crowd.py")


@pytest.mark.skipif(os.name != "posix", reason="fork is POSIX")
def test_six_at_once() -> None:
    done = subprocess.run(
        [sys.executable, SCRIPT, "--seconds", "2", "--seed", "1"],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "no fault" in done.stdout


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
