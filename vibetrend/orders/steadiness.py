"""What must be said about the speed: not steady, not the tag's, ambiguous, not running."""

import numpy as np

from vibetrend.engine import Engine
from vibetrend.orders.estimate import Estimate
from vibetrend.recording import Note, Recording

_UNSTEADY_PERCENT = 2.5  # standard deviation of the speed: no steady engine hunts so far
_RESTLESS_PERCENT = 1.2
_TAG_PERCENT = 5.5  # a gauge is good to a few per cent
_RUNNING = 30.0  # evidence of the strongest order that noise, searched through, never reaches
_ASTRAY = 0.4  # a stretch whose orders differ from the whole by this share is another engine state
_ASTRAY_SHARE = 0.1  # of the recording
_SHORT_SECONDS = 8.0
_SHORT_TURNS = 60.0
_FEWEST_TURNS = 30.0  # fewer cannot show whether the engine ran alike throughout
_ON_STEP = 0.02  # of a step between the half orders of a slower engine
_FEWEST_BETWEEN = 3
_FEWEST_WHOLE = 5
_FEW_CLEAR = 4  # orders: with more, strong lines beside them do not shake the speed
_MAINS_HZ = (50.0, 60.0)
_FOLDED_NAMED = 3


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
    clear = best.orders[best.strength[: len(best.orders)] > _RUNNING].tolist()
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
        notes.append(
            Note(
                "engine-not-running",
                "unusable",
                f"No engine order near {tag_rpm:.0f} rpm stands out of the noise: was the engine "
                f"running, at one steady speed, and is the rpm right?",
            )
        )
        return notes
    notes += _steady(best)
    rpm = 60 * best.phase.mean_hz()
    multiple = _multiple(best, tag_rpm)
    notes += multiple or _few_lines(best, engine)
    if not multiple and abs(rpm / tag_rpm - 1) * 100 > _TAG_PERCENT:
        notes.append(
            Note(
                "tag-contradicted",
                "warning",
                f"The recording says {rpm:.0f} rpm, the tag {tag_rpm:.0f} rpm: check the gauge or "
                f"the tag.",
            )
        )
    if rivals:
        speeds = ", ".join(f"{60 * hertz:.0f}" for hertz in rivals)
        notes.append(
            Note(
                "speed-ambiguous",
                "warning",
                f"{rpm:.0f} rpm explains the recording best, but {speeds} rpm almost as well: "
                f"compare with the rev counter.",
            )
        )
    notes += _mains(best)
    notes += _rate(recording, best, engine)
    return notes


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
    """Say what is the highest order that can be seen, and where those above it may turn up."""
    crank = best.phase.mean_hz()
    highest = int(2 * best.signal.nyquist_hz / crank) / 2
    if highest >= best.orders[-1]:
        return []
    firing = None if engine is None else engine.firing_order_number
    message = (
        f"At {recording.mean_rate_hz:.0f} samples per second and {60 * crank:.0f} rpm nothing "
        f"above order {highest:g} can be seen"
    )
    if firing is not None and highest < firing:
        message += f", not even the firing order {firing:g}"
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
        hertz = abs(order * crank - rate * round(order * crank / rate))
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
    spread = spread_percent(best)
    share, error = best.windows().coherence()
    astray = float(np.mean(np.abs(share - 1) > np.maximum(_ASTRAY, 4 * error)))
    if spread > _UNSTEADY_PERCENT:
        return [
            Note(
                "speed-not-steady",
                "unusable",
                f"The speed wandered by {spread:.1f} % (standard deviation): let the engine settle "
                f"and record again at one steady speed.",
            )
        ]
    if astray > _ASTRAY_SHARE:
        return [
            Note(
                "speed-not-steady",
                "unusable",
                f"The engine did not run alike throughout (its orders hold together in "
                f"{100 * (1 - astray):.0f} % of the recording): record again at one steady speed.",
            )
        ]
    if spread > _RESTLESS_PERCENT:
        return [
            Note(
                "speed-not-steady",
                "warning",
                f"The speed wandered by {spread:.1f} % (standard deviation): orders are tracked "
                f"through it, but let the engine settle and record again if you can.",
            )
        ]
    return []


def _multiple(best: Estimate, tag_rpm: float) -> list[Note]:
    """Tell a tag of two or three times the true speed by the lines left between half orders."""
    crank = best.phase.mean_hz()
    places = np.array([line.hertz(crank) / crank for line in best.others])
    for times in (2, 3):
        steps = 2 * times * places
        between = (np.abs(steps - np.round(steps)) < _ON_STEP) & (np.round(steps) % times != 0)
        if between.sum() >= _FEWEST_BETWEEN and between.mean() > 0.5:
            true = 60 * crank / times
            return [
                Note(
                    "tag-contradicted",
                    "unusable",
                    f"The lines fit {true:.0f} rpm, not the {tag_rpm:.0f} rpm stated: correct "
                    f"the rpm.",
                )
            ]
    return []


def _few_lines(best: Estimate, engine: Engine | None) -> list[Note]:
    """Name what a speed rests on when too few orders stand out to be sure of it."""
    rpm = 60 * best.phase.mean_hz()
    clear = best.orders[best.strength[: len(best.orders)] > _RUNNING]
    firing = None if engine is None else engine.firing_order_number
    if len(clear) == 1 and clear[0] != firing:
        doubt = f"only one line stands out, taken for order {clear[0]:g}"
    elif (
        engine is not None
        and engine.strokes == 4  # a two-stroke has no half orders
        and len(clear) >= _FEWEST_WHOLE
        and (clear % 1 == 0).all()
    ):
        doubt = f"only whole orders stand out, as if the engine ran at {2 * rpm:.0f} rpm"
    elif (
        len(clear) <= _FEW_CLEAR
        and _foreign_strength(best) > best.strength[: len(best.orders)].sum()
    ):
        doubt = "lines that are no order of it are stronger than its orders"
    else:
        return []
    message = f"The speed of {rpm:.0f} rpm is in doubt: {doubt}. Compare with the rev counter."
    return [Note("speed-ambiguous", "warning", message)]


def _foreign_strength(best: Estimate) -> float:
    """Return how far the lines of no known part stand above the noise together."""
    strengths = zip(best.others, best.strength[len(best.orders) :], strict=True)
    return sum(float(strength) for line, strength in strengths if not line.name)


def _on_mains(best: Estimate) -> dict[float, float]:
    """Return the mains frequency, Hz, of each order that lies on one or on a multiple of it."""
    crank, duration = best.phase.mean_hz(), best.phase.spline.duration
    found = {}
    for order in best.orders.tolist():
        for mains in _MAINS_HZ:
            multiple = max(1, round(order * crank / mains))
            if multiple <= 4 and abs(order * crank - multiple * mains) < 1.0 / duration:
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
