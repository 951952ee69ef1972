"""Layouts that combine difficulties: the same recording must come back from each, with no hints.

Expected values are those that were written; tolerances are the digits printed.
"""

from pathlib import Path

import pytest
from written_layouts import LAYOUTS
from written_tables import assert_same, written

from vibetrend.ingest import read


@pytest.mark.parametrize("layout", LAYOUTS)
def test_reads_the_same_recording_from_every_layout(layout: str, tmp_path: Path) -> None:
    recording = read(written(tmp_path, LAYOUTS[layout]))
    assert_same(recording)
    assert all(note.severity == "note" for note in recording.notes)
