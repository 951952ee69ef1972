"""Phases and ellipses: closed forms, invariances, a second route, whole recordings.

The formulas are those of Born & Wolf, Principles of Optics, sec. 1.4.3; the second route to the
semi-axes is the singular value decomposition, which knows nothing of them.
"""

import math
from typing import Any

import numpy as np
import pytest
from invented_recordings import HALF_ORDERS, MILD, World, made, rows, turned
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.orders import Measurement, measure
from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.motion import Phases, Reference, ellipse, leaning, phases
from vibetrend.recording import FloatArray, Recording

SIX = Engine(name="invented", cylinders=6, fast_idle_rpm=1000)
AXES = ("x", "y", "z")


def vectors(seed: int, *, lines: int = HALF_ORDERS.size, axes: int = 3) -> ComplexArray:
    rng = np.random.default_rng(seed)
    shape = (lines, axes)
    return np.asarray(rng.standard_normal(shape) + 1j * rng.standard_normal(shape))


def rotation(seed: int) -> FloatArray:
    matrix, _ = np.linalg.qr(np.random.default_rng(seed).standard_normal((3, 3)))
    return np.asarray(matrix * np.sign(np.linalg.det(matrix)))


def phases_of(amplitude: ComplexArray, reference: Reference = 3.0) -> Phases:
    return phases(
        HALF_ORDERS,
        amplitude,
        np.zeros(HALF_ORDERS.size),
        known=np.ones(HALF_ORDERS.size, bool),
        reference=reference,
    )


def apart(one: FloatArray, other: FloatArray, repeats: FloatArray) -> FloatArray:
    """Return the difference of phases that are known modulo `repeats`."""
    return np.asarray((one - other + repeats / 2) % repeats - repeats / 2)


def test_a_phase_is_counted_from_a_crest_of_the_firing_order() -> None:
    """cos(2 pi 3 theta + 90 deg) has a crest 30 degrees of the crank before theta = 0."""
    amplitude = np.ones((HALF_ORDERS.size, 1), complex)
    amplitude[5] = 1j
    amplitude[1] = np.exp(1j * math.radians(50))  # at that crest order 1 stands at 50 - 30
    found = phases_of(amplitude)
    assert found.degrees[1] == pytest.approx(20)
    assert (found.degrees[5], found.standard_error[5]) == (0, 0)


@pytest.mark.parametrize(
    ("order", "of_a_six", "of_a_four", "of_a_mark"),
    [(0.5, 60, 90, 180), (1, 120, 180, 360), (1.5, 180, 90, 180), (2, 120, 360, 360),
     (3, 360, 180, 360), (7.5, 180, 90, 180), (10, 120, 360, 360)],
)  # fmt: skip
def test_phases_repeat_as_the_crests_allow(
    order: float, of_a_six: float, of_a_four: float, of_a_mark: float
) -> None:
    """A six has three crests of order 3 in a turn, alike; order 1 moves by 120 deg between them."""
    row = int(2 * order) - 1
    assert phases_of(vectors(1, axes=1), 3.0).repeats[row] == of_a_six
    assert phases_of(vectors(1, axes=1), 2.0).repeats[row] == of_a_four
    assert phases_of(vectors(1, axes=1), "tacho").repeats[row] == of_a_mark
    # The line along which it moves has no sign: half a cycle more or less is the same.
    assert phases_of(vectors(1), 3.0).repeats[row] == of_a_six / 2


@pytest.mark.parametrize("axes", [1, 3])
def test_phases_are_the_same_wherever_the_recording_starts(axes: int) -> None:
    amplitude = vectors(2, axes=axes)
    before = phases_of(amplitude)
    for turns in (0.1, 0.77, 123.4):
        after = phases_of(amplitude * np.exp(2j * np.pi * HALF_ORDERS * turns)[:, np.newaxis])
        assert_allclose(apart(after.degrees, before.degrees, before.repeats), 0, atol=1e-8)


def test_a_mark_is_the_same_in_every_turn() -> None:
    amplitude = vectors(3, axes=1)
    before = phases_of(amplitude, "tacho")
    after = phases_of(amplitude * np.exp(2j * np.pi * HALF_ORDERS * 5)[:, np.newaxis], "tacho")
    assert_allclose(apart(after.degrees, before.degrees, before.repeats), 0, atol=1e-9)


