"""What must be said about the speed: not steady, not the tag's, ambiguous, not running."""

import numpy as np

from vibetrend.engine import Engine
from vibetrend.orders.estimate import Estimate
from vibetrend.orders.lines import MAINS_HZ
from vibetrend.orders.measurement import Speed
from vibetrend.orders.search import REACH
from vibetrend.orders.signal import fold
from vibetrend.recording import FloatArray, Note, Recording

_UNSTEADY_PERCENT = 2.5  # standard deviation of the speed: no steady engine hunts so far
_RESTLESS_PERCENT = 1.2
_TAG_SHARE = 0.055  # a gauge is good to a few per cent
_WINDOW_TURNS = 14.0
_ASTRAY = 0.4  # a stretch whose orders differ from the whole by this share is another engine state
_ASTRAY_SHARE = 0.1  # of the recording
_SHORT_SECONDS = 8.0
_SHORT_TURNS = 60.0
_FEWEST_TURNS = 30.0  # fewer cannot show whether the engine ran alike throughout
_FEWEST_WHOLE, _FEWEST_STRANGE = 5, 2
_HALF_SHOWS = 10.0  # strength of a half order that noise seldom reaches
_FEWEST_MULTIPLES = 3
_USUAL_FIRING = (1.5, 2.0, 3.0, 4.0)  # of three, four, six and eight cylinders; others are stated
_WHOLE = "only whole orders stand out, which is right for a two-stroke or a motor"
_FEW_CLEAR = 4  # orders: with more, strong lines beside them do not shake the speed
_FOLDED_NAMED = 3
_MAINS_WANDER, _MAINS_WIDEST = 0.03, 0.5  # Hz
_FIRING_SHARE = 0.3  # of the strongest order, that the firing order or a multiple should have
_LEAST_OFF, _MOST_OFF = 0.45, 2.6  # factors by which a rev counter may be misread


def speed_notes(
    recording: Recording,
    best: Estimate,
    rivals: list[float],
    *,
    tag_rpm: float,
    engine: Engine | None,
) -> list[Note]:
    """Return the doubts about speed and length of a steady recording."""
    notes = [*_length(best)]
    clear = best.orders[best.clear].tolist()
    if clear and set(clear) <= set(_on_mains(best)):
        return [
            *notes,
            Note(
                "engine-not-running",
                "unusable",
                "Only lines at mains frequency stand out, which is electrical hum: was the engine "
                "running? If so, record at a slightly different speed.",
            ),
        ]
    if not clear:
        return [*notes, not_running(tag_rpm)]
    notes += _steady(best)
    notes += tag_notes(60 * best.phase.mean_hz(), tag_rpm)
    notes += _in_doubt(best, rivals, engine)
    notes += _mains(best)
    notes += _rate(recording, best, engine)
    return notes


def not_running(tag_rpm: float) -> Note:
    """Say that nothing of an engine was found."""
    return Note(
        "engine-not-running",
        "unusable",
        f"No engine order near {tag_rpm:.0f} rpm stands out of the noise: was the engine "
        f"running, at one steady speed, and is the rpm right?",
    )


def tacho_notes(
    recording: Recording, best: Estimate, speed: Speed, *, engine: Engine | None
) -> list[Note]:
    """Return the doubts about a steady recording whose angle a tacho gave."""
    notes = [*_length(best), *_steady(best)]
    notes += tag_notes(speed.rpm, recording.rpm)
    if only_whole_orders(best, engine):
        doubt = f"{_WHOLE}; or the tacho has half the teeth stated"
        notes.append(
            Note("speed-ambiguous", "warning", f"{speed.rpm:.0f} rpm is in doubt: {doubt}.")
        )
    notes += _mains(best)
    notes += _rate(recording, best, engine)
    return notes


def tag_notes(rpm: float, tag_rpm: float | None) -> list[Note]:
    """Say that a speed found is not the one stated."""
    off = 0.0 if tag_rpm is None else abs(rpm / tag_rpm - 1)
    if off <= _TAG_SHARE:
        return []
    return [
        Note(
            "tag-contradicted",
            "unusable" if off > REACH else "warning",
            f"The recording says {rpm:.0f} rpm, the tag {tag_rpm:.0f} rpm: one of them is wrong. "
            f"Look at the rev counter, state its rpm, and measure again.",
        )
    ]


