"""What no engine shows is refused when it is entered, and told in words when it was stored."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from invented_record import kept

import vibetrend as vt
from vibetrend.installation import (
    belt_content,
    bolt_content,
    casing_content,
    fluid_content,
    mark_content,
    runout_content,
)
from vibetrend.installation.plausible import BOUNDS

STRING: dict[str, Any] = {
    "belt": "fan",
    "stage": "as-installed",
    "frequency_hz": 166.9,
    "span": 200,
    "span_unit": "mm",
    "mass_per_length": 0.12,
    "mass_unit": "kg/m",
}
TURN: dict[str, Any] = {"surface": "rim", "readings": [0, 1, 2, 1], "unit": "mm"}


def gauge(**given: Any) -> dict[str, Any]:
    return belt_content("fan", stage="as-installed", **given)


# Common practice, no source: bounds at human scale.


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: belt_content(**STRING | {"frequency_hz": 1e200}), "the frequency is 1e.200 Hz"),
        (lambda: belt_content(**STRING | {"frequency_hz": 0.5}), "1 to 5000 Hz"),
        (lambda: belt_content(**STRING, frequency_standard_error_hz=1e-300), "standard error is"),
        (lambda: belt_content(**STRING, resolution=1e5), "resolution is 100000 Hz"),
        (lambda: belt_content(**STRING | {"span_unit": "m"}), "span's length is 200 m"),
        (lambda: belt_content(**STRING, span_resolution=1e99), "span's resolution"),
        (lambda: belt_content(**STRING | {"mass_per_length": 120}), "is 120 kg/m"),
        (lambda: belt_content(**STRING, mass_resolution=1e-320), "resolution of the mass"),
        (
            lambda: belt_content(**STRING | {"frequency_hz": 4000, "span": 2000}),
            "belt fan: what frequency, span and mass per length make of the tension is 3.07",
        ),
        (lambda: gauge(tension=140, unit="kN"), "the tension is 140 kN"),
        (lambda: gauge(tension=1e-320, unit="N"), "1 to 50000 N"),
        (lambda: gauge(tension=140, unit="lbf", resolution=1e9), "resolution is 1e.09 lbf"),
        (lambda: bolt_content("b", stages=["135000 N m"]), "stage '135000 N m' is 135000 N m"),
        (lambda: bolt_content("b", stages=["135 N m", "900 deg"]), "0.1 to 720 deg"),
        (lambda: bolt_content("b", stages=["135 N m"], resolution=1e6), "resolution is"),
        (lambda: mark_content("index-offset", 51, "mm"), "-50 to 50 mm"),
        (lambda: mark_content("element-recess", -3, "in"), "is -3 in"),
        (lambda: mark_content("face-wobble", 1, "mm", resolution=1e-99), "resolution is 1e-99 mm"),
        (lambda: casing_content([45, 45e3], "mm"), "the thickness, number 2, is 45000 mm"),
        (lambda: casing_content([0.9, 45], "mm"), "number 1, is 0.9 mm"),
        (lambda: casing_content([44, 45], "mm", resolution=1e9), "resolution is"),
        (lambda: fluid_content(result="clear", hours_on_fluid=1e7), "hours is 1e.07 h"),
        (lambda: fluid_content(viscosity_loss_percent=-1e5), "-1000 to 100 %"),
        (lambda: runout_content(**TURN | {"unit": "m"}), "run-out is 2 m, and 0 to 50 mm"),
        (lambda: runout_content(**TURN, closing=99), "the closing error is"),
        (lambda: runout_content(**TURN, diameter=240, diameter_unit="in"), "diameter is 240 in"),
        (lambda: runout_content(**TURN, resolution=1e-200), "resolution is 1e-200 mm"),
        (lambda: vt.runout([0, 1, 2], resolution=60), "resolution is 60 mm"),
    ],
)
def test_what_no_engine_shows_is_a_slip_of_unit_or_digit(
    call: Callable[[], object], told: str
) -> None:
    with pytest.raises(
        vt.InstallationError, match=f"(?s){told}.*most likely the unit is another.*correct it"
    ):
        call()


@pytest.mark.parametrize("values", [{"readings": [0, 1e308, -1e308]}, {"closing": 1e308}])
def test_readings_that_cannot_be_reckoned_with(values: dict[str, Any]) -> None:
    with pytest.raises(vt.InstallationError, match=r"a reading lies beyond 1e\+12 mm"):
        runout_content(**TURN | values)


def test_a_dial_may_stand_far_from_its_zero() -> None:
    """references.md, section 6: an exact circle, R = 120, e = 0.5, seen as radii."""
    angle = np.radians(45.0 * np.arange(8))
    radii = 0.5 * np.cos(angle) + np.sqrt(120**2 - (0.5 * np.sin(angle)) ** 2)
    assert vt.runout(radii).tir == pytest.approx(1, abs=1e-12)


def test_the_bounds_themselves_are_taken_in_any_unit() -> None:
    assert mark_content("index-offset", 5, "cm")["value"] == 5
    assert gauge(tension=50, unit="kN")["unit"] == "kN"
    assert bolt_content("b", stages=["20000 N m", "720 deg"])["stages"][1] == "720 deg"
    assert casing_content([1, 1000], "mm", resolution=1000)["thicknesses"] == [1, 1000]


def test_every_bound_holds_a_range_and_a_finest_step() -> None:
    assert all(each.least < each.greatest and each.finest > 0 for each in BOUNDS.values())


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("belt", {**belt_content(**STRING), "frequency_hz": 1e200}),
        ("belt", {**belt_content(**STRING), "span": 1e-320}),
        ("runout", {**runout_content(**TURN), "readings": [0, 99, -1]}),
        ("runout", {**runout_content(**TURN), "resolution": 1e-200}),
    ],
)
def test_what_was_stored_beyond_them_closes_nothing(kind: str, content: dict[str, Any]) -> None:
    found = kept(("runout", runout_content(**TURN)), (kind, content))
    assert [each.kind for each in found.readings] == ["runout"]
    (why,) = found.unreadable
    assert "cannot be read" in why
    assert "most likely the unit is another" in why


def test_readings_hardly_above_nothing_are_worked_with_in_silence() -> None:
    """1e-320 squared is nothing: warnings are errors in these tests."""
    found = vt.runout([0, 1e-320, 0, -1e-320])
    assert found.eccentricity_standard_error > 0
