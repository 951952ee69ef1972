"""What must be said about a sweep: no engine, no sweep, both ways, too fast, too few samples."""

import numpy as np

from vibetrend.engine import Engine
from vibetrend.orders.signal import Signal
from vibetrend.recording import FloatArray, Note, Recording
from vibetrend.runup.curves import Curves
from vibetrend.runup.one_way import OneWay, worth_telling
from vibetrend.runup.order_curves import FEWEST_TURNS, SPAN
from vibetrend.runup.track import Track

LEAST_SWEEP = 0.10  # of log speed; no resonance is seen whole in less
_SHORT_SWEEP = 0.35
_TAG_SHARE = 0.10
_USUAL_RESONANCE_HZ = 141.0  # an example: an in-line six with a rubber damper
_HIGHEST_ORDER = 12.0
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


def shows_orders(curves: Curves) -> bool:
    """Say whether more of the curves stands out than noise alone would make."""
    told = np.isfinite(curves.amplitude)
    visible = curves.amplitude > 4 * curves.standard_error
    return bool(told.any() and visible[told].mean() > _CURVES_SHOWN)


def sweep_notes(recording: Recording, track: Track, part: OneWay) -> list[Note]:
    """Return doubts about how the speed went."""
    low, high = 60 * float(track.hertz.min()), 60 * float(track.hertz.max())
    if part.change < LEAST_SWEEP:
        return [
            Note(
                "no-sweep",
                "unusable",
                f"The speed only went from {low:.0f} to {high:.0f} rpm, which is no "
                f"{recording.manner}: leave --manner out, or record from idle to the highest speed "
                f"allowed without load.",
            )
        ]
    notes = []
    if worth_telling(part):
        notes.append(
            Note(
                "sweep-both-ways",
                "warning",
                f"The speed went both ways; {part.first_s:.1f} to {part.last_s:.1f} s, the longest "
                f"way {'up' if part.rises else 'down'}, count.",
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
    """Say where the sweep begins or ends elsewhere than stated."""
    off = [
        f"{word} at {found:.0f} rpm, stated were {stated:.0f}"
        for word, found, stated in (
            ("begins", start_rpm, recording.rpm),
            ("ends", end_rpm, recording.end_rpm),
        )
        if stated is not None and abs(found / stated - 1) > _TAG_SHARE
    ]
    if not off:
        return []
    return [
        Note(
            "tag-contradicted",
            "warning",
            f"The sweep {' and '.join(off)}: look at the rev counter, and state both ends.",
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


def fast_notes(span: FloatArray, turns: float, change: float) -> list[Note]:
    """Say what is lost where the speed changed so fast that a window covers much of it."""
    wide = float(np.median(span))
    if wide <= _FAST:
        return []
    each = turns / (100 * change)
    return [
        Note(
            "sweep-fast",
            "warning" if wide > _VERY_FAST else "note",
            f"The speed changed by 1 % in {each:.1f} turns, {FEWEST_TURNS / (100 * SPAN):.0f} or "
            f"more are needed: peaks narrower than {100 * wide:.0f} % of their speed come out "
            f"lower and wider. Take 45 s or more for the sweep.",
        )
    ]


def rate_notes(
    recording: Recording, signal: Signal, track: Track, engine: Engine | None
) -> list[Note]:
    """Say above which frequency nothing was sampled."""
    highest = float(track.hertz.max()) * _HIGHEST_ORDER
    seen = signal.nyquist_hz
    if seen >= highest:
        return []
    firing = 3.0 if engine is None else engine.firing_order_number
    blind = seen < _USUAL_RESONANCE_HZ or seen < firing * float(track.hertz.max())
    return [
        Note(
            "rate-too-low",
            "warning" if blind else "note",
            f"At {recording.mean_rate_hz:.0f} samples per second orders above {seen:.0f} Hz cannot "
            f"be seen; a crank resonance near {_USUAL_RESONANCE_HZ:.0f} Hz needs more than "
            f"{2 * _USUAL_RESONANCE_HZ:.0f} samples per second, one near 251 Hz more than 502. "
            f"Sound reaches them all.",
        )
    ]
