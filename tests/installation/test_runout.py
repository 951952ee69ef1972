"""Run-out: TIR, eccentricity, form and their errors, against published and closed-form values."""

import math
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import vibetrend as vt
from vibetrend.installation import RunOut

EVEN_8 = np.arange(8) * 45.0


def eccentric(angles: "np.ndarray", e: float, at: float, mean: float = 0.0) -> "np.ndarray":
    return mean + e * np.cos(np.radians(angles - at))


# Published and closed-form values


def test_the_example_of_a_published_manual() -> None:
    """US Army TM 5-3810-305-23, fig. 5: 0, +3, -2, +3 thousandths at 12, 3, 6 and 9 o'clock."""
    found = vt.runout([0, 3, -2, 3], unit="thou")
    assert found.tir == 5  # the manual's 0.005 in
    assert found.to("in").tir == pytest.approx(0.005, rel=1e-12)
    # first harmonic by hand: mean 1, (0 + 2) / 2 = 1 towards 12 o'clock, the rest is two-lobed
    assert found.mean == pytest.approx(1)
    assert found.eccentricity == pytest.approx(1)
    assert found.angle_deg == pytest.approx(0, abs=1e-9)
    assert found.residuals == pytest.approx((-2, 2, -2, 2))
    assert found.form == pytest.approx(4)


def test_eight_stations_worked_by_the_discrete_fourier_transform() -> None:
    readings = [0.07, 0.06, 0.03, 0.01, -0.01, -0.04, -0.05, 0.01]  # mm
    found = vt.runout(readings)
    first = np.fft.rfft(readings)[1] * 2 / 8  # second route: a - i b
    assert found.eccentricity == pytest.approx(abs(first), rel=1e-12)
    assert found.angle_deg == pytest.approx(math.degrees(-np.angle(first)), abs=1e-9)
    # to the digits worked out by hand
    assert found.mean == pytest.approx(0.01)
    assert found.tir == pytest.approx(0.12)
    assert found.eccentricity == pytest.approx(0.0532843, abs=5e-8)
    assert found.angle_deg == pytest.approx(45)
    assert found.form == pytest.approx(0.0446447, abs=5e-8)


def test_the_parent_of_those_readings_before_rounding() -> None:
    readings = eccentric(EVEN_8, 0.05, 45, 0.01) + 0.02 * np.cos(np.radians(2 * EVEN_8))
    found = vt.runout(readings)
    assert found.eccentricity == pytest.approx(0.05, rel=1e-12)
    assert found.angle_deg == pytest.approx(45)
    # greatest at 0 degrees, least at 270: 0.1107107 mm
    assert found.tir == pytest.approx(2 * (0.05 * math.sqrt(0.5) + 0.02))
    assert found.form == pytest.approx(0.04)


@pytest.mark.parametrize("stations", [4, 6, 8, 12, 16, 36])
def test_even_stations_see_at_least_the_cosine_of_half_a_step(stations: int) -> None:
    angles = np.arange(stations) * 360 / stations
    found = vt.runout(eccentric(angles, 1, 180 / stations))  # the worst direction
    assert found.missed.least_seen == pytest.approx(math.cos(math.pi / stations), rel=1e-12)
    assert found.tir / 2 == pytest.approx(math.cos(math.pi / stations), rel=1e-12)
    assert found.missed.lobes == stations // 2


@pytest.mark.parametrize("angles", [(0, 90, 180, 300), (10, 95, 130, 250, 300), (0, 120, 240)])
def test_what_uneven_stations_miss_is_the_worst_of_all_directions(angles: tuple[int, ...]) -> None:
    turned = np.linspace(0, 360, 36001)
    heights = np.cos(np.radians(np.array(angles)[:, None] - turned))
    worst = float(np.ptp(heights, axis=0).min()) / 2
    found = vt.runout(eccentric(np.array(angles), 1, 20), angles).missed
    assert found.least_seen == pytest.approx(worst, abs=1e-6)  # the direction in steps of 0.01 deg


def test_the_tilt_of_a_face() -> None:
    """0.2 mm on a diameter of 240 mm is 1 in 1200."""
    found = vt.runout([0, 0.1, 0.2, 0.1], diameter=240)
    assert found.tilt_mrad == pytest.approx(1000 / 1200)
    assert found.tilt_deg == pytest.approx(0.04775, abs=5e-6)
    inches = vt.runout([0, 0.1, 0.2, 0.1], diameter=240 / 25.4, diameter_unit="in")
    assert inches.tilt_mrad == pytest.approx(1000 / 1200)


