"""The picture of a run-out: every reading, circle and arrow where its number says."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from vibetrend.report.fitted.polar import Turn, polar, scale, shows_limit
from vibetrend.report.fitted.turns import clock

ANGLES = tuple(45.0 * i for i in range(8))


def turn(eccentricity: float = 0.05, high_deg: float = 60.0, **values: float) -> Turn:
    """Return a pure eccentricity."""
    deviation = [eccentricity * math.cos(math.radians(a - high_deg)) for a in ANGLES]
    return Turn(
        when="1 May 2026",
        angles_deg=ANGLES,
        deviation=tuple(deviation),
        labels=tuple(f"{each:+.2f}" for each in deviation),
        eccentricity=eccentricity,
        high_deg=high_deg,
        high_error_deg=values.get("high_error_deg", 5.0),
    )


def dots(svg: str, kind: str) -> np.ndarray:
    """Return right and up of each reading drawn, shape (n, 2)."""
    found = re.findall(rf'<circle class="reading {kind}" cx="([-\d.]+)" cy="([-\d.]+)"', svg)
    return np.array(found, float) * [1, -1]


def test_readings_stand_at_their_stations_as_far_out_as_they_read() -> None:
    one = turn()
    shown = scale([one], None)
    places = dots(str(polar([one], shown, limit=None, label="x")), "now")
    # From the top, clockwise: the mark is at 12 o'clock.
    angles = np.degrees(np.arctan2(places[:, 0], places[:, 1])) % 360
    np.testing.assert_allclose(angles, ANGLES, atol=0.1)  # printed to 0.1 px
    radii = np.hypot(*places.T)
    slope, middle = np.polyfit(one.deviation, radii, 1)
    np.testing.assert_allclose(radii, middle + slope * np.array(one.deviation), atol=0.08)
    assert slope * 0.05 == pytest.approx(34, abs=0.2)  # the largest deviation fills the span


def test_the_circle_passes_through_readings_that_have_no_form() -> None:
    one = turn()
    svg = str(polar([one], scale([one], None), limit=None, label="x"))
    (path,) = re.findall(r'<path class="fit now" d="M([^"]+)Z"', svg)
    course = np.array([pair.split() for pair in path.split("L")], float) * [1, -1]
    around = np.interp(ANGLES, np.arange(0, 360, 4), np.hypot(*course.T))
    # Places are printed to 0.1 px; a chord over 4 degrees of 100 px is 0.06 px too flat.
    np.testing.assert_allclose(around, np.hypot(*dots(svg, "now").T), atol=0.25)


def test_the_arrow_points_at_the_high_side_and_only_if_one_stands_out() -> None:
    one = turn(high_deg=123.0)

    def drawn(each: Turn) -> str:
        return str(polar([each], scale([each], None), limit=None, label="x"))

    assert 'class="high now" transform="rotate(123.0)"' in drawn(one)
    assert 'class="may-lie"' in drawn(one)
    assert "high now" not in drawn(replace(one, high_error_deg=math.inf))
    unknown = drawn(replace(one, high_error_deg=math.nan))  # three stations tell no error
    assert "high now" in unknown
    assert "may-lie" not in unknown


def test_then_is_drawn_unlike_now_and_not_by_colour_alone() -> None:
    one, other = turn(0.02), turn(0.06, 200.0)
    shown = scale([one, other], None)
    svg = str(polar([one, other], shown, limit=None, label="x"))
    assert len(dots(svg, "then")) == len(dots(svg, "now")) == 8
    assert svg.count('<path class="fit then"') == svg.count('<path class="fit now"') == 1
    # One scale for both: 0.06 is drawn three times as far out as 0.02.
    spread = [np.ptp(np.hypot(*dots(svg, kind).T)) for kind in ("then", "now")]
    assert spread[1] / spread[0] == pytest.approx(
        np.ptp(other.deviation) / np.ptp(one.deviation), rel=0.02
    )


def test_a_limit_is_a_band_of_its_own_width() -> None:
    one = turn(0.05)
    shown = scale([one], 0.12)
    assert shows_limit(shown, 0.12)
    svg = str(polar([one], shown, limit=0.12, label="x"))
    (path,) = re.findall(r'<path class="band" fill-rule="evenodd" d="([^"]+)"', svg)
    outer, inner = sorted({abs(float(r)) for r in re.findall(r"M(-?[\d.]+) 0", path)})[::-1]
    assert outer - inner == pytest.approx(shown.radius(0.12) - shown.radius(0), abs=0.15)
    assert not shows_limit(scale([one], 5.0), 5.0)
    assert 'class="band"' not in polar([one], scale([one], 5.0), limit=5.0, label="x")


@pytest.mark.parametrize("size", [1e-6, 0.003, 0.05, 2.0, 999.0])
def test_rings_are_round_steps_and_some_are_seen(size: float) -> None:
    one = turn(size)
    shown = scale([one], None)
    mantissa = shown.ring / 10 ** math.floor(math.log10(shown.ring) + 1e-9)
    assert min(abs(mantissa - each) for each in (1, 2, 5)) < 1e-9
    assert 1 <= shown.span / shown.ring <= 4


def test_readings_all_alike_are_a_circle() -> None:
    flat = replace(turn(0.0), high_error_deg=math.inf)
    svg = str(polar([flat], scale([flat], None), limit=None, label="x"))
    assert np.ptp(np.hypot(*dots(svg, "now").T)) < 0.2
    assert "nan" not in svg


def test_of_many_stations_some_are_labelled() -> None:
    angles = tuple(10.0 * i for i in range(36))
    one = replace(turn(), angles_deg=angles, deviation=(0.01,) * 36, labels=("+0.01",) * 36)
    svg = str(polar([one], scale([one], None), limit=None, label="x"))
    assert svg.count("<text") == 12
    assert svg.count('class="reading now"') == 36


@pytest.mark.parametrize(
    ("angle", "told"),
    [(0, "12 o'clock"), (45, "half past 1"), (90, "3 o'clock"), (352.4, "half past 11"),
     (352.6, "12 o'clock"), (345, "half past 11"), (359.9, "12 o'clock")],
)  # fmt: skip
def test_directions_on_a_clock_face(angle: float, told: str) -> None:
    assert clock(angle) == told
