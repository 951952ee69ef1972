"""What must be said about a sweep: no engine, no sweep, both ways, too fast, too few samples."""

import numpy as np

from vibetrend.engine import Engine
from vibetrend.orders.signal import Signal
from vibetrend.orders.speed import HIGHEST_ORDER
from vibetrend.recording import FloatArray, Note, Recording
from vibetrend.runup.curves import SPAN, Curves
from vibetrend.runup.one_way import OneWay, worth_telling
from vibetrend.runup.order_curves import FEWEST_TURNS
from vibetrend.runup.track import Track

LEAST_SWEEP = 0.10  # of log speed; no resonance is seen whole in less
_SHORT_SWEEP = 0.35
_TAG_SHARE, _TAG_REACH = 0.10, 0.20
_PAST_RATED = 0.02
_RESONANCES_HZ = (100.0, 300.0)  # first ones of crankshafts, about; common practice, no source
_BLIND_HZ = 150.0  # seeing no higher, few of them
_FAST, _VERY_FAST = 0.035, 0.06  # share of the speed that a window covers
_CURVES_SHOWN = 0.04  # of all values, visible: noise alone makes some 0.2 %


def not_running(ends: tuple[float, float]) -> Note:
    """Say that nothing of an engine was found."""
    return Note(
        "engine-not-running",
        "unusable",
        f"No engine order between {60 * ends[0]:.0f} and {60 * ends[1]:.0f} rpm stands out of the "
        f"noise: was the engine running, and do the speeds stated hold?",
    )


def lost_way(start_rpm: float, end_rpm: float) -> Note:
    """Say that the speed was lost in between."""
    return Note(
        "speed-lost",
        "unusable",
        f"The speed could not be followed: on the likeliest way, {start_rpm:.0f} to {end_rpm:.0f} "
        f"rpm, part of the recording shows no engine order. Was it one sweep between the speeds "
        f"stated? Sweep slowly and evenly, with more samples per second, or record sound.",
    )


def shows_orders(curves: Curves) -> bool:
    """Say whether more of the curves stands out than noise alone would make."""
    told = np.isfinite(curves.amplitude)
    visible = curves.amplitude > 4 * curves.standard_error
    return bool(told.any() and visible[told].mean() > _CURVES_SHOWN)


def sweep_notes(recording: Recording, track: Track, part: OneWay) -> list[Note]:
    """Return doubts about how the speed went."""
    if part.change < LEAST_SWEEP:
        low, high = 60 * float(track.hertz.min()), 60 * float(track.hertz.max())
        went = "hardly changed" if high - low < 1 else f"only went from {low:.0f} to {high:.0f} rpm"
        return [
            Note(
                "no-sweep",
                "unusable",
                f"The speed {went}, which is no {recording.manner}: leave --manner out, or record "
                f"from idle to the highest speed allowed without load.",
            )
        ]
    notes = []
    inside = (track.time >= part.first_s) & (track.time <= part.last_s)
    low, high = (60 * float(f(track.hertz[inside])) for f in (np.min, np.max))
    if worth_telling(part):
        notes.append(
            Note(
                "sweep-both-ways",
                "warning",
                f"The speed went both ways; {part.first_s:.1f} to {part.last_s:.1f} s, the longest "
                f"way {'up' if part.rises else 'down'}, count: {low:.0f} to {high:.0f} rpm.",
            )
        )
    if part.rises != (recording.manner == "run-up"):
        notes.append(
            Note(
                "sweep-other-way",
                "warning",
                f"The speed {'rises' if part.rises else 'falls'}: this is a "
                f"{'run-up' if part.rises else 'coast-down'}, stated was a {recording.manner}; "
                f"state the right --manner, for the two are not compared.",
            )
        )
    if part.change < _SHORT_SWEEP:
        notes.append(
            Note(
                "sweep-short",
                "note",
                f"The sweep covers {low:.0f} to {high:.0f} rpm only; what resonates outside it is "
                f"not seen.",
            )
        )
    return notes