def spread_notes(percent: float) -> list[Note]:
    """Say that a speed wandered more than that of a steady engine."""
    if percent <= _RESTLESS_PERCENT:
        return []
    wandered = f"The speed wandered by {percent:.1f} % (standard deviation): "
    if percent > _UNSTEADY_PERCENT:
        doing = "let the engine settle and record again at one steady speed."
        return [Note("speed-not-steady", "unusable", wandered + doing)]
    doing = "orders are tracked through it, but let the engine settle and record again if you can."
    return [Note("speed-not-steady", "warning", wandered + doing)]


def spread_percent(best: Estimate) -> float:
    """Return the standard deviation of the speed over quarter seconds, % of the mean."""
    edges = np.linspace(0.0, best.phase.spline.duration, max(3, int(4 * best.signal.duration)))
    speeds = np.diff(best.phase.turns(edges)) / np.diff(edges)
    return float(100 * np.std(speeds) / np.mean(speeds))


def _length(best: Estimate) -> list[Note]:
    turns = float(best.theta[-1] - best.theta[0])
    if turns >= _SHORT_TURNS and best.signal.duration >= _SHORT_SECONDS:
        return []
    return [
        Note(
            "too-short",
            "warning" if turns >= _FEWEST_TURNS else "unusable",
            f"Only {best.signal.duration:.2g} s, {turns:.0f} turns: orders and their errors are "
            f"uncertain; record 60 s.",
        )
    ]


def _rate(recording: Recording, best: Estimate, engine: Engine | None) -> list[Note]:
    """Say what is the highest order below half the rate, and where those above may turn up."""
    crank = best.phase.mean_hz()
    highest = int(2 * best.signal.nyquist_hz / crank) / 2
    if highest >= best.orders[-1]:
        return []
    firing = None if engine is None else engine.firing_order_number
    message = (
        f"At {recording.mean_rate_hz:.0f} samples per second and {60 * crank:.0f} rpm orders above "
        f"{highest:g} lie beyond half the rate"
    )
    if firing is not None and highest < firing:
        message += f", the firing order {firing:g} among them"
    needed = 2 * (3 if firing is None else firing) * crank
    low = highest < (3 if firing is None else firing)
    if low:
        message += f"; take a sensor with more than {1.2 * needed:.0f} samples per second, or sound"
    message += "."
    if recording.kind != "sound" and (folded := _folded(recording, best, highest, firing)):
        message += f" A sensor that does not filter may fold down {'; '.join(folded)}."
    return [Note("rate-too-low", "warning" if low else "note", message)]


def _folded(
    recording: Recording, best: Estimate, highest: float, firing: float | None
) -> list[str]:
    """Name the orders above half the rate that matter most: the firing's, then the nearest."""
    crank, rate = best.phase.mean_hz(), recording.mean_rate_hz
    seen = best.orders[best.orders <= highest]
    found = []
    for order in best.orders[best.orders > highest].tolist():
        hertz = fold(order * crank, rate)
        near = float(seen[np.argmin(np.abs(seen * crank - hertz))]) if seen.size else None
        apart = np.inf if near is None else abs(near * crank - hertz)
        fires = firing is not None and order % firing == 0
        rank = (not fires, order if fires else apart)
        words = f"order {order:g} ({order * crank:.1f} Hz) onto {hertz:.1f} Hz"
        if near is not None:
            words += f", next to order {near:g} ({near * crank:.1f} Hz)"
        found.append((rank, words))
    return [words for _, words in sorted(found)[:_FOLDED_NAMED]]


def _steady(best: Estimate) -> list[Note]:
    notes = spread_notes(spread_percent(best))
    if any(note.severity == "unusable" for note in notes):
        return notes
    share, error = best.windows(turns=_WINDOW_TURNS).coherence()
    astray = float(np.mean(np.abs(share - 1) > np.maximum(_ASTRAY, 4 * error)))
    if astray <= _ASTRAY_SHARE:
        return notes
    return [
        Note(
            "speed-not-steady",
            "unusable",
            f"The engine did not run alike throughout (its orders hold together in "
            f"{100 * (1 - astray):.0f} % of the recording): record again at one steady speed.",
        )
    ]


