"""Toothed wheels on other people's engines; skipped where the files are absent.

What is known: README beside the recordings. Its amplitudes are those of a Hann-weighted Fourier
transform of the speeds over tooth intervals, which reproduces them to 0.001 rev/s; that weighs the
middle of the 30 turns more, through which the amplitudes vary.
"""

import functools
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

import vibetrend as vt
from vibetrend.orders.crank_speed import crank_speed_orders
from vibetrend.orders.teeth_track import edges_of, tacho_track
from vibetrend.recording import Tacho

REAL = Path(__file__).parents[2].parent / "shared" / "data" / "real"
pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the real recordings are not here")


@functools.cache
def crank() -> Tacho:
    read = vt.read(REAL / "crank_teeth_36-2-1.csv", tacho_column="Channel 0", teeth="36-2-1")
    assert read.tacho is not None
    return read.tacho


@functools.cache
def generator_set(name: str) -> Tacho:
    path = REAL / f"genset_{name}.txt.zip"
    read = vt.read(path, columns=[3], tacho_column=2, teeth="60-2", unit="V")
    assert read.tacho is not None
    return read.tacho


def test_speed_of_36_2_1_teeth() -> None:
    """1419.4 rpm over 30 turns, 1402 to 1436."""
    track, edges = tacho_track(crank()), edges_of(crank())
    marks = edges.time[np.isclose(edges.turns % 1, 0) | np.isclose(edges.turns % 1, 1)]
    assert len(marks) == 31
    error = 60 * track.standard_error_hz(marks[0], marks[-1])
    assert 60 * track.mean_hz(marks[0], marks[-1]) == pytest.approx(1419.4, abs=0.06)
    assert 0 < error < 0.02
    each = [60 * track.mean_hz(a, b) for a, b in itertools.pairwise(marks)]
    assert (round(min(each)), round(max(each))) == (1402, 1436)


@pytest.mark.parametrize(
    ("order", "peak"), [(0.5, 0.156), (1.0, 0.125), (1.5, 0.080), (2.0, 0.158)]
)
def test_fluctuation_of_36_2_1_teeth(order: float, peak: float) -> None:
    row = crank_speed_orders(crank()).set_index("order").loc[order]
    scale = math.sqrt(2) / (2 * math.pi)  # rad/s rms to rev/s 0-to-peak
    assert row["visible"]
    assert scale * row["amplitude"] == pytest.approx(peak, abs=2 * scale * row["standard_error"])
    assert row["standard_error"] < 0.15 * row["amplitude"]


def test_speed_of_generator_set() -> None:
    """3172.2 rpm; turns from one tooth or another of the half second come to 3171.8 to 3173.3."""
    track = tacho_track(generator_set("noload"))
    assert 60 * track.mean_hz() == pytest.approx(3172.2, abs=0.75)


def test_coast_down_of_generator_set() -> None:
    """47.9 falling to 36.0 revolutions a second; compression moves single turns by 1 %."""
    tacho = generator_set("coastdown")
    track, edges = tacho_track(tacho), tacho.edge_times
    assert track.mean_hz(edges[0], edges[58]) == pytest.approx(47.9, abs=0.05)
    assert track.mean_hz(edges[-59], edges[-1]) == pytest.approx(36.0, rel=0.01)
    assert track.spread_percent() > 5
