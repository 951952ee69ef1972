"""A sweep -> Measurement: the one function of this room."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders import Measurement
from vibetrend.orders.amplitudes import COLUMNS
from vibetrend.orders.checks import check
from vibetrend.orders.measurement import Speed, Swept
from vibetrend.orders.overall import COLUMNS as OVERALL_COLUMNS
from vibetrend.orders.overall import HIGHEST_HZ, overall
from vibetrend.orders.signal import HEARD_HZ, Signal, covered, prepare, slowed
from vibetrend.orders.speed import lines_of
from vibetrend.orders.teeth_track import tacho_track
from vibetrend.recording import FloatArray, Note, Recording
from vibetrend.runup.curves import Curves
from vibetrend.runup.doubts import (
    LEAST_SWEEP,
    fast_notes,
    lost_way,
    not_running,
    rate_notes,
    rated_notes,
    ratio_notes,
    shows_orders,
    sweep_notes,
    tag_notes,
)
from vibetrend.runup.evidence import best_of, loses_its_way
from vibetrend.runup.found_track import Found, found_track
from vibetrend.runup.one_way import OneWay, one_way
from vibetrend.runup.order_curves import Windows, counted_from_crest, curves, fitted, windows
from vibetrend.runup.resonances import resonances
from vibetrend.runup.stated import refuse_generator, stated_ends
from vibetrend.runup.steady_lines import clock_lines, followed_again, odd_ratios, without
from vibetrend.runup.teeth_curves import teeth_curves
from vibetrend.runup.track import Track, track_of_tacho
from vibetrend.runup.tracking import REACH, WIDER, Ends

Method = Literal["harmonics", "tacho"]

_LONGEST_S = 600.0
_FEWEST_TURNS = 16.0


def measure(
    recording: Recording, *, engine: Engine | None = None, baseline: Sequence[Measurement] = ()
) -> Measurement:
    """Measure speed, order curves and resonances of a sweep.

    The speed is that of the tacho where there is one, else it is found in the samples between the
    ends stated. Where there are tooth times and no samples, the curves are those of the crank's own
    speed, rad/s.

    Parameters
    ----------
    recording : Recording
        Manner "run-up" or "coast-down", 20 to 120 s long; `rpm` is where it begins, `end_rpm` where
        it ends, each good to 10 %, one of them enough where the engine is not known.
    engine : Engine, optional
        Adds its firing order, the lines of its driven parts, and what can excite its crankshaft.
    baseline : sequence of Measurement, optional
        Earlier sweeps, from which the resonances may have moved.

    Returns
    -------
    Measurement
        With `runup` and `resonances`; `orders`, `driven` and `others` are empty.

    Raises
    ------
    MeasureError
        If no speed is stated, the recording is too short or too long, the engine cannot sweep, or
        an earlier sweep is of another kind or unit.
    """
    refuse_generator(recording, engine)
    _refuse_another_kind(recording, [each.recording for each in baseline])
    if recording.duration_s > _LONGEST_S:
        raise MeasureError(
            f"the sweep is {recording.duration_s:.0f} s long, {_LONGEST_S:.0f} s at most are "
            f"measured; cut the recording to the sweep"
        )
    swept = (_of_teeth if recording.samples is None else _of_samples)(recording, engine)
    notes = swept.notes
    if swept.curves is None:
        table, resonances = pd.DataFrame(), pd.DataFrame()
    else:
        table = swept.curves.table()
        resonances, more = _resonances(swept.curves, recording, engine, baseline)
        notes = [*notes, *more]
    empty = pd.DataFrame(columns=COLUMNS)
    return Measurement(
        recording=recording,
        speed=swept.speed,
        orders=empty,
        driven=empty.assign(name=[]),
        others=empty.assign(name=[], follows=[]),
        overall=swept.overall,
        runup=table,
        resonances=resonances,
        phase_reference=swept.phase_reference,
        quality=notes,
    )


@dataclass(frozen=True, eq=False)
class _Swept:
    speed: Speed
    curves: Curves | None  # None where nothing of an engine was found, or no sweep
    overall: pd.DataFrame
    notes: list[Note]
    phase_reference: str | None = None


def _of_samples(recording: Recording, engine: Engine | None) -> _Swept:
    notes = list(recording.notes)
    tacho = None if recording.tacho is None else track_of_tacho(tacho_track(recording.tacho))
    part, begins = recording, 0.0
    if tacho is None:
        ends = stated_ends(recording, engine, notes)
        high = ends.high
    else:
        part, begins = covered(recording, float(tacho.time[0]), float(tacho.time[-1]))
        ends, high = None, float(tacho.hertz.max()) * (1 + REACH)
    orders = lines_of(engine)
    top_hz = float(orders[-1]) * high
    slow = slowed(part, top_hz=max(HEARD_HZ, top_hz))
    notes += check(recording, slow=slow)
    slow = slowed(slow, top_hz=max(HIGHEST_HZ, WIDER * top_hz))
    levels = overall(slow)
    signal = prepare(slow, top_hz=top_hz)
    begins += signal.start_s
    _refuse_what_is_too_short(signal, high / (1 + REACH))
    if tacho is None:
        assert ends is not None
        found, signal = _found(slow, signal, ends, top_hz=WIDER * top_hz)
    else:
        at = tacho.turns_at(begins + signal.time)
        found = Found(Track(signal.time, at, tacho.hertz_at(begins + signal.time)))
    track = found.track
    table = track.table(begins=begins)
    way = one_way(*_evenly(track), rises=recording.manner == "run-up")
    method: Method = "harmonics" if tacho is None else "tacho"
    speed = _speed(recording, track, table, found, method, way)
    start_rpm, end_rpm = _ends_rpm(track, way)
    made = None
    if way.change >= LEAST_SWEEP:
        made, places = _curves(signal, track, way, orders, engine, recording.unit)
        silent = any(note.code == "silent" for note in notes)
        seen = not silent and (ends is None or (found.running and shows_orders(made)))
        lost = tacho is None and loses_its_way(
            signal, track, first_s=way.first_s, last_s=way.last_s
        )
        if not seen or lost:
            if seen:
                notes.append(lost_way(start_rpm, end_rpm))
            elif ends is not None:
                notes.append(not_running((ends.low, ends.high)))
            notes += rate_notes(recording, signal, high / (1 + REACH), engine)
            return _Swept(_as_stated(recording, signal, begins), None, levels, notes)
        notes += sweep_notes(recording, track, way)
        turns = float(np.diff(track.turns_at(np.array([way.first_s, way.last_s])))[0])
        notes += fast_notes(recording.manner, places.span, turns, way.change)
        notes += ratio_notes(found.rivals, start_rpm, end_rpm)
    else:
        notes += sweep_notes(recording, track, way)
    made, more = _ends_checked(recording, engine, made, track, (start_rpm, end_rpm))
    notes += more
    notes += rate_notes(recording, signal, float(track.hertz.max()), engine)
    if made is None or recording.tacho is not None:
        return _Swept(speed, made, levels, notes, None if made is None else "tacho")
    firing = None if engine is None else engine.firing_order_number
    made, counted = counted_from_crest(made, firing)
    return _Swept(speed, made, levels, notes, f"order {counted:g}")


def _found(slow: Recording, signal: Signal, ends: Ends, *, top_hz: float) -> tuple[Found, Signal]:
    """Return the speed found, sought further out where it runs along a limit of what was stated."""
    found = found_track(signal, ends)
    if not ends.reached(found.track) and not loses_its_way(signal, found.track):
        return found, signal
    wide = prepare(slow, top_hz=top_hz)
    again = found_track(wide, ends.wider())
    best = best_of(wide, [again.track, found.track])
    return (found, signal) if best is found.track else (again, wide)


def _ends_checked(
    recording: Recording,
    engine: Engine | None,
    made: Curves | None,
    track: Track,
    ends_rpm: tuple[float, float],
) -> tuple[Curves | None, list[Note]]:
    """Return curves, None if the speed is far from what was stated, and doubts about it."""
    if made is None:
        return None, []
    notes = tag_notes(recording, *ends_rpm)
    if any(note.severity == "unusable" for note in notes):
        return None, notes
    return made, [*notes, *rated_notes(engine, 60 * float(track.hertz.max()))]


def _curves(
    signal: Signal,
    track: Track,
    way: OneWay,
    orders: FloatArray,
    engine: Engine | None,
    unit: str,
) -> tuple[Curves, Windows]:
    """Return the curves, lines that are no order taken out or fitted along."""
    theta = track.turns_at(signal.time)
    places = windows(track, first_s=way.first_s, last_s=way.last_s)
    hertz = places.speed_rpm / 60
    driven = np.array([] if engine is None else [part.ratio for part in engine.driven], float)
    hum = clock_lines(signal, track)
    clean = without(signal, hum)
    fit = fitted(clean, theta, places, orders=orders, ratios=driven, hertz=hertz)
    if hum:  # once more without what the orders took of it, and it of them
        alone = replace(signal, samples=signal.samples - fit.model(theta))
        clean = without(signal, followed_again(alone, track, hum))
        fit = fitted(clean, theta, places, orders=orders, ratios=driven, hertz=hertz)
    signal = clean
    inside = (signal.time >= way.first_s) & (signal.time <= way.last_s)
    left = signal.samples[inside] - fit.model(theta[inside])
    odd = [r for r in odd_ratios(theta[inside], left) if np.all(np.abs(driven - r) > 0.03 * r)]
    if odd:
        ratios = np.concatenate([driven, odd])
        fit = fitted(signal, theta, places, orders=orders, ratios=ratios, hertz=hertz)
    return curves(fit, signal, unit=unit, taken_out=[line.hertz for line in hum]), places


def _of_teeth(recording: Recording, engine: Engine | None) -> _Swept:
    """Measure the crank's own speed against speed, where nothing but teeth was recorded."""
    assert recording.tacho is not None
    track = track_of_tacho(tacho_track(recording.tacho))
    way = one_way(*_evenly(track), rises=recording.manner == "run-up")
    notes = [*recording.notes, *sweep_notes(recording, track, way)]
    speed = _speed(recording, track, track.table(), Found(track), "tacho", way)
    made = None
    if way.change >= LEAST_SWEEP:
        made, more = teeth_curves(recording.tacho, track, way)
        notes += more
    made, more = _ends_checked(recording, engine, made, track, _ends_rpm(track, way))
    notes += more
    return _Swept(speed, made, pd.DataFrame(columns=OVERALL_COLUMNS), notes, "tacho")