def test_sixty_thousandths_in_other_units() -> None:
    """0.060 in is a common check value for rim and face (common practice, no source)."""
    found = vt.runout([0, 30, 60, 30], unit="0.001 in")
    assert found.to("mm").tir == pytest.approx(1.524, rel=1e-12)
    assert found.to("um").eccentricity == pytest.approx(762, rel=1e-12)


# Standard errors


def test_the_error_of_the_eccentricity_of_even_stations() -> None:
    """Var(a) = Var(b) = 2 sigma^2 / n for n even stations (least squares on a circle)."""
    left = np.array([1, -1] * 4) * 0.01  # four lobes, no first harmonic
    found = vt.runout(eccentric(EVEN_8, 0.1, 30) + left)
    sigma = math.sqrt(8 * 0.01**2 / (8 - 3))
    assert found.reading_error == pytest.approx(sigma)
    assert found.eccentricity_standard_error == pytest.approx(sigma * math.sqrt(2 / 8))
    across = math.degrees(sigma * math.sqrt(2 / 8) / 0.1)
    assert found.angle_standard_error_deg == pytest.approx(across)


def test_the_error_is_that_of_repeated_readings() -> None:
    """Monte Carlo, 600 sets: both deviations are known to 3 %, and three times that is allowed."""
    rng = np.random.default_rng(4)
    angles = np.array([0, 40, 90, 160, 200, 250, 300])
    sets = [
        vt.runout(eccentric(angles, 1.0, 70) + rng.normal(0, 0.05, angles.size), angles)
        for _ in range(600)
    ]

    def rms(values: list[float]) -> float:
        return math.sqrt(np.mean(np.square(values)))

    spread = np.std([each.eccentricity for each in sets])
    turned = np.std([each.angle_deg for each in sets])
    assert rms([each.eccentricity_standard_error for each in sets]) == pytest.approx(
        spread, rel=0.1
    )
    assert rms([each.angle_standard_error_deg for each in sets]) == pytest.approx(turned, rel=0.1)


def test_three_stations_leave_nothing_to_tell_an_error_from() -> None:
    found = vt.runout([0, 0.1, 0.2])
    assert math.isnan(found.eccentricity_standard_error)
    assert math.isnan(found.form)
    assert "Three stations" in found.remarks[0]
    known = vt.runout([0, 0.1, 0.2], resolution=0.01)
    # a uniform error of one division (JCGM 100, 4.3.7), and sigma sqrt(2 / 3)
    assert known.eccentricity_standard_error == pytest.approx(
        0.01 / math.sqrt(12) * math.sqrt(2 / 3)
    )
    assert known.angle_standard_error_deg > 0


def test_readings_that_fit_too_well_are_no_better_than_they_were_written() -> None:
    found = vt.runout([1, 0, -1, 0], unit="thou")
    assert found.eccentricity_standard_error == pytest.approx(1 / math.sqrt(12) * math.sqrt(2 / 4))


def test_a_closing_error_widens_the_error() -> None:
    calm = vt.runout([0, 0.1, 0.2, 0.1], resolution=0.01)
    slipped = vt.runout([0, 0.1, 0.2, 0.1], resolution=0.01, closing=0.05)
    assert slipped.closing_error == pytest.approx(0.05)
    assert slipped.reading_error == pytest.approx(0.05 / math.sqrt(2))
    assert slipped.eccentricity_standard_error > calm.eccentricity_standard_error
    assert any("after the full turn" in each for each in slipped.remarks)
    assert calm.remarks == ()


def test_a_last_angle_of_360_is_the_closing_reading() -> None:
    turn = vt.runout([0, 3, -2, 3, 1], [0, 90, 180, 270, 360], unit="thou")
    assert turn.closing_error == 1
    assert turn.readings == (0, 3, -2, 3)
    assert turn == vt.runout([0, 3, -2, 3], unit="thou", closing=1)


def test_a_gap_of_half_a_turn_is_taken_and_said() -> None:
    """By hand: a = (r0 - r180) / 2, mean = (r0 + r180) / 2, b = r90 - mean."""
    found = vt.runout([0.3, 0.6, 0.1], [0, 90, 180], resolution=0.01)
    assert found.mean == pytest.approx(0.2)
    assert found.eccentricity == pytest.approx(math.hypot(0.1, 0.4))
    assert found.angle_deg == pytest.approx(math.degrees(math.atan2(0.4, 0.1)))
    assert "from 180 to 0 degrees, has no reading" in " ".join(found.remarks)
    # of an eccentricity towards 90 degrees these show 0, 1, 0
    assert found.missed.least_seen == pytest.approx(0.5)
    assert found.missed.lobes == 2
    # Var(a) = sigma^2 / 2, Var(b) = 3 sigma^2 / 2: the side seen from one end alone is known less
    towards_0 = vt.runout([1.0, 0, -1], [0, 90, 180], resolution=0.01)
    towards_90 = vt.runout([0, 1.0, 0], [0, 90, 180], resolution=0.01)
    ratio = towards_90.eccentricity_standard_error / towards_0.eccentricity_standard_error
    assert ratio == pytest.approx(math.sqrt(3))


