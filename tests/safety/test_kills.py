"""A dozen kills: a taste of what `kills.py` does at length."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("kills.py")


@pytest.mark.skipif(os.name != "posix", reason="fork and SIGKILL are POSIX")
def test_a_dozen_kills_lose_nothing() -> None:
    """Process death at random moments; says nothing about power loss, which needs a disk."""
    done = subprocess.run(
        [sys.executable, SCRIPT, "--kills", "12", "--seed", "1", "--without", "report"],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    *_, total, _ = done.stdout.splitlines()
    _, kills, _, inside, *_ = total.split()
    assert int(kills) >= 12
    assert int(inside) >= 2
