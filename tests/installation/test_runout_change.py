"""Two sets of run-out readings: what moved, and whether reading error may explain it."""

import math

import numpy as np
import pytest
from scipy import stats

import vibetrend as vt
from vibetrend.installation import RunOut, compare_runout
from vibetrend.installation.vector import Vector

EVEN_8 = np.arange(8) * 45.0
FORM = 0.02 * np.cos(np.radians(2 * EVEN_8))  # mm, two lobes


def at(angles: "np.ndarray", e: float, high: float) -> "np.ndarray":
    return e * np.cos(np.radians(angles - high))


def test_what_moved_is_the_difference_of_two_vectors() -> None:
    """0.03 towards 0 and 0.04 towards 90 degrees: 0.05 apart, by Pythagoras."""
    one = vt.runout(at(EVEN_8, 0.03, 180) + FORM, resolution=0.001)
    other = vt.runout(at(EVEN_8, 0.04, 90) + FORM, resolution=0.001)
    found = compare_runout(one, other)
    assert found.moved == pytest.approx(0.05, rel=1e-9)
    assert found.angle_deg == pytest.approx(math.degrees(math.atan2(0.04, 0.03)))
    assert found.beyond is True
    assert found.confidence > 0.99
    assert found.form_change == pytest.approx(0, abs=1e-12)


def test_form_that_both_sets_hold_is_no_error() -> None:
    one = vt.runout(at(EVEN_8, 0.03, 0) + FORM, resolution=0.001)
    other = vt.runout(at(EVEN_8, 0.04, 0) + FORM, resolution=0.001)
    found = compare_runout(one, other)
    assert found.same_stations
    assert found.shape_change == pytest.approx(0, abs=1e-12)
    # the two resolutions alone: sqrt(2) r / sqrt(12) * sqrt(2 / 8)
    assert found.standard_error == pytest.approx(0.001 / math.sqrt(6) * 0.5)
    assert found.standard_error < one.eccentricity_standard_error


def test_other_stations_and_another_unit_tell_the_same_movement() -> None:
    angles = np.arange(12) * 30.0
    one = vt.runout(at(EVEN_8, 0.03, 180))
    other = vt.runout(at(angles, 0.04, 90) / 0.0254, angles, "thou")
    found = compare_runout(one, other)
    assert not found.same_stations
    assert found.unit == "mm"
    assert found.moved == pytest.approx(0.05, rel=1e-9)
    assert math.isnan(found.shape_change)


def test_the_way_back_is_the_same_way() -> None:
    one = vt.runout([0, 3, -2, 3, 1, 2, 0, 0], unit="thou")
    other = vt.runout([0, 6, -4, 3, 1, 5, 0, 0], unit="thou")
    there, back = compare_runout(one, other), compare_runout(other, one)
    assert back.moved == pytest.approx(there.moved)
    assert (back.angle_deg - there.angle_deg) % 360 == pytest.approx(180)
    assert back.confidence == pytest.approx(there.confidence)
    assert back.tir_change == -there.tir_change


def test_turning_both_marks_turns_the_movement() -> None:
    readings, later = [0, 3, -2, 3, 1, 2], [0, 6, -4, 3, 1, 5]
    angles = np.array([0, 60, 120, 180, 240, 300])
    found = [
        compare_runout(
            vt.runout(readings, (angles + turn) % 360, "thou"),
            vt.runout(later, (angles + turn) % 360, "thou"),
        )
        for turn in (0, 25)
    ]
    assert found[1].moved == pytest.approx(found[0].moved)
    assert (found[1].angle_deg - found[0].angle_deg) % 360 == pytest.approx(25)


@pytest.mark.parametrize("freedom", [1, 2, 5, 9.5])
@pytest.mark.parametrize("size", [0.3, 2.0, 6.0])
def test_the_closed_form_is_the_f_distribution(freedom: float, size: float) -> None:
    vector = Vector(np.array([size, 0.0]), np.eye(2))
    assert vector.chance(freedom) == pytest.approx(stats.f.sf(size**2 / 2, 2, freedom))
    assert vector.chance(math.inf) == pytest.approx(stats.chi2.sf(size**2, 2))


@pytest.mark.parametrize("stations", [(8, 8), (8, 12)])
def test_reading_error_alone_is_seldom_called_a_movement(stations: tuple[int, int]) -> None:
    """5 % at most; 300 pairs give 15 with a standard deviation of 3.8, three of them aside."""
    rng = np.random.default_rng(11)
    called = 0
    for _ in range(300):
        sets = []
        for count in stations:
            angles = np.arange(count) * 360 / count
            readings = at(angles, 0.1, 40) + rng.normal(0, 0.01, count)
            sets.append(vt.runout(readings, angles))
        called += compare_runout(*sets).beyond is True
    assert 3 < called < 27


def test_nothing_moved_has_no_direction() -> None:
    one = vt.runout([0, 3, -2, 3, 1], unit="thou", resolution=1.0)
    found = compare_runout(one, one)
    assert found.moved == 0
    assert found.beyond is False
    assert math.isnan(found.angle_deg)


def test_three_stations_can_deny_but_not_confirm() -> None:
    def turn(*readings: float, resolution: float | None = None) -> RunOut:
        return vt.runout(readings, unit="thou", resolution=resolution)

    unknown = compare_runout(turn(0, 1, 2), turn(0, 5, 9))
    assert unknown.beyond is None
    assert math.isnan(unknown.standard_error)
    near = compare_runout(turn(0, 1, 2, resolution=1.0), turn(0, 1, 1, resolution=1.0))
    assert near.beyond is False
    assert not any("cannot be said" in each for each in near.caveats)
    far = compare_runout(turn(0, 1, 2, resolution=1.0), turn(0, 5, 19, resolution=1.0))
    assert far.beyond is None
    assert math.isnan(far.confidence)
    assert any("Three stations" in each for each in far.caveats)


def test_four_stations_say_that_they_are_few() -> None:
    one, other = vt.runout([0, 3, -2, 3], unit="thou"), vt.runout([0, 8, -3, 1], unit="thou")
    found = compare_runout(one, other)
    assert found.beyond is False
    assert any("Four stations" in each for each in found.caveats)


def test_another_mark_is_a_caveat_in_words() -> None:
    one = vt.runout([0, 3, -2, 3], unit="thou")
    assert "do not share mark and zero" in compare_runout(one, one).caveats[0]


def test_the_json_form_holds_no_nan() -> None:
    one = vt.runout([0, 1, 2], unit="thou")
    assert compare_runout(one, one).to_dict()["standard_error"] is None
