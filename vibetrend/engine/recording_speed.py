"""The speed to record at: clear of mains, and of what sampling folds.

An order on mains frequency cannot be told from hum, and one at half a device's sampling rate not
from itself folded back. So the firing order and its low multiples should keep 3 % away from both;
common practice, no published source. Twice that is better, since rev counters are read to a few
per cent.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from vibetrend.engine.description import Engine

LEAST_APART = 0.03
USUAL_RATES = (100.0, 200.0, 400.0, 500.0)  # samples per second of phones and cheap sensors

_MAINS_HZ = (50.0, 60.0)
_MAINS_MULTIPLES = (1, 2, 3, 4)
_FIRING_MULTIPLES = (1, 2, 3)
_ENOUGH_APART = 2 * LEAST_APART
_EXACTLY = 0.05  # %
_ROUNDING = 1e-9
_REACH = 0.2  # how far from fast idle a better speed is sought, share
_STEP_RPM = 10  # what a rev counter shows
_WORTH = 2.0  # being nearer than enough to a line costs so much more than leaving fast idle
_WEIGHT = {"mains": 2.0, "sampling": 1.0}


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """An order too near to a frequency at which it cannot be told apart."""

    order: float
    frequency_hz: float  # of the order
    what: Literal["mains", "sampling"]
    at_hz: float  # of what it is too near to
    source: float  # mains frequency, Hz, or samples per second
    apart_percent: float


@dataclass(frozen=True, kw_only=True)
class RecordingSpeed:
    """What speed to record at, and why."""

    rpm: float | None  # None where the file states no speed to begin from
    present_rpm: float | None  # the fast idle stated
    conflicts: tuple[Conflict, ...]  # at the present one
    remaining: tuple[Conflict, ...]  # at the one recommended
    governed: bool  # a generator set has one speed only


def recording_speed(engine: "Engine") -> RecordingSpeed:
    """Recommend a speed to record at.

    The fast idle itself if it is clear; else the best in 20 % around it, not below idle nor above
    the rated speed. A generator set's is its governed speed, whatever lies there.
    """
    present = engine.usual_rpm
    if present is None:
        return RecordingSpeed(
            rpm=None, present_rpm=None, conflicts=(), remaining=(), governed=False
        )
    now = conflicts(engine, present)
    best = present if engine.generator is not None or not now else _best(engine, present)
    return RecordingSpeed(
        rpm=best,
        present_rpm=present,
        conflicts=now,
        remaining=conflicts(engine, best),
        governed=engine.generator is not None,
    )


def conflicts(engine: "Engine", rpm: float) -> tuple[Conflict, ...]:
    """Return what is nearer than 3 % at a speed, the firing order first."""
    found = []
    for multiple in _FIRING_MULTIPLES:
        order = multiple * engine.firing_order_number
        hertz = order * rpm / 60
        for what, source, at in _LINES:
            apart = abs(hertz / at - 1)
            if apart < LEAST_APART - _ROUNDING:
                found.append(
                    Conflict(
                        order=order,
                        frequency_hz=hertz,
                        what=what,
                        at_hz=at,
                        source=source,
                        apart_percent=100 * apart,
                    )
                )
    return tuple(found)


def conflict_words(found: Iterable[Conflict]) -> list[str]:
    """Say each order's conflicts: ``order 3 is exactly 50.0 Hz: 50 Hz mains``."""
    of_order: dict[float, list[Conflict]] = {}
    for each in found:
        of_order.setdefault(each.order, []).append(each)
    said = []
    for order, those in of_order.items():
        exactly = all(each.apart_percent < _EXACTLY for each in those)
        near = "exactly " if exactly else ""
        what = ", ".join(_what(each, exactly=exactly) for each in those)
        said.append(f"order {order:g} is {near}{those[0].frequency_hz:.1f} Hz: {what}")
    return said


def _what(conflict: Conflict, *, exactly: bool) -> str:
    times = conflict.at_hz / conflict.source
    if conflict.what == "sampling":
        name = f"half of {conflict.source:g} samples per second"
    else:
        name = f"{conflict.source:g} Hz mains"
        name = name if times == 1 else f"{times:.0f} times {name}"
    return name if exactly else f"{conflict.apart_percent:.1f} % from {name}"


_LINES: tuple[tuple[Literal["mains", "sampling"], float, float], ...] = (
    *(("mains", hertz, hertz * times) for hertz in _MAINS_HZ for times in _MAINS_MULTIPLES),
    *(("sampling", rate, rate / 2) for rate in USUAL_RATES),
)


def _best(engine: "Engine", present: float) -> float:
    low = max(present * (1 - _REACH), engine.idle_rpm or 0.0)
    high = min(present * (1 + _REACH), engine.rated_rpm or float("inf"))
    steps = range(int(-(-low // _STEP_RPM)), int(high // _STEP_RPM) + 1)
    return min(
        (present, *(float(_STEP_RPM * step) for step in steps)),
        key=lambda rpm: (
            _severity(conflicts(engine, rpm), engine),
            round(_cost(engine, rpm, present), 6),
            -rpm,  # of two as good the faster: at a fast idle everything is stronger
        ),
    )


def _severity(found: Iterable[Conflict], engine: "Engine") -> float:
    """Weigh what is left: mains more than sampling, the firing order more than its multiples."""
    first = engine.firing_order_number
    return sum(_WEIGHT[each.what] / (each.order / first) for each in found)


def _cost(engine: "Engine", rpm: float, present: float) -> float:
    """Return how far a speed is from fast idle, and how much too near to a line."""
    nearest = min(
        abs(multiple * engine.firing_order_number * rpm / 60 / at - 1)
        for multiple in _FIRING_MULTIPLES
        for _, _, at in _LINES
    )
    return abs(rpm / present - 1) + _WORTH * max(0.0, _ENOUGH_APART - nearest)
