"""Recording -> Measurement: the one function of this room."""

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders.amplitudes import driven_table, order_table
from vibetrend.orders.checks import check
from vibetrend.orders.estimate import Driven, Estimate, begun, settled, tried
from vibetrend.orders.measurement import Measurement, Speed
from vibetrend.orders.overall import overall
from vibetrend.orders.phase import Spline
from vibetrend.orders.search import REACH, candidates
from vibetrend.orders.signal import Signal, middle, prepare
from vibetrend.orders.steadiness import speed_notes, spread_percent
from vibetrend.recording import FloatArray, Note, Recording

HIGHEST_ORDER = 12.0
_HOPELESS = 1000.0  # log evidence by which a candidate may be behind after one round
_TAG_ERROR = 0.025  # standard deviation of a rev counter, share of the speed
_RIVAL = 12.0  # a speed whose log evidence is within this of the best could be the true one
_APART = 0.01  # speeds nearer than this share are the same answer
_NO_SPEED = "no speed of the engine was found in the recording"
_LONGEST_SECONDS = 120.0  # the phase of more costs time and memory and tells little more
_FEWEST_TURNS = 8.0  # half orders need four of their own cycles to be told apart


def measure(recording: Recording, *, engine: Engine | None = None) -> Measurement:
    """Measure speed, orders and overall levels of a steady recording.

    Parameters
    ----------
    recording : Recording
        With an rpm tag, good to about 5 %, unless the engine states its fast idle.
    engine : Engine, optional
        Adds its firing order and the lines of its driven parts.

    Returns
    -------
    Measurement
        Amplitudes are rms, all axes together, coherent over the recording, noise bias removed.

    Raises
    ------
    MeasureError
        If no speed is stated, or the recording has no samples or is too short for any order.
    """
    notes = list(recording.notes)
    tag = _stated_rpm(recording, engine, notes)
    _refuse_what_cannot_be_measured(recording, tag)
    notes += check(recording)
    whole, recording = recording, middle(recording, seconds=_LONGEST_SECONDS)
    if recording is not whole:
        notes.append(
            Note(
                "shortened",
                "note",
                f"The middle {recording.duration_s:.0f} s of {whole.duration_s:.0f} s count.",
            )
        )
    orders = _orders(engine)
    driven = () if engine is None else tuple((part.name, part.ratio) for part in engine.driven)
    top = max([float(orders[-1]), *(ratio for _, ratio in driven)])
    signal = prepare(recording, top_hz=top * (1 + REACH) * tag / 60)
    best, rivals = _best(signal, tag / 60, orders, driven)
    notes += speed_notes(recording, best, rivals, tag_rpm=tag, engine=engine)
    running = not any(note.code == "engine-not-running" for note in notes)
    axes, kind, unit = recording.axes, recording.kind, recording.unit
    tables = [make(best, axes=axes, kind=kind, unit=unit) for make in (order_table, driven_table)]
    if not running:  # lines were fitted at a speed that means nothing
        tables = [
            table.assign(visible=False, reason=table["reason"].mask(table["visible"], _NO_SPEED))
            for table in tables
        ]
    return Measurement(
        recording=whole,
        speed=_speed(best, rivals, recording.rpm) if running else _speed_as_stated(signal, tag),
        orders=tables[0],
        driven=tables[1],
        overall=overall(recording),
        quality=notes,
    )


def _stated_rpm(recording: Recording, engine: Engine | None, notes: list[Note]) -> float:
    if recording.rpm is not None:
        return recording.rpm
    if engine is not None and engine.fast_idle_rpm is not None:
        notes.append(
            Note(
                "speed-assumed",
                "note",
                f"No rpm was stated; searched near the engine's fast idle of "
                f"{engine.fast_idle_rpm:.0f} rpm.",
            )
        )
        return engine.fast_idle_rpm
    raise MeasureError("no speed is stated; add the rpm that the gauge showed, good to 5 %")


def _refuse_what_cannot_be_measured(recording: Recording, tag: float) -> None:
    if recording.samples is None:
        raise MeasureError("the recording holds tacho times only; samples are needed for orders")
    if recording.manner != "steady":
        raise MeasureError(
            f"a {recording.manner} cannot be measured as a steady recording; "
            f"only steady ones are measured by this version"
        )
    turns = recording.duration_s * tag / 60
    if turns < _FEWEST_TURNS:
        raise MeasureError(
            f"the recording is too short: {recording.duration_s:.2g} s at {tag:.0f} rpm are "
            f"{turns:.1f} turns, {_FEWEST_TURNS:.0f} are needed and 60 s are better"
        )


def _orders(engine: Engine | None) -> FloatArray:
    orders = np.arange(1, 2 * HIGHEST_ORDER + 1) / 2
    if engine is not None:
        orders = np.union1d(orders, [engine.firing_order_number])
    return orders


def _best(
    signal: Signal, tag_hz: float, orders: FloatArray, driven: Driven
) -> tuple[Estimate, list[float]]:
    """Return the estimate that explains most, and the speeds (Hz) of rivals near it."""
    ratios = np.array([ratio for _, ratio in driven])
    spline = Spline(signal.time)
    found = candidates(signal, tag_hz=tag_hz, orders=orders, driven=ratios)
    if not found:
        raise MeasureError(
            f"{2 * signal.nyquist_hz:.3g} samples per second cannot show any order at "
            f"{60 * tag_hz:.0f} rpm; record with a faster sensor or as sound"
        )
    starts = [begun(signal, spline, start, orders=orders) for start in found]
    weights = [start.evidence(tag_hz) for start in starts]
    trials = [
        (tried(start, steady=candidate.steady), candidate.steady)
        for start, candidate, weight in zip(starts, found, weights, strict=True)
        if weight > max(weights) - _HOPELESS
    ]
    evidence = [
        trial.evidence(tag_hz) - 0.5 * ((trial.phase.mean_hz() / tag_hz - 1) / _TAG_ERROR) ** 2
        for trial, _ in trials
    ]
    first = int(np.argmax(evidence))
    winner, steady = trials[first]
    best = settled(winner, steady=steady, driven=driven)
    mean = best.phase.mean_hz()
    rivals: list[float] = []
    for (trial, _), weight in zip(trials, evidence, strict=True):
        hertz = trial.phase.mean_hz()
        apart = all(abs(hertz / other - 1) > _APART for other in [mean, *rivals])
        if apart and weight > evidence[first] - _RIVAL:
            rivals.append(hertz)
    return best, rivals


def _speed_as_stated(signal: Signal, tag: float) -> Speed:
    ends = [signal.start_s, signal.start_s + signal.duration]
    return Speed(
        rpm=tag,
        standard_error_rpm=np.nan,
        spread_percent=np.nan,
        method="tag",
        tag_rpm=tag,
        candidates_rpm=[],
        track=pd.DataFrame({"time_s": ends, "rpm": [tag, tag]}),
    )


def _speed(best: Estimate, rivals: list[float], tag: float | None) -> Speed:
    phase = best.phase
    edges = np.linspace(0.0, phase.spline.duration, max(3, int(10 * phase.spline.duration)))
    rpm = 60 * np.diff(phase.turns(edges)) / np.diff(edges)
    middles = best.signal.start_s + (edges[1:] + edges[:-1]) / 2
    return Speed(
        rpm=60 * phase.mean_hz(),
        standard_error_rpm=60 * phase.mean_standard_error_hz(),
        spread_percent=spread_percent(best),
        method="harmonics",
        tag_rpm=tag,
        candidates_rpm=[60 * hertz for hertz in rivals],
        track=pd.DataFrame({"time_s": middles, "rpm": rpm}),
    )
