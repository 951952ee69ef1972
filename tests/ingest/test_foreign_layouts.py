"""Layouts that were written without looking at the reader are read without hints.

Everything in them is invented; see foreign_layouts.py and more_foreign_layouts.py.
"""

from pathlib import Path

import more_foreign_layouts
import numpy as np
import pytest
from foreign_layouts import LAYOUTS

from vibetrend.ingest import read

ALL = {**LAYOUTS, **more_foreign_layouts.LAYOUTS}


@pytest.mark.parametrize("name", ALL)
def test_a_foreign_layout_is_read_without_hints(name: str, tmp_path: Path) -> None:
    layout = ALL[name]
    expected = layout.expected
    path = tmp_path / layout.file_name
    path.write_bytes(layout.content)

    recording = read(path)

    assert recording.kind == expected.kind
    assert recording.unit == expected.unit
    assert recording.samples is not None
    assert recording.samples.shape == expected.samples.shape
    samples = recording.samples
    if expected.axes is not None:  # in whatever order: one file has z, y, x
        assert sorted(recording.axes) == sorted(expected.axes)
        samples = samples[:, [recording.axes.index(axis) for axis in expected.axes]]
    np.testing.assert_allclose(samples, expected.samples, rtol=0, atol=expected.tolerance)
    times = recording.time_s()
    np.testing.assert_allclose(
        times - times[0], expected.times, rtol=0, atol=expected.time_tolerance
    )