def _resonances(
    found: Curves,
    recording: Recording,
    engine: Engine | None,
    baseline: Sequence[Measurement],
) -> tuple[pd.DataFrame, list[Note]]:
    damper_c, baseline_damper_c = recording.circumstances.damper_c, _mean_damper_c(baseline)
    before = [each.runup for each in baseline]
    return resonances(
        found,
        engine=engine,
        baseline=before,
        damper_c=damper_c,
        baseline_damper_c=baseline_damper_c,
    )


def _refuse_another_kind(recording: Recording, before: Sequence[Recording]) -> None:
    for one in before:
        if (one.kind, one.unit) != (recording.kind, recording.unit):
            raise MeasureError(
                f"this sweep is {recording.kind} in {recording.unit}, the one to set it against "
                f"{one.kind} in {one.unit}; their peaks are not the same, so give one of the same "
                f"kind and unit"
            )


def _mean_damper_c(baseline: Sequence[Measurement]) -> float | None:
    known = [each.recording.circumstances.damper_c for each in baseline]
    told = [each for each in known if each is not None]
    return float(np.mean(told)) if told else None


def _ends_rpm(track: Track, way: OneWay) -> tuple[float, float]:
    return way.ends(track.time, 60 * track.hertz)


def _evenly(track: Track) -> tuple[FloatArray, FloatArray]:
    """Return the track at every turn or so: enough to see which way it goes."""
    count = max(20, int(track.turns[-1] - track.turns[0]))
    time = np.linspace(track.time[0], track.time[-1], count)
    return time, track.hertz_at(time)


