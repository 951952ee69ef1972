"""The envelope of a recording: nothing that matters is lost, however long it is."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from vibetrend.orders import measure
from vibetrend.orders.trace import trace
from vibetrend.recording import Recording

RATE = 400.0
TIME = np.arange(12_000) / RATE


def test_a_single_spike_and_every_extreme_stay() -> None:
    samples = np.random.default_rng(1).standard_normal((TIME.size, 2))
    samples[7777, 1] = 80.0
    seen = trace(Recording(samples, sample_rate=RATE))
    assert_array_equal(seen.high.max(axis=1), samples.max(axis=0))
    assert_array_equal(seen.low.min(axis=1), samples.min(axis=0))
    place = int(seen.high[1].argmax())
    assert seen.edges_s[place] <= 7777 / RATE <= seen.edges_s[place + 1]
    assert seen.high.shape == (2, 900)
    assert (seen.gaps, seen.cut) == ((), ())


def test_ten_minutes_at_48_khz_are_as_many_pieces() -> None:
    samples = np.zeros(600 * 4800)
    seen = trace(Recording(samples, sample_rate=4800))
    assert len(seen.middles_s) == 900
    assert seen.edges_s[-1] == pytest.approx(600)


def test_a_gap_in_the_stamps_is_empty_and_named() -> None:
    there = (TIME < 10) | (TIME > 12)
    recording = Recording(np.sin(TIME[there] * 40), times=1e6 + TIME[there])
    seen = trace(recording, faults=["gaps"])
    assert seen.gaps == ((pytest.approx(10, abs=0.01), pytest.approx(12, abs=0.01)),)
    inside = (seen.edges_s[:-1] > 10.01) & (seen.edges_s[1:] < 11.99)
    assert np.isnan(seen.low[0, inside]).all()
    assert np.isfinite(seen.low[0, ~inside]).sum() > 800


def test_a_value_stored_over_and_over_is_a_gap() -> None:
    wave = np.random.default_rng(3).standard_normal(TIME.size)
    wave[4000:4800] = 0.5
    seen = trace(Recording(wave, sample_rate=RATE), faults=["gaps"])
    assert seen.gaps == ((pytest.approx(10, abs=0.01), pytest.approx(12, abs=0.01)),)


def test_cut_off_tops_are_where_they_are() -> None:
    noise = np.random.default_rng(4).standard_normal(TIME.size)
    wave = np.sin(2 * np.pi * 18 * TIME) + 0.1 * noise
    wave[8000:] = np.minimum(3 * wave[8000:], 2.0)
    recording = Recording(wave, sample_rate=RATE, rpm=1080)
    faults = [note.code for note in measure(recording).quality]
    seen = trace(recording, faults=faults)
    assert {(axis, value) for axis, _, value in seen.cut} == {(0, 2.0)}
    places = [seen.edges_s[piece] for _, piece, _ in seen.cut]
    assert min(places) == pytest.approx(20, abs=0.1)
    assert max(places) == pytest.approx(30, abs=0.1)
    assert trace(recording).cut == ()


def test_a_few_samples_have_few_pieces() -> None:
    seen = trace(Recording([1.0, 2.0, 3.0], sample_rate=10))
    assert (seen.low.tolist(), seen.high.tolist()) == ([[1.0]], [[3.0]])
