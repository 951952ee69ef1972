"""Belt tension by gauge and by the sound of a span, and its drop while it runs in."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibetrend.engine import Limits
from vibetrend.errors import InstallationError
from vibetrend.installation import Belt, belt_content
from vibetrend.installation.belts import belt_drop, belt_of
from vibetrend.quantities import unit

BOTH = Limits.model_validate(
    {  # common practice, no source: 140 lbf as installed, not below 105 lbf after run-in
        "belt_tension_new": {"value": 140, "unit": "lbf", "source": "an invented manual"},
        "belt_tension_run_in": {"min": 105, "unit": "lbf", "source": "an invented manual"},
    }
)


def gauge(tension: float, stage: str = "as-installed", **more: object) -> Belt:
    return belt_of(belt_content("fan", stage=stage, tension=tension, unit="lbf", **more))


def string(frequency: float, span: float, mass: float, **more: object) -> Belt:
    return belt_of(
        belt_content(
            "fan",
            stage="as-installed",
            frequency_hz=frequency,
            span=span,
            span_unit="m",
            mass_per_length=mass,
            mass_unit="kg/m",
            **more,
        )
    )


def newtons(belt: Belt) -> float:
    assert belt.tension is not None
    return belt.tension.si


@pytest.mark.parametrize(
    ("frequency", "span", "mass", "tension"),
    [  # T = 4 m L^2 f^2, the string of Rayleigh, The Theory of Sound
        (126.491106, 0.25, 0.1, 400),
        (166.92688, 0.2, 0.12, 535),
        (135.97641, 0.2, 0.12, 355),
        (220, 0.17, 0.11, 615.454),  # a belt maker's example, printed as 610 N
    ],
)
def test_a_spans_frequency_tells_its_tension(
    frequency: float, span: float, mass: float, tension: float
) -> None:
    assert newtons(string(frequency, span, mass)) == pytest.approx(tension, rel=1e-6)


def test_units_of_length_and_mass_do_not_matter() -> None:
    other = belt_of(
        belt_content(
            "fan",
            stage="as-installed",
            frequency_hz=220,
            span=0.17 / 0.0254,
            span_unit="in",
            mass_per_length=110,
            mass_unit="g/m",
        )
    )
    assert newtons(other) == pytest.approx(newtons(string(220, 0.17, 0.11)), rel=1e-12)


def test_one_per_cent_of_frequency_or_length_is_two_of_tension() -> None:
    """+2.01 % exactly, and 2 % as the standard error has it, to first order."""
    plain = string(220, 0.17, 0.11)
    assert newtons(string(222.2, 0.17, 0.11)) / newtons(plain) == pytest.approx(1.0201)
    by_frequency = string(220, 0.17, 0.11, frequency_standard_error_hz=2.2)
    by_length = string(220, 0.17, 0.11, span_resolution=0.0017 * math.sqrt(12))
    for each in (by_frequency, by_length):
        assert each.standard_error is not None
        assert each.standard_error.si == pytest.approx(0.02 * newtons(plain))
    assert (by_frequency.error_from, by_length.error_from) == (("frequency",), ("span",))


def test_errors_add_as_squares() -> None:
    found = string(
        220,
        0.17,
        0.11,
        resolution=1.0,
        span_resolution=0.001,
        mass_resolution=0.01,
    )
    step = 1 / math.sqrt(12)
    shares = (2 * step / 220, 2 * 0.001 * step / 0.17, 0.01 * step / 0.11)
    assert found.standard_error is not None
    assert found.standard_error.si == pytest.approx(newtons(found) * math.hypot(*shares))
    assert found.error_from == ("frequency", "span", "mass")


def test_without_any_known_error_none_is_told() -> None:
    assert string(220, 0.17, 0.11).standard_error is None
    assert gauge(140).standard_error is None
    known = gauge(140, resolution=5.0).standard_error
    assert known is not None
    assert known.value == pytest.approx(5 / math.sqrt(12))
    assert known.unit == unit("lbf")


@settings(max_examples=25, deadline=None)
@given(st.floats(50, 300), st.floats(0.05, 0.5), st.floats(0.05, 0.5))
def test_the_string_sounds_at_the_frequency_it_was_told(f: float, span: float, mass: float) -> None:
    tension = newtons(string(f, span, mass))
    assert math.sqrt(tension / mass) / (2 * span) == pytest.approx(f)


# The drop


def test_a_drop_within_the_makers_two_figures() -> None:
    drop = belt_drop(gauge(140), gauge(110, "after-run-in"), BOTH)
    assert drop is not None
    assert drop.ratio == pytest.approx(110 / 140)
    assert drop.least == pytest.approx(0.75)
    assert drop.state == "within"
    assert math.isnan(drop.standard_error)


def test_exactly_the_makers_ratio_is_within() -> None:
    drop = belt_drop(gauge(150), gauge(112.5, "after-run-in"), BOTH)
    assert drop is not None
    assert drop.state == "within"


def test_a_larger_drop_than_expected_is_found_though_both_are_within_limits() -> None:
    drop = belt_drop(gauge(150), gauge(108, "after-run-in"), BOTH)
    assert drop is not None
    assert drop.state == "beyond"


def test_a_drop_near_the_makers_ratio_cannot_be_told_with_a_coarse_gauge() -> None:
    drop = belt_drop(gauge(140, resolution=5.0), gauge(104, "after-run-in", resolution=5.0), BOTH)
    assert drop is not None
    assert drop.state == "at-limit"


def test_a_span_and_mass_that_both_were_told_from_drop_out_of_the_ratio() -> None:
    """T goes with f^2: 200 Hz down to 180 Hz keeps 0.81, whatever the span and the mass are."""

    def run(stage: str, hertz: float, **more: float | None) -> Belt:
        known: dict[str, Any] = {
            "frequency_standard_error_hz": 1.0, "span": 0.2, "span_unit": "m",
            "mass_per_length": 0.1, "mass_unit": "kg/m", "mass_resolution": 0.02,
            "span_resolution": 0.002,
        }  # fmt: skip
        return belt_of(belt_content("fan", stage=stage, frequency_hz=hertz, **known | more))

    new, run_in = run("as-installed", 200), run("after-run-in", 180)
    drop = belt_drop(new, run_in, BOTH)
    assert drop is not None
    assert drop.ratio == pytest.approx(0.81)
    assert drop.standard_error == pytest.approx(0.81 * math.hypot(2 / 200, 2 / 180))
    other = belt_drop(new, run("after-run-in", 180, span=0.21), BOTH)
    assert other is not None
    lengths = (2 * 0.002 / math.sqrt(12) / span for span in (0.2, 0.21))
    shares = math.hypot(2 / 200, 2 / 180, *lengths)
    assert other.standard_error == pytest.approx(other.ratio * shares)
    unread = run("after-run-in", 180, frequency_standard_error_hz=None)
    unknown = belt_drop(new, unread, BOTH)
    assert unknown is not None
    assert math.isnan(unknown.standard_error)


@pytest.mark.parametrize("more", [{}, {"resolution": 1.0}])
def test_a_belt_gains_no_tension_by_running_in(more: dict[str, float]) -> None:
    drop = belt_drop(gauge(90, **more), gauge(100, "after-run-in", **more), BOTH)
    assert drop is not None
    assert (drop.state, drop.ratio) == ("information", pytest.approx(100 / 90))


def test_a_gain_within_the_gauges_error_is_no_gain() -> None:
    drop = belt_drop(gauge(98, resolution=5.0), gauge(100, "after-run-in", resolution=5.0), BOTH)
    assert drop is not None
    assert drop.state == "within"


@pytest.mark.parametrize("lacking", ["belt_tension_new", "belt_tension_run_in"])
def test_without_both_figures_nothing_is_expected(lacking: str) -> None:
    limits = BOTH.model_copy(update={lacking: None})
    drop = belt_drop(gauge(140), gauge(110, "after-run-in"), limits)
    assert drop is not None
    assert (drop.state, drop.least) == ("limit-unknown", None)


def test_a_range_is_expected_at_its_middle() -> None:
    """A car maker's data: 550 to 650 N new, 400 to 500 N used: 400 / 600."""
    limits = Limits.model_validate(
        {
            "belt_tension_new": {"min": 550, "max": 650, "unit": "N", "source": "data sheet"},
            "belt_tension_run_in": {"min": 400, "max": 500, "unit": "N", "source": "data sheet"},
        }
    )
    drop = belt_drop(gauge(140), gauge(110, "after-run-in"), limits)
    assert drop is not None
    assert drop.least == pytest.approx(400 / 600)


