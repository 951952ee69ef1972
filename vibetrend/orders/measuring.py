"""Recording -> Measurement: the one function of this room."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders.amplitudes import COLUMNS, tables
from vibetrend.orders.checks import check
from vibetrend.orders.crank_speed import TOOTH_SPACING, crank_speed_orders
from vibetrend.orders.estimate import Driven, Estimate, followed
from vibetrend.orders.folding import aliased_notes
from vibetrend.orders.measurement import Measurement, Speed
from vibetrend.orders.motion import Reference
from vibetrend.orders.other_lines import generator_notes, other_line_notes
from vibetrend.orders.overall import COLUMNS as OVERALL_COLUMNS
from vibetrend.orders.overall import HIGHEST_HZ, overall
from vibetrend.orders.phase import Spline, phase_through
from vibetrend.orders.search import REACH
from vibetrend.orders.signal import HEARD_HZ, Signal, covered, middle, prepare, slowed
from vibetrend.orders.speed import HIGHEST_ORDER, likeliest, lines_of
from vibetrend.orders.steadiness import (
    not_running,
    only_whole_orders,
    speed_notes,
    spread_notes,
    spread_percent,
    tacho_notes,
    tag_notes,
)
from vibetrend.orders.teeth_track import TachoTrack, tacho_track
from vibetrend.recording import FloatArray, Note, Recording

_NO_SPEED = "no speed of the engine was found in the recording"
_LONGEST_SECONDS = 120.0  # the phase of more costs time and memory and tells little more
_FEWEST_TURNS = 8.0  # half orders need four of their own cycles to be told apart


def measure(recording: Recording, *, engine: Engine | None = None) -> Measurement:
    """Measure speed, orders and overall levels of a steady recording.

    The speed is that of the tacho where there is one, else it is found in the samples. Where there
    are tooth times and no samples, the orders are those of the crank's own speed, rad/s.

    Parameters
    ----------
    recording : Recording
        With an rpm tag, good to about 5 %, unless it holds a tacho or the engine states its fast
        idle.
    engine : Engine, optional
        Adds its firing order and the lines of its driven parts and belts.

    Returns
    -------
    Measurement
        Amplitudes are rms, all axes together, coherent over the recording, noise bias removed.

    Raises
    ------
    MeasureError
        If no speed is stated, the recording is too short for any order, or it is no steady one.
    """
    if recording.manner != "steady":
        raise MeasureError(
            f"a {recording.manner} has no steady speed; measure it as the sweep it is"
        )
    if recording.samples is None:
        return _of_teeth(recording)
    track = None if recording.tacho is None else tacho_track(recording.tacho)
    notes = list(recording.notes)
    tag = _stated_rpm(recording, engine, notes) if track is None else 60 * track.mean_hz()
    part, begins = recording, 0.0
    if track is not None:
        part, begins = covered(recording, float(track.time[0]), float(track.time[-1]))
    part, later = middle(part, seconds=_LONGEST_SECONDS)
    begins += later
    _refuse_what_is_too_short(part, tag)
    orders = lines_of(engine)
    driven = _driven(engine)
    top_hz = max([float(orders[-1]), *(ratio for _, ratio in driven)]) * (1 + REACH) * tag / 60
    slow = slowed(part, top_hz=max(HEARD_HZ, top_hz))
    notes += check(recording, slow=slow)
    notes += _shortened(recording, part)
    slow = slowed(slow, top_hz=max(HIGHEST_HZ, top_hz))
    levels = overall(slow)
    if track is None:
        found = _from_samples(part, slow, begins, tag, top_hz, orders, driven, engine)
    else:
        found = _from_tacho(part, slow, begins, track, top_hz, orders, driven, engine)
    del slow
    notes += found.notes
    running = found.speed.method != "tag"
    lines = tables(
        found.estimate,
        axes=recording.axes,
        kind=recording.kind,
        unit=recording.unit,
        reference=found.reference,
    )
    if running and track is None and not lines.orders["visible"].any():
        notes.append(not_running(tag))
        running = False
        found = replace(found, speed=_speed_as_stated(found.estimate.signal, tag, begins))
    if running:
        notes += aliased_notes(lines.orders, half_rate_hz=found.estimate.signal.nyquist_hz)
        notes += other_line_notes(lines.orders, lines.others)
        notes += generator_notes(lines.orders, engine)
    else:  # lines were fitted at a speed that means nothing
        lines = lines.hidden(_NO_SPEED)
    return Measurement(
        recording=recording,
        speed=found.speed,
        orders=lines.orders,
        driven=lines.driven,
        others=lines.others,
        phase_reference=lines.reference,
        overall=levels,
        quality=notes,
    )


@dataclass(frozen=True, eq=False)
class _Found:
    estimate: Estimate
    speed: Speed
    reference: Reference | None  # of phases
    notes: list[Note]


def _from_samples(
    part: Recording,
    slow: Recording,
    begins: float,
    tag: float,
    top_hz: float,
    orders: FloatArray,
    driven: Driven,
    engine: Engine | None,
) -> _Found:
    """Find the speed in the samples themselves, near the tag."""
    signal = prepare(slow, top_hz=top_hz)
    best, rivals = likeliest(signal, tag / 60, orders, driven)
    faster = 60 * best.phase.mean_hz() / tag
    if faster > 1 + REACH and signal.rate < 2 * signal.nyquist_hz:  # the resampler took its orders
        signal = prepare(slow, top_hz=top_hz * faster)
        best, rivals = likeliest(signal, faster * tag / 60, orders, driven)
    notes = speed_notes(part, best, rivals, tag_rpm=tag, engine=engine)
    if any(note.code == "engine-not-running" for note in notes):
        speed = _speed_as_stated(signal, tag, begins)
    else:
        if only_whole_orders(best, engine):
            rivals = [*rivals, 2 * best.phase.mean_hz()]
        speed = _speed(best, rivals, part.rpm, begins)
    return _Found(best, speed, None if engine is None else engine.firing_order_number, notes)


def _from_tacho(
    part: Recording,
    slow: Recording,
    begins: float,
    track: TachoTrack,
    top_hz: float,
    orders: FloatArray,
    driven: Driven,
    engine: Engine | None,
) -> _Found:
    """Take the crank's angle from the tacho."""
    assert part.tacho is not None
    signal = prepare(slow, top_hz=top_hz)
    spline = Spline(signal.time)
    phase = phase_through(spline, signal.time, track.turns(begins + signal.start_s + signal.time))
    estimate = followed(signal, phase, orders=orders, driven=driven)
    start = begins + signal.start_s
    speed = _speed_by(track, part.rpm, start, start + float(signal.time[-1]))
    # Turns are whole at one tooth, if its wheel turns with the crank.
    reference: Reference | None = "tacho"
    if not float(part.tacho.teeth_per_turn).is_integer():
        reference = None if engine is None else engine.firing_order_number
    return _Found(estimate, speed, reference, tacho_notes(part, estimate, speed, engine=engine))