def tag_notes(recording: Recording, start_rpm: float, end_rpm: float) -> list[Note]:
    """Say where the sweep begins or ends elsewhere than stated.

    One that goes the other way than stated (which is said elsewhere) ends where it should begin.
    """
    stated = [recording.rpm, recording.end_rpm]
    if (end_rpm > start_rpm) != (recording.manner == "run-up"):
        stated.reverse()
    off = [
        (f"{word} at {found:.0f} rpm, stated were {each:.0f}", abs(found / each - 1))
        for word, found, each in zip(("begins", "ends"), (start_rpm, end_rpm), stated, strict=True)
        if each is not None and abs(found / each - 1) > _TAG_SHARE
    ]
    if not off:
        return []
    said = f"The sweep {' and '.join(words for words, _ in off)}"
    if max(share for _, share in off) > _TAG_REACH:
        said += (
            ": its speed was not found, or another was stated. Look at the rev counter, and "
            "measure again with both ends."
        )
        return [Note("tag-contradicted", "unusable", said)]
    said += ": look at the rev counter, and state both ends."
    return [Note("tag-contradicted", "warning", said)]


def rated_notes(engine: Engine | None, fastest_rpm: float) -> list[Note]:
    """Say that a sweep went beyond what the engine may turn."""
    rated = None if engine is None else engine.rated_rpm
    if rated is None or fastest_rpm <= rated * (1 + _PAST_RATED):
        return []
    return [
        Note(
            "past-rated",
            "warning",
            f"The sweep reached {fastest_rpm:.0f} rpm, beyond the rated {rated:.0f} rpm of the "
            f"engine file: never sweep past rated speed.",
        )
    ]


def ratio_notes(ratios: tuple[float, ...], start_rpm: float, end_rpm: float) -> list[Note]:
    """Say at which other speeds the recording could be explained as well."""
    if not ratios:
        return []
    others = ", ".join(f"{each * start_rpm:.0f} to {each * end_rpm:.0f}" for each in ratios)
    return [
        Note(
            "speed-ambiguous",
            "warning",
            f"{start_rpm:.0f} to {end_rpm:.0f} rpm is in doubt: {others} rpm would explain the "
            f"recording almost as well. Compare with the rev counter.",
        )
    ]


def fast_notes(manner: str, span: FloatArray, turns: float, change: float) -> list[Note]:
    """Say what is lost where the speed changed so fast that a window covers much of it."""
    wide = float(np.median(span))
    if wide <= _FAST:
        return []
    each = turns / (100 * change)
    advice = "Take 45 s or more for the sweep."
    if manner == "coast-down":
        advice = "An engine that is switched off takes no longer: a run-up of 45 s shows them."
    return [
        Note(
            "sweep-fast",
            "warning" if wide > _VERY_FAST else "note",
            f"The speed changed by 1 % in {each:.1f} turns, {FEWEST_TURNS / (100 * SPAN):.0f} or "
            f"more are needed: peaks narrower than {100 * wide:.0f} % of their speed come out "
            f"lower and wider. {advice}",
        )
    ]


def rate_notes(
    recording: Recording, signal: Signal, fastest_hz: float, engine: Engine | None
) -> list[Note]:
    """Say above which frequency nothing was sampled, and what is hidden there."""
    seen = signal.nyquist_hz
    if seen >= fastest_hz * HIGHEST_ORDER:
        return []
    blind = seen < _BLIND_HZ
    if engine is not None:
        blind |= seen < engine.firing_order_number * fastest_hz
    low, high = _RESONANCES_HZ
    hidden = (
        f"The first resonance of a crankshaft often lies between {low:.0f} and {high:.0f} Hz "
        f"(vibetrend crankshaft engine.toml says where). "
        if seen < high
        else ""
    )
    return [
        Note(
            "rate-too-low",
            "warning" if blind else "note",
            f"At {recording.mean_rate_hz:.0f} samples per second nothing above {seen:.0f} Hz can "
            f"be seen. {hidden}More samples per second, or sound, reach higher.",
        )
    ]