def test_a_surface_that_runs_true_has_no_direction() -> None:
    found = vt.runout([10.01] * 6, resolution=0.01)
    assert found.tir == 0
    assert found.eccentricity == 0
    assert math.isnan(found.angle_deg)
    assert not found.is_eccentric
    assert found.at(123.0) == pytest.approx(10.01)


@pytest.mark.parametrize("stations", [4, 5, 8])
def test_a_high_side_is_seldom_told_of_a_surface_that_runs_true(stations: int) -> None:
    """5 % whatever the number of stations; 400 sets give 20 with a deviation of 4.4."""
    rng = np.random.default_rng(7)
    told = sum(vt.runout(rng.normal(0, 0.1, stations)).is_eccentric for _ in range(400))
    assert 6 < told < 34


def test_the_confidence_is_that_of_the_f_distribution() -> None:
    """Even stations: F = n e^2 / (4 s^2), with 2 and n - 3 degrees of freedom."""
    found = vt.runout([0.07, 0.06, 0.03, 0.01, -0.01, -0.04, -0.05, 0.01])
    ratio = 8 * found.eccentricity**2 / (4 * found.reading_error**2)
    assert found.confidence == pytest.approx(stats.f.cdf(ratio, 2, 5))
    assert found.is_eccentric
    assert found.to("thou").confidence == pytest.approx(found.confidence)


def test_four_stations_need_far_more_than_two_standard_errors() -> None:
    few = vt.runout([0, 5, 9, 5], unit="thou")
    assert few.eccentricity > 10 * few.eccentricity_standard_error
    assert not few.is_eccentric
    assert vt.runout([0, 30, 60, 30], unit="thou").is_eccentric


def test_three_stations_tell_a_high_side_beyond_the_resolution_alone() -> None:
    assert vt.runout([0, 0.1, 0.2], resolution=0.01).is_eccentric
    assert not vt.runout([0, 0.01, 0.01], resolution=0.02).is_eccentric
    assert math.isnan(vt.runout([0, 0.1, 0.2]).confidence)


def test_end_play_that_was_not_held_is_said() -> None:
    readings = [0, 0.1, 0.2, 0.1]
    assert "not noted whether" in vt.runout(readings, diameter=200).remarks[0]
    assert "can pass for tilt" in vt.runout(readings, end_play_held=False).remarks[0]
    assert vt.runout(readings, diameter=200, end_play_held=True).remarks == ()


# Invariances

READINGS = st.lists(st.integers(-500, 500), min_size=4, max_size=12).filter(
    lambda values: len(set(values)) > 2
)