def _of_teeth(recording: Recording) -> Measurement:
    """Measure the crank's own speed, order by order, where nothing but teeth was recorded."""
    assert recording.tacho is not None
    track = tacho_track(recording.tacho)
    orders = crank_speed_orders(recording.tacho, highest=HIGHEST_ORDER).reindex(columns=COLUMNS)
    speed = _speed_by(track, recording.rpm)
    whole = float(recording.tacho.teeth_per_turn).is_integer()
    return Measurement(
        recording=recording,
        speed=speed,
        orders=orders,
        driven=orders.iloc[:0].assign(name=[]),
        others=orders.iloc[:0].assign(name=[], follows=[]),
        overall=pd.DataFrame(columns=OVERALL_COLUMNS),
        quality=[
            *recording.notes,
            *spread_notes(speed.spread_percent),
            *tag_notes(speed.rpm, recording.rpm),
            *([TOOTH_SPACING] if whole else []),
        ],
    )


def _stated_rpm(recording: Recording, engine: Engine | None, notes: list[Note]) -> float:
    if recording.rpm is not None:
        return recording.rpm
    if engine is not None and engine.usual_rpm is not None:
        name = "fast idle" if engine.generator is None else "governed speed"
        notes.append(
            Note(
                "speed-assumed",
                "note",
                f"No rpm was stated; searched near the engine's {name} of "
                f"{engine.usual_rpm:.0f} rpm.",
            )
        )
        return engine.usual_rpm
    raise MeasureError("no speed is stated; add what the gauge showed with --rpm N, good to 5 %")


def _refuse_what_is_too_short(part: Recording, rpm: float) -> None:
    turns = part.duration_s * rpm / 60
    if turns < _FEWEST_TURNS:
        raise MeasureError(
            f"the recording is too short: {part.duration_s:.2g} s at {rpm:.0f} rpm are "
            f"{turns:.1f} turns, {_FEWEST_TURNS:.0f} are needed and 60 s are better"
        )


def _shortened(recording: Recording, part: Recording) -> list[Note]:
    if part.duration_s > 0.99 * recording.duration_s:
        return []
    where = "The middle" if recording.tacho is None else "Where the tacho covers it,"
    return [
        Note(
            "shortened",
            "note",
            f"{where} {part.duration_s:.0f} s of {recording.duration_s:.0f} s count.",
        )
    ]


def _driven(engine: Engine | None) -> Driven:
    """Return the driven parts' lines, and those of the belts whose length is known."""
    if engine is None:
        return ()
    return (*((part.name, part.ratio) for part in engine.driven), *engine.belt_lines)


def _speed_as_stated(signal: Signal, tag: float, begins: float) -> Speed:
    start = begins + signal.start_s
    ends = [start, start + signal.duration]
    return Speed(
        rpm=tag,
        standard_error_rpm=np.nan,
        spread_percent=np.nan,
        method="tag",
        tag_rpm=tag,
        candidates_rpm=[],
        track=pd.DataFrame({"time_s": ends, "rpm": [tag, tag]}),
    )


def _speed_by(
    track: TachoTrack, tag: float | None, start: float | None = None, end: float | None = None
) -> Speed:
    return Speed(
        rpm=60 * track.mean_hz(start, end),
        standard_error_rpm=60 * track.standard_error_hz(start, end),
        spread_percent=track.spread_percent(start, end),
        method="tacho",
        tag_rpm=tag,
        candidates_rpm=[],
        track=track.track(start, end),
    )


def _speed(best: Estimate, rivals: list[float], tag: float | None, begins: float) -> Speed:
    phase = best.phase
    error = np.hypot(phase.mean_standard_error_hz(), best.signal.rate_error * phase.mean_hz())
    edges = np.linspace(0.0, phase.spline.duration, max(3, int(10 * phase.spline.duration)))
    rpm = 60 * np.diff(phase.turns(edges)) / np.diff(edges)
    middles = begins + best.signal.start_s + (edges[1:] + edges[:-1]) / 2
    return Speed(
        rpm=60 * phase.mean_hz(),
        standard_error_rpm=float(60 * error),
        spread_percent=spread_percent(best),
        method="harmonics",
        tag_rpm=tag,
        candidates_rpm=[60 * hertz for hertz in rivals],
        track=pd.DataFrame({"time_s": middles, "rpm": rpm}),
    )