def _refuse_what_is_too_short(signal: Signal, fastest_hz: float) -> None:
    turns = signal.duration * fastest_hz
    if turns < _FEWEST_TURNS:
        raise MeasureError(
            f"the sweep is too short: {signal.duration:.2g} s hold {turns:.0f} turns at most, "
            f"{_FEWEST_TURNS:.0f} are needed; record all of it, or a run-up of 45 s"
        )


def _speed(
    recording: Recording,
    track: Track,
    table: pd.DataFrame,
    found: Found,
    method: Method,
    way: OneWay,
) -> Speed:
    rpm = 60 * track.mean_hz()
    start_rpm, end_rpm = _ends_rpm(track, way)
    swept = Swept(start_rpm=start_rpm, end_rpm=end_rpm, seconds=way.last_s - way.first_s)
    return Speed(
        rpm=rpm,
        standard_error_rpm=found.error * rpm,
        spread_percent=float(100 * np.std(table["rpm"]) / np.mean(table["rpm"])),
        method=method,
        tag_rpm=recording.rpm,
        candidates_rpm=[ratio * rpm for ratio in found.rivals],
        track=table,
        swept=swept if way.change >= LEAST_SWEEP else None,
    )


def _as_stated(recording: Recording, signal: Signal, begins: float) -> Speed:
    ends = [recording.rpm, recording.end_rpm]
    known = [rpm for rpm in ends if rpm is not None]
    mean = float(np.mean(known)) if known else float("nan")
    track = [mean if rpm is None else rpm for rpm in ends]
    return Speed(
        rpm=mean,
        standard_error_rpm=float("nan"),
        spread_percent=float("nan"),
        method="tag",
        tag_rpm=recording.rpm,
        candidates_rpm=[],
        track=pd.DataFrame({"time_s": [begins, begins + signal.duration], "rpm": track}),
    )
