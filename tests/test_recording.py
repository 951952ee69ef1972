"""What a recording takes, what it refuses, and how it says so."""

from dataclasses import FrozenInstanceError, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from vibetrend.errors import ReadError
from vibetrend.recording import Note, Recording, Tacho

WAVE = np.sin(np.arange(100.0))


def test_samples_are_kept_in_si() -> None:
    """NIST SP 811: 1 g is 9.80665 m/s^2 exactly."""
    recording = Recording(np.array([[0, 1, -2], [0, 0.5, 0]]), sample_rate=100, unit="g")
    assert recording.unit == "m/s^2"
    expected = np.array([[0, 9.80665, -19.6133], [0, 4.903325, 0]])
    assert recording.samples is not None
    assert_allclose(recording.samples, expected, rtol=1e-15)


@pytest.mark.parametrize(
    ("kind", "si"),
    [("acceleration", "m/s^2"), ("velocity", "m/s"), ("rotation", "rad/s"), ("sound", "1")],
)
def test_a_kind_brings_its_si_unit(kind: Any, si: str) -> None:
    assert Recording(WAVE, sample_rate=100, kind=kind).unit == si


@pytest.mark.parametrize(
    ("count", "names"), [(1, ("x",)), (3, ("x", "y", "z")), (4, ("1", "2", "3", "4"))]
)
def test_axes_get_names(count: int, names: tuple[str, ...]) -> None:
    assert Recording(np.ones((5, count)), sample_rate=10).axes == names


def test_even_samples() -> None:
    recording = Recording(WAVE, sample_rate=200)
    assert recording.samples is not None
    assert recording.samples.shape == (100, 1)
    assert recording.times is None
    assert recording.count == 100
    assert recording.mean_rate_hz == 200
    assert_allclose(recording.duration_s, 0.5)  # the last sample's own 5 ms included
    assert_allclose(recording.time_s()[[0, 1, 99]], [0, 0.005, 0.495])


def test_uneven_samples() -> None:
    recording = Recording(WAVE[:5], times=[1.0, 1.1, 1.1, 1.35, 1.4])
    assert recording.sample_rate is None
    assert_allclose(recording.mean_rate_hz, 10)  # 4 steps in 0.4 s
    assert_allclose(recording.duration_s, 0.5)
    assert_allclose(recording.time_s(), [1.0, 1.1, 1.1, 1.35, 1.4])


def test_only_a_tacho() -> None:
    recording = Recording(tacho=Tacho(np.array([0.5, 1.0, 2.0]), teeth_per_turn=1))
    assert (recording.samples, recording.axes, recording.count) == (None, (), 0)
    assert recording.duration_s == 1.5


def test_nobody_can_change_it() -> None:
    given_samples = WAVE.copy()
    recording = Recording(given_samples, times=np.arange(100.0))
    given_samples[:] = 7  # the caller's own array is no longer ours
    assert recording.samples is not None
    assert recording.times is not None
    assert_allclose(recording.samples[:, 0], WAVE)
    for array in (recording.samples, recording.times):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1
    with pytest.raises(FrozenInstanceError):
        recording.rpm = 900.0  # type: ignore[misc]  # what the test is about


@given(factor=st.sampled_from(["g", "mg", "ft/s^2", "m/s^2"]), rpm=st.floats(1, 5000))
def test_a_copy_with_another_tag_keeps_the_samples(factor: str, rpm: float) -> None:
    recording = Recording(WAVE, sample_rate=100, unit=factor)
    copy = replace(recording, rpm=rpm, position="bracket")
    assert (copy.rpm, copy.position, copy.unit) == (rpm, "bracket", "m/s^2")
    assert recording.samples is not None
    assert copy.samples is not None
    np.testing.assert_array_equal(copy.samples, recording.samples)  # not converted twice


