"""The tone of a plucked belt span, on invented plucks of known frequency.

A pluck is a row of decaying tones at multiples of the span's own, a little sharp as those of a
stiff string are, after a short thud: the model of a string (T = 4 m L^2 f^2, references.md
section 6). The tension itself is checked in tests/installation.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vibetrend.errors import MeasureError
from vibetrend.orders.damped import heard, tones
from vibetrend.orders.plucked import plucked
from vibetrend.recording import Recording, Tacho

RATE = 5000.0
GAP_S = 1.0


@dataclass(frozen=True)
class Plucks:
    """An invented recording of plucks."""

    hz: float = 126.5
    count: int = 3
    overtones: Sequence[float] = (1.0, 0.5, 0.3, 0.1)  # amplitudes, its own tone first
    quality: float = 25.0
    noise: float = 0.01
    scatter: float = 0.003  # of the frequency, from pluck to pluck
    hum: float = 0.0
    mains_hz: float = 50.02
    engine: float = 0.0
    stiffness: float = 5e-4
    rate: float = RATE
    seed: int = 1

    def samples(self) -> NDArray[np.float64]:
        rng = np.random.default_rng(self.seed)
        time = np.arange(round((0.4 + self.count * GAP_S) * self.rate)) / self.rate
        sound = self.noise * rng.standard_normal(len(time))
        for number in range(self.count):
            after = time - 0.4 - number * GAP_S * (1 + 0.04 * rng.standard_normal())
            own = self.hz * (1 + self.scatter * rng.standard_normal())
            loud = rng.uniform(0.5, 1.0) * (after >= 0)
            after = np.maximum(after, 0)
            sound += loud * 0.5 * np.exp(-after / 0.006) * rng.standard_normal(len(time))
            for k, amplitude in enumerate(self.overtones, start=1):
                hertz = k * own * np.sqrt(1 + self.stiffness * k**2)
                swing = np.sin(2 * np.pi * hertz * after + rng.uniform(0, 6.28))
                sound += loud * amplitude * np.exp(-np.pi * hertz / self.quality * after) * swing
        for k in range(1, 8):
            sound += self.hum / k * np.sin(2 * np.pi * self.mains_hz * k * time + k)
        for k in range(1, 40):
            sound += self.engine * rng.uniform(0.2, 1) * np.sin(2 * np.pi * 8.35 * k * time + k * k)
        return sound

    def recording(self, **changes: Any) -> Recording:
        values: dict[str, Any] = {"kind": "sound", "sample_rate": self.rate} | changes
        return Recording(self.samples(), **values)


def codes(recording: Recording) -> set[str]:
    return {note.code for note in plucked(recording).notes}


@pytest.mark.parametrize("hz", [25.0, 48.5, 88.0, 126.5, 241.7, 420.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_the_frequency_is_found_with_its_error(hz: float, seed: int) -> None:
    found = plucked(Plucks(hz=hz, seed=seed).recording())
    # Three plucks that scatter by 0.3 %: their mean lies within 0.5 % nearly always.
    assert found.frequency_hz == pytest.approx(hz, rel=0.005)
    assert 0.001 < found.standard_error_hz / hz < 0.006
    assert abs(found.frequency_hz - hz) < 3 * found.standard_error_hz
    assert len(found.plucks_hz) >= 3  # a slow swing may be taken for one more
    assert {note.severity for note in found.notes} <= {"note"}


@pytest.mark.parametrize(
    "changes",
    [
        {"noise": 0.1},
        {"hum": 0.3},
        {"hum": 1.0, "mains_hz": 59.97},
        {"quality": 10.0, "hz": 88.0},
        {"overtones": (0.1, 1.0, 0.5, 0.2)},  # its second multiple is 20 dB stronger
        {"overtones": (0.05, 0.6, 1.0, 0.3)},  # and here the third
        {"overtones": (1.0, 0.0, 0.4, 0.0, 0.2)},  # plucked in the very middle
        {"overtones": (1.0,)},
        {"stiffness": 3e-3},
        {"count": 2},
    ],
    ids=str,
)
def test_noise_hum_and_overtones_do_not_mislead(changes: dict[str, Any]) -> None:
    plucks = replace(Plucks(), **changes)
    found = plucked(plucks.recording())
    assert found.frequency_hz == pytest.approx(plucks.hz, rel=0.01)
    assert not {note.code for note in found.notes} & {"inferred", "ambiguous", "steady-tone"}


def test_a_tone_that_only_its_overtones_tell_is_inferred_and_said() -> None:
    found = plucked(Plucks(overtones=(0.0, 1.0, 0.6, 0.3)).recording())
    assert found.frequency_hz == pytest.approx(126.5, rel=0.01)
    assert found.standard_error_hz > 0.01 * 126.5
    assert "inferred" in {note.code for note in found.notes}


def test_another_frequency_that_explains_nearly_as_much_is_named() -> None:
    """Its own tone 34 dB below the second multiple, the odd ones hardly there: 126 Hz or 253."""
    found = plucked(Plucks(overtones=(0.02, 1.0, 0.02, 0.4)).recording())
    (doubt,) = [note for note in found.notes if note.code == "ambiguous"]
    told = {found.frequency_hz, float(doubt.message.partition(" Hz")[0])}
    assert sorted(told) == pytest.approx([126.5, 253.0], rel=0.01)


def test_a_tone_beside_hum_is_found_and_doubted() -> None:
    found = plucked(Plucks(hz=51.3, hum=0.3).recording())
    assert found.frequency_hz == pytest.approx(51.3, rel=0.01)
    (doubt,) = found.notes
    assert (doubt.code, doubt.severity) == ("mains", "warning")


def test_plucks_of_another_span_among_them_are_left_out_and_said() -> None:
    most, other = Plucks(count=3).samples(), Plucks(hz=171.0, count=2, seed=4).samples()
    both = Recording(np.concatenate([most, other]), sample_rate=RATE, kind="sound")
    found = plucked(both)
    assert found.frequency_hz == pytest.approx(126.5, rel=0.01)
    assert "plucks-differ" in {note.code for note in found.notes}


def test_a_running_engine_is_refused_or_said() -> None:
    assert "steady-tone" in codes(Plucks(engine=0.03).recording())
    with pytest.raises(MeasureError, match="engine stopped"):
        plucked(Plucks(engine=0.5).recording())


def test_a_few_samples_per_second_are_doubted() -> None:
    slow = Plucks(hz=60.0, rate=400.0, overtones=(1.0, 0.5)).recording(kind="acceleration")
    found = plucked(slow)
    assert found.frequency_hz == pytest.approx(60.0, rel=0.01)
    assert "rate-too-low" in {note.code for note in found.notes}


def test_uneven_times_and_three_axes_give_the_same() -> None:
    plucks = Plucks(hz=60.0, rate=800.0, overtones=(1.0, 0.3))
    sound = plucks.samples()
    rng = np.random.default_rng(3)
    time = np.arange(len(sound)) / 800 + 1e-4 * rng.random(len(sound))
    axes = np.outer(sound, [0.2, -0.9, 0.4])
    found = plucked(Recording(axes, times=time, kind="acceleration"))
    assert found.frequency_hz == pytest.approx(60.0, rel=0.01)


@pytest.mark.parametrize(
    ("recording", "said"),
    [
        (Plucks(count=1).recording(), "only one pluck stands out"),
        (Plucks(overtones=(), count=3).recording(), "no plucks stand out|no tone"),  # thuds alone
        (Recording(np.zeros(9000), sample_rate=RATE, kind="sound"), "silent"),
        (
            Recording(np.random.default_rng(1).standard_normal(9000), sample_rate=RATE),
            "no plucks stand out",
        ),
        (Recording(np.arange(100.0), sample_rate=RATE), "too short"),
        (Plucks(rate=80.0).recording(), "too few"),
        (Recording(np.zeros(70_000), sample_rate=500.0), "120 s is the most"),
        (Recording(tacho=Tacho(np.arange(20.0), 1.0)), "needs samples"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_cannot_be_told_says_why_and_what_to_do(recording: Recording, said: str) -> None:
    with pytest.raises(MeasureError, match=said):
        plucked(recording)


def test_damped_tones_scatter_by_the_error_stated() -> None:
    """The scatter over 40 noises against the error stated from the Jacobian: a second route."""
    time = np.arange(1500) / 3000
    clean = np.exp(-12 * time) * np.sin(2 * np.pi * 80 * time) + 0.5 * np.exp(-30 * time) * np.cos(
        2 * np.pi * 163 * time
    )
    rng = np.random.default_rng(7)
    off, stated = [], []
    for _ in range(40):
        noisy = clean + 0.05 * rng.standard_normal(len(time))
        density = 2 * 0.05**2 / 3000
        found = tones(
            noisy, 3000.0, low_hz=20, high_hz=1000, noise=lambda at, d=density: np.full(len(at), d)
        )
        off.append([found[0].hz - 80, found[1].hz - 163])
        stated.append([found[0].standard_error_hz, found[1].standard_error_hz])
        assert found[0].damping == pytest.approx(12, rel=0.15)
    # 40 noises: the standard deviation itself is known to 11 %; three times that.
    np.testing.assert_allclose(np.std(off, axis=0), np.mean(stated, axis=0), rtol=0.34)
    assert np.abs(np.mean(off, axis=0)).max() < 0.05
    assert heard(found[0], clean, 3000.0) > 100 * heard(found[0], clean[1000:], 3000.0)
