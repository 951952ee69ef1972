"""One simulated run-up or coast-down together with what is true of it.

The crank is driven past its resonances slowly, not infinitely slowly: an order whose frequency w
changes by w' per second is felt as (to first order in w')

    x = Re [ H(w) - j w' / 2 d2H/dw2 ] exp(j phase)                                        (1)

H being what is felt at a steady speed. The truth holds H; the recording has all of equation 1, so
that a peak comes a little late, as on a real sweep.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from vibetrend.engine import Engine
from vibetrend.recording import Circumstances, FloatArray, Recording
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.heard import Ear, anti_alias
from vibetrend.simulate.record import check_numbers, index_of
from vibetrend.simulate.rendering import ComplexArray, breathing_of, other_lines, picked_up, wave
from vibetrend.simulate.sensor import PHONE, Sensor
from vibetrend.simulate.speed import Running, deviation, swept, time_grid, turned
from vibetrend.torsion import Change, Crankshaft, warmer

REFERENCE_C = 40.0
"""Temperature of a damper's ring that the values of an engine file hold at; assumed."""

BY_HAND = Running(hunting_percent=0.2, drift_percent=0.0, breathing_percent=2.5)
"""How unsteadily an engine runs while its lever is moved."""

_GRID_RATIO = 1.002  # of speeds: a peak of damping ratio 0.02 is twenty such steps wide
_BEYOND = 1.03  # the grid goes so much farther than the sweep: hunting and corners stay inside
_GAUGE_STEP_RPM = 10.0