@settings(max_examples=25, deadline=None)
@given(READINGS, st.integers(0, 359))
def test_turning_the_mark_turns_the_angle_only(values: list[int], turn: int) -> None:
    angles = np.arange(len(values)) * 360 / len(values)
    one = vt.runout(values, angles, "um")
    other = vt.runout(values, (angles + turn) % 360, "um")
    assert other.tir == one.tir
    assert other.eccentricity == pytest.approx(one.eccentricity, abs=1e-9)
    assert other.form == pytest.approx(one.form, abs=1e-9)
    assert other.eccentricity_standard_error == pytest.approx(one.eccentricity_standard_error)
    if one.eccentricity > 1e-3:
        apart = (other.angle_deg - one.angle_deg - turn + 180) % 360 - 180
        assert apart == pytest.approx(0, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(READINGS, st.integers(-1000, 1000))
def test_the_dials_zero_does_not_matter(values: list[int], zero: int) -> None:
    one, other = vt.runout(values, unit="um"), vt.runout(np.array(values) + zero, unit="um")
    assert other.tir == one.tir
    assert other.mean == pytest.approx(one.mean + zero)
    assert other.eccentricity == pytest.approx(one.eccentricity, abs=1e-9)
    assert other.residuals == pytest.approx(one.residuals, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(READINGS, st.sampled_from(["mm", "in", "um", "m"]))
def test_another_unit_is_the_same_run_out(values: list[int], unit: str) -> None:
    one = vt.runout(values, unit="thou", resolution=1.0)
    back = one.to(unit).to("thou")
    for name in ("tir", "eccentricity", "form", "eccentricity_standard_error", "reading_error"):
        assert getattr(back, name) == pytest.approx(getattr(one, name))
    assert one.to(unit).angle_deg == one.angle_deg or math.isnan(one.angle_deg)


def test_the_order_in_which_stations_were_read_does_not_matter() -> None:
    angles, readings = [0, 60, 130, 200, 290], [1, 4, 2, -3, -1]
    one = vt.runout(readings, angles, "thou")
    other = vt.runout(readings[::-1], angles[::-1], "thou")
    assert other.eccentricity == pytest.approx(one.eccentricity)
    assert other.angle_deg == pytest.approx(one.angle_deg)
    assert other.missed == one.missed


# What can be handed in


def _same(found: RunOut) -> bool:
    return found == vt.runout([0.0, 3.0, -2.0, 3.0], unit="thou")


def test_lists_arrays_and_series_are_alike() -> None:
    assert _same(vt.runout((0, 3, -2, 3), None, "0.001 in"))
    assert _same(vt.runout(np.array([0, 3, -2, 3]), np.arange(4) * 90, "thou"))
    assert _same(vt.runout(pd.Series([0, 3, -2, 3], index=list("abcd")), unit="thou"))
    assert _same(vt.runout([Fraction(0), 3, -2, 3], unit="thou"))


def test_the_fitted_circle_passes_where_it_says() -> None:
    found = vt.runout([0, 3, -2, 3, 7], unit="thou")
    assert [found.at(angle) for angle in found.angles] == pytest.approx(found.fitted)


def test_the_json_form_holds_no_nan() -> None:
    found = vt.runout([0, 0.1, 0.2], diameter=240).to_dict()
    assert found["eccentricity_standard_error"] is None
    assert found["readings"] == [0, 0.1, 0.2]
    assert found["diameter"] == {"value": 240, "unit": "mm"}


@pytest.mark.parametrize(
    ("readings", "angles", "unit", "more", "told"),
    [
        ([1, 2], None, "mm", {}, "needs readings at 3 stations or more .* there are 2"),
        ([], None, "mm", {}, "there are 0"),
        ([1, 2, 3], [0, 180, 360], "mm", {}, "there are 2"),
        ([1, 2, 3, 4], [0, 90, 180], "mm", {}, "4 readings and 3 angles"),
        ([1, float("nan"), 3], None, "mm", {}, "readings, number 2 is no finite number"),
        ([1, 2, math.inf], None, "mm", {}, "number 3 is no finite number"),
        (["1", "2", "3"], None, "mm", {}, "number 1 is '1'; write a number"),
        ([1, True, 3], None, "mm", {}, "number 2 is True"),
        ("0,3,-2,3", None, "mm", {}, "write them as a list"),
        (5.0, None, "mm", {}, "write them as a list"),
        ([[1, 2, 3], [4, 5, 6]], None, "mm", {}, "number 1 is"),
        ([1, 2, 3, 4], [0, 90, 90, 270], "mm", {}, "angle 90 is there twice"),
        ([1, 2, 3, 4, 5], [0, 90, 180, 270, 360], "mm", {"closing": 1}, "angle 0 is there twice"),
        ([1, 2, 3], [0, 120, -120], "mm", {}, "angle -120 is out of range"),
        ([1, 2, 3], [0, 120, 361], "mm", {}, "angle 361 is out of range"),
        ([1, 2, 3, 4], [0, 45, 90, 135], "mm", {}, "angles are missing.* from 135 to 0 degrees"),
        ([1, 2, 3], [300, 40, 119], "mm", {}, "angles are missing.* from 119 to 300 degrees"),
        ([1, 2, 3], [0, 90, 359.95], "mm", {}, "angle 359.95 is there twice"),
        ([10**400, 2, 3], None, "mm", {}, "number 1 is no finite number"),
        ([1, 2, 3], None, "furlong", {}, "'furlong' is no unit of length"),
        ([1, 2, 3], None, "N", {}, "'N' is no unit of length"),
        ([1, 2, 3], None, None, {}, "unit of the readings is missing"),
        ([1, 2, 3], None, "mm", {"resolution": 0}, "resolution is 0; it must be above 0"),
        ([1, 2, 3], None, "mm", {"closing": "x"}, "closing reading is 'x'"),
        ([1, 2, 3], None, "mm", {"diameter": -5}, "diameter is -5; it must be above 0"),
        ([0, 1, 2, 1], None, "mm", {"diameter": 19}, "tilted by .* correct the diameter 19 mm"),
        ([1, 2, 3], None, "mm", {"end_play_held": "yes"}, "say yes or no"),
    ],
)
def test_what_cannot_be_used_is_told(
    readings: object, angles: object, unit: str, more: dict[str, object], told: str
) -> None:
    with pytest.raises(vt.InstallationError, match=told):
        vt.runout(readings, angles, unit, **more)