def test_phases_and_ellipses_turn_with_the_phone() -> None:
    amplitude, turn = vectors(4), rotation(5)
    before, after = phases_of(amplitude), phases_of(amplitude @ turn.T)
    assert_allclose(apart(after.degrees, before.degrees, before.repeats), 0, atol=1e-9)
    for vector in amplitude:
        one, other = ellipse_of(vector), ellipse_of(turn @ vector)
        assert_allclose(other["major"], one["major"], rtol=1e-12)
        assert_allclose(other["minor"], one["minor"], rtol=1e-9)
        assert_allclose(along(other["normal"]), turn @ along(one["normal"]), atol=1e-9)
        assert abs(along(other["direction"]) @ turn @ along(one["direction"])) == pytest.approx(1)


def test_a_phase_without_its_reference_is_not_known() -> None:
    known = HALF_ORDERS != 3
    found = phases(HALF_ORDERS, vectors(6), np.zeros(24), known=known, reference=3.0)
    assert np.isnan([found.degrees, found.standard_error, found.repeats]).all()


def test_a_phase_that_could_be_any_is_not_told() -> None:
    found = phases(HALF_ORDERS, vectors(7), np.full(24, 0.15), known=HALF_ORDERS > 0, reference=3.0)
    # 0.15 rad of the firing order count k / 3 times; four standard errors are the whole circle
    error = np.degrees(0.15 * np.hypot(1, HALF_ORDERS / 3))
    told = 4 * error < found.repeats
    told[5] = True
    assert np.array_equal(np.isfinite(found.degrees), told)
    assert 2 < told.sum() < 22
    assert_allclose(np.delete(found.standard_error, 5)[np.delete(told, 5)],
                    np.delete(error, 5)[np.delete(told, 5)])  # fmt: skip


def test_leaning_is_the_slope_of_the_phase() -> None:
    amplitude, way = vectors(8), vectors(9)
    step = 1e-6
    psi = [np.angle(np.sum((amplitude + d * way) ** 2, axis=1)) / 2 for d in (-step, step)]
    slope = apart(psi[1], psi[0], np.full(24, math.pi)) / (2 * step)
    assert_allclose(np.sum(leaning(amplitude).conj() * way, axis=1).real, slope, rtol=1e-6)


def ellipse_of(vector: ComplexArray, *, axes: tuple[str, ...] = AXES) -> dict[str, Any]:
    found = ellipse(vector, np.zeros(len(vector)), axes=axes)
    assert found is not None
    return found


def along(named: dict[str, float]) -> FloatArray:
    return np.array(list(named.values()))


@pytest.mark.parametrize("seed", range(5))
def test_semi_axes_are_the_singular_values(seed: int) -> None:
    vector = vectors(seed, lines=1)[0]
    left, values, _ = np.linalg.svd(np.stack([vector.real, vector.imag], axis=1))
    found = ellipse_of(vector)
    assert_allclose([found["major"], found["minor"]], values / math.sqrt(2), rtol=1e-12)
    assert abs(along(found["direction"]) @ left[:, 0]) == pytest.approx(1, abs=1e-12)
    assert abs(along(found["normal"]) @ left[:, 2]) == pytest.approx(1, abs=1e-12)
    assert max(found["direction"].values(), key=abs) > 0


def test_the_motion_turns_right_handed_about_the_normal() -> None:
    """x = 3 cos, y = sin: from x to y, about z."""
    found = ellipse_of(np.array([3, -1j, 0]))
    assert_allclose(along(found["normal"]), [0, 0, 1], atol=1e-12)
    assert_allclose(along(found["direction"]), [1, 0, 0], atol=1e-12)
    flat = ellipse_of(np.array([3, -1j]), axes=("a", "b"))
    assert flat["turns"] == "a to b"
    assert_allclose([flat["major"], flat["minor"]], [3 / math.sqrt(2), 1 / math.sqrt(2)])
    assert ellipse_of(np.array([3, 1j]), axes=("a", "b"))["turns"] == "b to a"