def _in_doubt(best: Estimate, rivals: list[float], engine: Engine | None) -> list[Note]:
    """Name what a speed rests on when too few orders stand out to be sure of it."""
    rpm = 60 * best.phase.mean_hz()
    clear = best.orders[best.clear]
    firing = None if engine is None else engine.firing_order_number
    doubts = []
    if rivals:
        speeds = ", ".join(f"{60 * hertz:.0f}" for hertz in rivals)
        doubts.append(f"{speeds} rpm would explain the recording almost as well")
    if len(clear) == 1 and clear[0] != firing:
        doubts.append(f"only one line stands out, taken for order {clear[0]:g}")
    elif firing is not None and (stronger := _strange_firing(best, firing)) is not None:
        doubts.append(
            f"order {stronger:g} is far stronger than the firing order {firing:g}, as if the "
            f"engine ran at {stronger / firing * rpm:.0f} rpm"
        )
    elif only_whole_orders(best, engine):
        doubts.append(f"{_WHOLE}, as if the engine ran at {2 * rpm:.0f} rpm")
    elif (step := _odd_step(clear, firing)) is not None:
        doubts.append(f"only multiples of order {step:g} stand out")
    elif (
        len(clear) <= _FEW_CLEAR
        and _foreign_strength(best) > best.strength[: len(best.orders)].sum()
    ):
        doubts.append("lines that are no order of it are stronger than its orders")
    if not doubts:
        return []
    message = f"{rpm:.0f} rpm is in doubt: {'; '.join(doubts)}. Compare with the rev counter."
    return [Note("speed-ambiguous", "warning", message)]


def _strange_firing(best: Estimate, firing: float) -> float | None:
    """Return the order that looks like the firing order of an engine at another speed, if any.

    None where the firing order or a multiple of it is about as strong as the strongest.
    """
    size = np.linalg.norm(best.fit.amplitude[: len(best.orders)], axis=1)
    size[best.orders * best.phase.mean_hz() > best.signal.nyquist_hz] = 0
    strongest = float(best.orders[size.argmax()])
    weak = size[best.orders % firing == 0].max() < _FIRING_SHARE * size.max()
    return strongest if weak and _LEAST_OFF < strongest / firing < _MOST_OFF else None


def only_whole_orders(best: Estimate, engine: Engine | None) -> bool:
    """Say whether a four-stroke, which has half orders, shows none: it may run twice as fast."""
    if engine is not None and engine.strokes == 2:
        return False
    clear = best.orders[best.clear]
    # A four shows 2, 4, 6, ..., a six 3, 6, 9, ... and no more: nothing strange.
    strange = clear % (2 if engine is None else engine.firing_order_number) != 0
    halves = best.strength[: len(best.orders)][best.orders % 1 != 0]
    whole = bool(halves.max(initial=0) < _HALF_SHOWS)
    return whole and len(clear) >= _FEWEST_WHOLE and int(strange.sum()) >= _FEWEST_STRANGE


def _odd_step(clear: FloatArray, firing: float | None) -> float | None:
    """Return the order whose multiples alone stand out, if no engine known fires so."""
    if len(clear) < _FEWEST_MULTIPLES:
        return None
    step = float(np.gcd.reduce(np.round(2 * clear).astype(int))) / 2
    usual = _USUAL_FIRING if firing is None else (firing,)
    odd = step > 1 and all(step % each != 0 for each in usual)
    return step if odd else None


def _foreign_strength(best: Estimate) -> float:
    """Return how far the lines of no known part stand above the noise together."""
    strengths = zip(best.others, best.strength[len(best.orders) :], strict=True)
    return sum(float(strength) for line, strength in strengths if not line.name)


def _on_mains(best: Estimate) -> dict[float, float]:
    """Return the mains frequency, Hz, of each order that lies on one or on a multiple of it."""
    crank, duration = best.phase.mean_hz(), best.phase.spline.duration
    found = {}
    for order in best.orders.tolist():
        for mains in MAINS_HZ:
            multiple = max(1, round(order * crank / mains))
            apart = abs(order * crank - multiple * mains)
            near = max(multiple * _MAINS_WANDER, min(1.0 / duration, _MAINS_WIDEST))
            if multiple <= 4 and apart < near:
                found[order] = multiple * mains
    return found


def _mains(best: Estimate) -> list[Note]:
    """Name the orders that lie on mains frequency, where hum cannot be told from the engine."""
    named = [f"order {order:g} ({hertz:.0f} Hz)" for order, hertz in _on_mains(best).items()]
    if not named:
        return []
    return [
        Note(
            "mains",
            "note",
            f"On a mains frequency, where electrical hum cannot be told from the engine: "
            f"{', '.join(named)}. Shore power and charger off, or another speed, settle it.",
        )
    ]
