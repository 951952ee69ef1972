"""A frequency is told in per cent, an amplitude in dB; both lie where 20 lg of the ratio lies."""

import itertools
import math

import pytest

from vibetrend.report.scales import DECIBEL, PERCENT, decibels, scale_of


def test_which_scale_a_feature_has() -> None:
    assert scale_of("resonance: crankshaft near 141 Hz frequency") is PERCENT
    assert scale_of("resonance: near 74 Hz width") is PERCENT
    assert scale_of("resonance: near 74 Hz height") is DECIBEL
    assert scale_of("order") is DECIBEL
    assert scale_of("driven: a pump of high frequency") is DECIBEL


def test_half_of_a_frequency_is_minus_six_db() -> None:
    """20 lg 0.5 = -6.02, by definition of the decibel."""
    assert decibels(-50) == pytest.approx(-6.0206, abs=1e-4)
    assert PERCENT.of(decibels(-3.3)) == pytest.approx(-3.3)
    assert PERCENT.words(decibels(-5)) == "-5.0 %"
    assert DECIBEL.words(2.25) == "+2.2 dB"
    assert PERCENT.words(math.nan) == "–"


@pytest.mark.parametrize("change", [-0.4, -3.0, 7.5, 38.0, 120.0])
def test_a_range_holds_its_changes_and_ends_on_ticks(change: float) -> None:
    low, high = PERCENT.reach([decibels(change), 0.0])
    assert low <= min(decibels(change), 0.0) + 1e-9
    assert high >= max(decibels(change), 0.0) - 1e-9
    ticks = PERCENT.ticks(low, high)
    assert ticks[0][0] == pytest.approx(low)
    assert ticks[-1][0] == pytest.approx(high)
    assert 3 <= len(ticks) <= 10
    for db, said in ticks:
        assert float(said.replace("−", "-")) == pytest.approx(PERCENT.of(db), abs=1e-6)


def test_a_small_shift_does_not_fill_the_picture() -> None:
    low, high = PERCENT.reach([decibels(-0.1)])
    assert PERCENT.of(low) <= -2
    assert PERCENT.of(high) >= 2


def test_a_wild_point_leaves_the_scale_finite() -> None:
    low, high = PERCENT.reach([-400.0, 400.0])
    assert math.isfinite(low)
    assert PERCENT.of(high) <= 1e5


def test_steps_of_decibels_are_three() -> None:
    assert DECIBEL.reach([-3.2, 0.4]) == (-6, 3)
    assert [db for db, _ in DECIBEL.ticks(-6, 3)] == [-6, -3, 0, 3]
    assert DECIBEL.span([3.4]) == 6


def test_a_strip_of_large_changes_keeps_its_ticks_apart() -> None:
    span = PERCENT.span([decibels(-62)])
    assert -decibels(-62) < span < 1.2 * -decibels(-62)
    ticks = [db for db, _ in PERCENT.ticks(-span, span)]
    assert 3 <= len(ticks) <= 8
    assert min(b - a for a, b in itertools.pairwise(ticks)) > span / 20


def test_a_deep_fall_does_not_stretch_a_history() -> None:
    low, _ = PERCENT.reach([decibels(-90), decibels(300)])
    assert low >= decibels(-95) - 1e-9