def test_noise_makes_no_ellipse_of_a_straight_line() -> None:
    """Unbiased: the mean minor axis squared, were it not cut at 0, is that of the motion, none."""
    rng = np.random.default_rng(10)
    variance = np.full(3, 1e-4)
    noise = math.sqrt(1e-4) * (rng.standard_normal((400, 3)) + 1j * rng.standard_normal((400, 3)))
    found = [ellipse(np.array([1, 2, 2]) + each, variance, axes=AXES) for each in noise]
    normals = [each["normal"] for each in found if each]
    # chi-square of two degrees of freedom above 2 (1 + 4): exp(-5), 0.7 %
    assert sum(normal is not None for normal in normals) < 0.03 * len(found)
    majors = np.array([each["major"] for each in found if each])
    assert majors.mean() == pytest.approx(3 / math.sqrt(2), abs=4 * 0.01 / math.sqrt(2 * 400))


def test_one_axis_has_no_ellipse() -> None:
    assert ellipse(np.array([1j]), np.array([0.1]), axes=("x",)) is None


NOISE = 0.3  # on each axis
TRUTH = vectors(20) * 10 ** (-np.linspace(0, 1, 24))[:, np.newaxis]


def run(*, axes: ComplexArray = TRUTH, first: int = 0) -> Measurement:
    """Measure 30 s of an engine that hunts mildly, its orders moving as `axes` say."""
    rng = np.random.default_rng(21)
    times = (np.arange(12000) + np.clip(0.1 * rng.standard_normal(12000), -0.49, 0.49)) / 400
    crank = turned(times, World(running=MILD), rng)
    samples = NOISE * rng.standard_normal((12000, 3))
    for order, vector in zip(HALF_ORDERS, axes, strict=True):
        samples += np.outer(np.exp(2j * np.pi * order * crank), vector).real
    return measure(Recording(samples[first:], times=times[first:], rpm=1000), engine=SIX)


@pytest.fixture(scope="module")
def measured() -> Measurement:
    return run()


def test_a_recording_gives_the_phases_and_ellipses_it_was_made_with(measured: Measurement) -> None:
    """Within 4.5 standard errors, which 70 normal values exceed once in 2000 times."""
    table, true = measured.orders, phases_of(TRUTH)
    assert measured.phase_reference == "order 3"
    assert table["visible"].all()
    told = table["phase_deg"].notna().to_numpy()
    assert told.sum() >= 20
    assert_allclose(table["phase_repeats_deg"], true.repeats)
    off = apart(table["phase_deg"].to_numpy(float), true.degrees, true.repeats)[told]
    assert (np.abs(off) <= 4.5 * table["phase_standard_error_deg"].to_numpy(float)[told]).all()
    for row, vector in zip(table.to_dict("records"), TRUTH, strict=True):
        true_one, found = ellipse_of(vector), row["ellipse"]
        for axis in ("major", "minor"):
            assert found[axis] == pytest.approx(true_one[axis], abs=4.5 * row["standard_error"])
        total = math.hypot(found["major"], found["minor"])
        assert total == pytest.approx(row["amplitude"], rel=1e-9)


def test_a_later_start_leaves_the_phases(measured: Measurement) -> None:
    """2.5 s less of the same noise: a twelfth less to rest on, so that 1.5 errors are many."""
    compare(measured, run(first=1000), errors=1.5)


def test_a_phone_turned_leaves_the_phases(measured: Measurement) -> None:
    """The other noise on each axis is as large: root 2 times the errors."""
    compare(measured, run(axes=TRUTH @ rotation(22).T), errors=4.5 * math.sqrt(2))


def compare(one: Measurement, other: Measurement, *, errors: float) -> None:
    for before, after in zip(one.to_dict()["orders"], other.to_dict()["orders"], strict=True):
        if before["phase_deg"] is None or after["phase_deg"] is None:
            continue
        off = apart(*(np.array(row["phase_deg"]) for row in (before, after)),
                    before["phase_repeats_deg"])  # fmt: skip
        assert abs(off) <= errors * before["phase_standard_error_deg"]
        for axis in ("major", "minor"):
            expected = pytest.approx(before["ellipse"][axis], abs=errors * before["standard_error"])
            assert after["ellipse"][axis] == expected


def test_sound_has_phases_but_no_ellipse() -> None:
    found = rows(measure(made(World(seconds=10, axes=1, kind="sound"), 23).recording, engine=SIX))
    assert {row["ellipse"] for row in found.values()} == {None}
    assert found[3.0]["phase_deg"] == 0
    assert found[6.0]["phase_repeats_deg"] == 360
    assert found[6.0]["phase_deg"] is not None