def test_a_note_reads_like_its_json_form() -> None:
    note = Note("gaps", "warning", "3 samples are missing")
    assert [note["code"], note["severity"], note["message"]] == [
        "gaps",
        "warning",
        "3 samples are missing",
    ]


@pytest.mark.parametrize(
    ("given_values", "said"),
    [
        ({}, r"needs samples or tacho times; neither was given"),
        ({"samples": WAVE}, r"give the times of the samples, or a sample_rate above 0"),
        ({"samples": WAVE, "sample_rate": 0}, r"a sample_rate above 0 in Hz"),
        ({"samples": WAVE, "sample_rate": np.nan}, r"a sample_rate above 0 in Hz"),
        ({"samples": WAVE, "sample_rate": 9, "times": WAVE}, r"either times or sample_rate, not"),
        ({"samples": [], "sample_rate": 9}, r"shape \(0,\); .*2 samples or more"),
        ({"samples": [1.0], "sample_rate": 9}, r"shape \(1,\); .*2 samples or more"),
        ({"samples": np.ones((2, 2, 2)), "sample_rate": 9}, r"shape \(2, 2, 2\); \(n,\) or"),
        ({"samples": np.ones((3, 0)), "sample_rate": 9}, r"shape \(3, 0\)"),
        ({"samples": ["a", "b"], "sample_rate": 9}, r"must be numbers: .*'a'"),
        ({"samples": [[1, 2], [3]], "sample_rate": 9}, r"must be numbers: .*inhomogeneous"),
        (
            {"samples": [[1, 2], [3, np.nan], [np.inf, 1]], "sample_rate": 9},
            r"sample 1 on axis 1 is not a number; leave such rows out, with their times",
        ),
        ({"samples": WAVE, "times": np.arange(99)}, r"100 samples but times of shape \(99,\)"),
        ({"samples": [1, 2, 3], "times": [0, np.nan, 1]}, r"a time is not a number"),
        ({"samples": [1, 2, 3, 4], "times": [0, 2, 1, 3]}, r"backwards at sample 2; sort the rows"),
        ({"samples": [1, 2], "times": [5, 5]}, r"all times are the same; times in seconds"),
        ({"samples": WAVE, "sample_rate": 9, "kind": "smell"}, r"kind 'smell' is not known; write"),
        ({"samples": WAVE, "sample_rate": 9, "unit": "mm/s"}, r"'mm/s' is not one of acceleration"),
        ({"samples": WAVE, "sample_rate": 9, "unit": "ell"}, r"unit 'ell' is not known; write one"),
        ({"samples": WAVE, "sample_rate": 9, "manner": "fast"}, r"manner 'fast' .* steady, run-up"),
        ({"samples": WAVE, "sample_rate": 9, "rpm": 0}, r"rpm is 0; it must be above 0"),
        ({"samples": WAVE, "sample_rate": 9, "rpm": -1080}, r"rpm is -1080; it must be above 0"),
        ({"samples": WAVE, "sample_rate": 9, "rpm": np.inf}, r"rpm is inf; it must be above 0"),
        ({"samples": WAVE, "sample_rate": 9, "hours": -1}, r"hours is -1; engine hours cannot be"),
        ({"samples": WAVE, "sample_rate": 9, "hours": np.nan}, r"hours is nan; engine hours"),
        (
            {"samples": np.ones((5, 2)), "sample_rate": 9, "axes": ["x"]},
            r"2 axes were sampled, but the names given are \['x'\]",
        ),
        ({"samples": np.ones((5, 2)), "sample_rate": 9, "axes": ["x", "x"]}, r"\['x', 'x'\]"),
    ],
)
def test_what_does_not_fit_is_refused_in_plain_words(
    given_values: dict[str, Any], said: str
) -> None:
    with pytest.raises(ReadError, match=said):
        Recording(**given_values)


def test_zero_hours_are_hours() -> None:
    assert Recording(WAVE, sample_rate=9, hours=0).hours == 0
