"""The speed to record at, and what is wrong with the present one.

Keeping 3 % away from mains and from half the sampling rate is common practice, no published source.
"""

from typing import Any

import pytest

from vibetrend.engine import Engine
from vibetrend.engine.recording_speed import conflict_words, conflicts, recording_speed


def engine(cylinders: int, fast_idle: float | None = None, **more: Any) -> Engine:
    return Engine.of({"name": "e", "cylinders": cylinders, "fast_idle_rpm": fast_idle, **more})


def test_a_six_at_1000_rpm_fires_on_mains() -> None:
    six = engine(6, 1000)
    found = recording_speed(six)
    assert conflict_words(found.conflicts)[0] == (
        "order 3 is exactly 50.0 Hz: 50 Hz mains, half of 100 samples per second"
    )
    assert found.rpm == 1060
    assert found.remaining == ()
    # 53 Hz: 6 % from 50, 11 % from 60, and so for its multiples
    assert conflicts(six, 1060) == ()


def test_a_clear_fast_idle_stays() -> None:
    found = recording_speed(engine(6, 1080))
    assert (found.rpm, found.conflicts, found.governed) == (1080, (), False)


@pytest.mark.parametrize(
    ("cylinders", "bands"),
    [
        (3, ((1940, 2060), (2328, 2472))),
        (4, ((1455, 1545), (1746, 1854))),
        (6, ((970, 1030), (1164, 1236))),
        (8, ((728, 772), (873, 927))),
    ],
)
def test_the_bands_of_the_readme(cylinders: int, bands: tuple[tuple[int, int], ...]) -> None:
    """README, Take a recording that can be trusted: rounded to a whole rpm."""
    for (low, high), mains in zip(bands, (50, 60), strict=True):
        for rpm, inside in ((low + 1, True), (high - 1, True), (low - 1, False), (high + 1, False)):
            first = engine(cylinders).firing_order_number
            on_mains = [
                each
                for each in conflicts(engine(cylinders), rpm)
                if (each.order, each.at_hz, each.what) == (first, mains, "mains")
            ]
            assert bool(on_mains) == inside, rpm


def test_the_multiples_count_too() -> None:
    """A four at 1000 rpm: order 6 at 100 Hz, twice mains, and half of 200 samples a second."""
    words = conflict_words(recording_speed(engine(4, 1000)).conflicts)
    assert words == [
        "order 6 is exactly 100.0 Hz: 2 times 50 Hz mains, half of 200 samples per second"
    ]


def test_half_a_sampling_rate_is_no_mains() -> None:
    """A five at 2040 rpm: order 7.5 at 255 Hz, 2 % from half of 500 samples a second."""
    (one,) = conflicts(engine(5), 2040)
    assert (one.what, one.source, one.order) == ("sampling", 500, 7.5)
    assert conflict_words([one]) == [
        "order 7.5 is 255.0 Hz: 2.0 % from half of 500 samples per second"
    ]


@pytest.mark.parametrize("cylinders", range(1, 17))
@pytest.mark.parametrize("strokes", [2, 4])
def test_a_clear_speed_is_found_near_1000_rpm(cylinders: int, strokes: int) -> None:
    described = engine(cylinders, 1000, strokes=strokes, idle_rpm=600, rated_rpm=2600)
    found = recording_speed(described)
    assert found.rpm is not None
    assert 800 <= found.rpm <= 1200
    assert found.remaining == ()


def test_never_below_idle_nor_above_rated() -> None:
    assert recording_speed(engine(6, 1000, rated_rpm=1035)).rpm == 940
    assert recording_speed(engine(6, 1000, idle_rpm=980)).rpm == 1060


def test_the_best_compromise_where_nothing_is_clear() -> None:
    found = recording_speed(engine(6, 1000, idle_rpm=985, rated_rpm=1015))
    assert found.rpm is not None
    assert 985 <= found.rpm <= 1015
    assert found.remaining != ()
    # Mains of 50 Hz cannot be avoided; it is said.
    assert "50 Hz mains" in conflict_words(found.remaining)[0]


def test_a_generator_set_has_its_governed_speed_only() -> None:
    generator = {"poles": 4, "frequency_hz": 60}
    found = recording_speed(engine(4, generator=generator))
    assert (found.rpm, found.present_rpm, found.governed) == (1800, 1800, True)
    assert found.remaining == found.conflicts != ()


def test_without_a_speed_nothing_is_recommended() -> None:
    assert recording_speed(engine(6)).rpm is None