def test_an_automatic_tensioner_has_no_drop() -> None:
    assert belt_drop(gauge(140, automatic_tensioner=True), gauge(90, "after-run-in"), BOTH) is None
    arm_only = belt_of(belt_content("fan", stage="as-installed", automatic_tensioner=True))
    assert arm_only.by == "none"
    assert belt_drop(arm_only, gauge(110, "after-run-in"), BOTH) is None


@pytest.mark.parametrize(
    ("given_", "told"),
    [
        ({"stage": "as-installed"}, "no reading; give the tension"),
        ({"stage": "later", "tension": 1, "unit": "N"}, "write one of as-installed, after-run-in"),
        ({"stage": "as-installed", "tension": 140}, "unit of the tension is missing"),
        ({"stage": "as-installed", "tension": 140, "unit": "N m"}, "no unit of force"),
        ({"stage": "as-installed", "tension": -1, "unit": "N"}, "tension is -1; .* above 0"),
        (
            {"stage": "as-installed", "tension": 1, "unit": "N", "frequency_hz": 100},
            "not both in one entry",
        ),
        (
            {"stage": "as-installed", "frequency_hz": 100, "span": 0.2, "span_unit": "m"},
            "needs mass_per_length, mass_unit too",
        ),
    ],
)
def test_what_cannot_be_used_is_told(given_: dict[str, object], told: str) -> None:
    with pytest.raises(InstallationError, match=told):
        belt_content("fan", **given_)