@dataclass(frozen=True, kw_only=True, eq=False)
class SweepTruth:
    """What a perfect measurement of a simulated sweep would find."""

    time_s: FloatArray = field(repr=False)  # (n,) when each sample was taken
    turns: FloatArray = field(repr=False)  # (n,) the crank's angle at each sample
    rpm: FloatArray = field(repr=False)  # (n,) its speed
    orders: FloatArray = field(repr=False)  # (k,)
    speed_rpm: FloatArray = field(repr=False)  # (m,) speeds at which the amplitudes are told
    amplitude: ComplexArray = field(repr=False)  # (k, m, axes) rms, at a steady speed
    twist: ComplexArray = field(repr=False)  # (k, m, axes) the crank's share of it
    natural_frequencies_hz: FloatArray  # of the crankshaft as it is, damper's warmth and all
    damping_ratios: FloatArray

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form: for each order that passes it, where its twist is largest."""
        lowest = float(self.natural_frequencies_hz[0])
        speeds = 60 * lowest / self.orders
        passing = (speeds > self.speed_rpm[0]) & (speeds < self.speed_rpm[-1])
        return {
            "start_rpm": float(self.rpm[0]),
            "end_rpm": float(self.rpm[-1]),
            "natural_frequencies_hz": self.natural_frequencies_hz.tolist(),
            "damping_ratios": self.damping_ratios.tolist(),
            "peaks": [
                {"order": order, "speed_rpm": self.peak_rpm(order)}
                for order in self.orders[passing].tolist()
            ],
        }

    def peak_rpm(self, order: float, *, near_hz: float | None = None) -> float:
        """Return the speed at which an order's twist is largest, within 20 % of a frequency.

        `near_hz` is the crankshaft's lowest natural frequency if left out.

        Raises
        ------
        SimulateError
            If the order is not simulated, or does not reach the frequency in this sweep.
        """
        centre = self.natural_frequencies_hz[0] if near_hz is None else near_hz
        size = np.linalg.norm(self.twist[index_of(order, self.orders)], axis=1)
        near = np.flatnonzero(np.abs(order * self.speed_rpm / 60 / centre - 1) < 0.2)
        if near.size < 3:
            raise SimulateError(
                f"order {order:g} does not pass {centre:.0f} Hz between {self.speed_rpm[0]:.0f} "
                f"and {self.speed_rpm[-1]:.0f} rpm; sweep farther, or take another order"
            )
        return float(self.speed_rpm[near[np.argmax(size[near])]])


def sweep(
    engine: Engine,
    *,
    start_rpm: float,
    end_rpm: float,
    seconds: float,
    rate: float,
    seed: int | Sequence[int],
    sensor: Sensor = PHONE,
    damper_c: float | None = None,
    change: Change | None = None,
    twist_share: float = 0.5,
    gain_db: float = 0.0,
    changes_db: Mapping[float, float] | None = None,
    specimen: int = 0,
    hold_s: float = 2.0,
    running: Running = BY_HAND,
    gauge_percent: float = 3.0,
) -> tuple[Recording, SweepTruth]:
    """Simulate one sweep of an engine's speed, up or down.

    Parameters
    ----------
    start_rpm, end_rpm : float
        True speeds between which the engine is swept; above the start it is a run-up.
    seconds, rate : float
        Duration and mean sampling rate in Hz.
    seed : int or sequence of int
        Draws all that differs from recording to recording.
    damper_c : float, optional
        Temperature of the damper's ring, which moves its rubber; noted in the recording. The
        values of the engine file hold at `REFERENCE_C`, which it has if left out.
    change : Change, optional
        What has become of the damper; as good as new if left out.
    twist_share : float
        How much of the amplitude is the crank's twist, 0 up to but not including 1: at the peak of
        the lowest resonance, the damper as new, half of the orders that pass it within the
        engine's range have at least this share. It sets one gain that any change keeps.
    gain_db : float
        Change of all that comes from the engine, dB: how well the sensor sits, its gain.
    changes_db : mapping of float to float, optional
        Change of single orders at all speeds, dB.
    specimen : int
        Which engine of that type, and which boat around it.
    hold_s : float
        How long each end is held, in seconds of the whole.
    running : Running
        How unsteadily the engine runs.
    gauge_percent : float
        How far the gauge is off, standard deviation; it shows steps of 10 rpm.

    Returns
    -------
    Recording
        Its `rpm` and `end_rpm` are what the gauge showed.
    SweepTruth

    Raises
    ------
    SimulateError
        If a number makes no sense, a generator set is to run up, or no order of this engine makes
        its crank's resonance heard.
    """
    _check_sweep(start_rpm, end_rpm, seconds, rate, hold_s, twist_share)
    if engine.generator is not None and end_rpm > start_rpm:
        raise SimulateError(
            f"{engine.name} is a generator set: its governor holds "
            f"{engine.generator.governed_rpm:g} rpm, so it makes no run-up; simulate a coast-down"
        )
    rng = np.random.default_rng(seed)
    cycle_turns = engine.strokes / 2
    times = sensor.sample_times(round(seconds * rate), rate, rng)
    grid = time_grid(float(times[-1]))
    meant = swept(grid, start_rpm=start_rpm, end_rpm=end_rpm, hold_s=hold_s, rng=rng)
    away = deviation(
        grid, rpm=float(meant.mean()), cycle_turns=cycle_turns, running=running, rng=rng
    )
    begin = rng.uniform(0, cycle_turns)  # nobody presses the button at a dead centre
    turns = begin + turned(times, grid, meant * (1 + away) / 60)
    rpm = np.interp(times, grid, meant * (1 + away))

    now = _as_it_is(engine, damper_c, change or Change())
    low, high = min(rpm.min(), start_rpm, end_rpm) / _BEYOND, max(rpm.max(), end_rpm) * _BEYOND
    speeds = np.geomspace(low, high, int(np.log(high / low) / np.log(_GRID_RATIO)) + 2)
    ear = Ear.beside(engine, twist_share=twist_share, sensor=sensor, specimen=specimen)
    felt = ear.heard(now, speeds)
    orders = felt.orders
    gain = 10 ** (gain_db / 20) * sensor.firing_rms * sensor.response(np.outer(orders, speeds / 60))
    if sensor.kind == "sound":
        gain *= anti_alias(np.outer(orders, speeds / 60), rate)
    for order, db in (changes_db or {}).items():
        gain[index_of(order, orders)] *= 10 ** (db / 20)
    whole, twist = (each * gain[..., np.newaxis] for each in (felt.whole, felt.twist))

    breathing = breathing_of(
        (turns - begin) / cycle_turns, orders.size, running.breathing_percent, rng
    )
    pace = np.interp(times, grid, np.gradient(meant, grid))
    signal = swept_orders(turns, rpm, pace, orders, speeds, whole, breathing)
    turns_per_s = float((turns[-1] - turns[0]) / (times[-1] - times[0]))
    samples, rotation = picked_up(
        signal, times, turns,
        other_lines(engine, turns_per_s, 10 ** (gain_db / 20), sensor, rng),
        firing_hz=engine.firing_order_number * turns_per_s,
        rate=rate, gain=10 ** (gain_db / 20), sensor=sensor, specimen=specimen, rng=rng,
    )  # fmt: skip
    off = 1 + gauge_percent / 100 * rng.standard_normal()
    own = now.damped_modes
    truth = SweepTruth(
        time_s=times, turns=turns, rpm=rpm, orders=orders, speed_rpm=speeds,
        amplitude=whole @ rotation.T, twist=twist @ rotation.T,
        natural_frequencies_hz=own.frequency_hz, damping_ratios=own.damping_ratio,
    )  # fmt: skip
    blank = Recording(
        samples,
        times=None if sensor.kind == "sound" else times,
        sample_rate=rate if sensor.kind == "sound" else None,
        kind=sensor.kind,
        axes=None if sensor.kind == "sound" else ("x", "y", "z"),
        manner="run-up" if end_rpm > start_rpm else "coast-down",
        rpm=_shown(start_rpm * off),
        end_rpm=_shown(end_rpm * off),
    )
    return replace(blank, circumstances=Circumstances(damper_c=damper_c)), truth


def _as_it_is(engine: Engine, damper_c: float | None, change: Change) -> Crankshaft:
    """Return the crankshaft with its damper as warm and as aged as it is."""
    fresh = Crankshaft.of(engine)
    if fresh.viscous and (change.loss_factor != 1 or change.ring_slip):
        raise SimulateError(
            f"the damper of {engine.name!r} has a ring in fluid: no rubber of it can age; choose "
            f"another ageing, or correct damper.type"
        )
    if not fresh.viscous and change.viscous_factor != 1:
        raise SimulateError(
            f"the damper of {engine.name!r} has a ring on rubber: no fluid of it can age; choose "
            f"another ageing, or correct damper.type"
        )
    if damper_c is not None and not fresh.viscous:
        percent = engine.damper.stiffness_percent_per_c
        fresh = fresh.with_change(warmer(damper_c - REFERENCE_C, percent_per_c=percent))
    return fresh.with_change(change)


def swept_orders(
    turns: FloatArray,
    rpm: FloatArray,
    pace: FloatArray,
    orders: FloatArray,
    speeds: FloatArray,
    whole: ComplexArray,
    breathing: FloatArray,
) -> FloatArray:
    """Return the signal of all orders along the engine's axes, shape (n, axes); `pace` in rpm/s."""
    signal = np.zeros((turns.size, whole.shape[2]))
    lowest = np.exp(2j * np.pi * orders[0] * turns)  # all orders are multiples of the lowest
    spin = np.ones_like(lowest)
    bent = np.gradient(np.gradient(whole, speeds, axis=1), speeds, axis=1)
    per_rpm = 2 * np.pi / 60  # rad/s
    for order, level, curve, breath in zip(orders, whole, bent, breathing, strict=True):
        spin *= lowest
        for axis in range(signal.shape[1]):
            late = -0.5j * pace / (order * per_rpm) * np.interp(rpm, speeds, curve[:, axis])
            felt = np.interp(rpm, speeds, level[:, axis]) + late  # equation 1
            signal[:, axis] += wave(breath * spin * felt, np.ones(1, dtype=complex))[:, 0]
    return signal


def _shown(rpm: float) -> float:
    return max(_GAUGE_STEP_RPM, _GAUGE_STEP_RPM * round(rpm / _GAUGE_STEP_RPM))


def _check_sweep(
    start: float, end: float, seconds: float, rate: float, hold: float, share: float
) -> None:
    check_numbers(rpm=start, end_rpm=end, seconds=seconds, rate=rate)
    if abs(end - start) < 2 * _GAUGE_STEP_RPM:
        raise SimulateError(
            f"from {start:g} to {end:g} rpm is no sweep; let it end farther from its start"
        )
    if not 0 <= 2 * hold < seconds:
        raise SimulateError(
            f"two holds of {hold:g} s leave nothing of {seconds:g} s; sweep longer, or hold less"
        )
    if not 0 <= share < 1:
        raise SimulateError(
            f"the twist's share is {share:g}; a number from 0 up to, not including, 1 is needed"
        )
