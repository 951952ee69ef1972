"""A logbook to go on with, for the modules that make a `baseline_folder`."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from vibetrend.logbook import Logbook


@pytest.fixture
def begun(baseline_folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    """A logbook of one's own with a complete baseline."""
    shutil.copytree(baseline_folder, tmp_path / "logbook")
    with Logbook.open(tmp_path / "logbook") as opened:
        yield opened
