"""Edge times out of a tacho channel: a voltage, switched levels, or times alone.

What comes out misses no edge and holds none too many, so that the same tooth comes back after
the same number of edges: where that is not true throughout, the longest stretch where it is.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.ingest import teeth
from vibetrend.ingest.crossings import BEYOND_MEASURE, Changes, Levels, crossings
from vibetrend.ingest.pulses import is_pulse_train
from vibetrend.ingest.tags import Stated
from vibetrend.ingest.teeth import Stretch, Wheel
from vibetrend.recording import FloatArray, Note, Tacho

__all__ = ["is_pulse_train", "of_edges", "of_levels", "of_signal"]

_LONGEST_BOUNCE_S = 1e-4  # 118 teeth come as fast only at 5000 rpm
_SHORTEST_STEP_S = 1e-9
_FEWEST_TURNS = 2
_PLAUSIBLE_RPM = (20, 10_000)
_NEARLY_ALL, _LEAST_SHARE = 0.98, 0.1  # of the edges; with fewer sure ones it is no tacho
_MANY_GLITCHES, _TOO_MANY_GLITCHES = 0.01, 0.2  # of the edges: a warning; not glitches any more
_SHARES = (0.5, 0.2, 0.8, 0.06, 0.94)
"""Levels to try, from low to high. Half-way first; an amplifier that clips a pickup's signal
leaves the pickup's zero near one end, and a weak tooth beside a gap does not reach half-way."""


@dataclass(frozen=True, eq=False)
class _Edges:
    """The edges of one slope, glitches left out."""

    times: FloatArray
    slope: str  # "" where nobody said
    glitches: int


class _Fit:
    """What of some edges passes as a wheel."""

    def __init__(self, edges: _Edges, wheel: Wheel | None) -> None:
        self.edges = edges
        self.stretches = teeth.clean_stretches(edges.times, wheel) if wheel else []
        self.best = max(
            self.stretches, key=lambda stretch: stretch.turns, default=Stretch(0, 0, 0.0)
        )

    @property
    def kept(self) -> FloatArray:
        """The edges of the longest stretch."""
        return self.edges.times[self.best.first : self.best.last + 1]

    @property
    def share(self) -> float:
        """Of the edges, those in the longest stretch."""
        return len(self.kept) / len(self.edges.times)


def of_signal(
    time: FloatArray, values: FloatArray, wanted: Stated
) -> tuple[Tacho, tuple[Note, ...]]:
    """Find the edges of a sampled tacho signal, of any polarity, offset and amplitude.

    Parameters
    ----------
    time : array, shape (n,)
        Seconds, never decreasing.
    values : array, shape (n,)
        Voltage or pulses; samples that are no number are left out.

    Raises
    ------
    ReadError
        If there are no edges, teeth are not stated, or the edges are not those of the wheel
        stated.
    """
    time, values = _checked(time, values)
    levels = Levels(values)
    return _tacho((_both(crossings(time, levels, share)) for share in _SHARES), wanted)


def of_edges(edge_times: FloatArray, wanted: Stated) -> tuple[Tacho, tuple[Note, ...]]:
    """Take edge times, seconds, shape (n,), as they are but for glitches.

    Raises
    ------
    ReadError
        If they do not rise throughout, or as for :func:`of_signal`.
    """
    edges = np.asarray(edge_times, dtype=float)
    if edges.ndim != 1 or not (np.abs(edges) < BEYOND_MEASURE).all():
        raise ReadError("the tacho's edge times are not all numbers; leave such rows out")
    if (wrong := np.flatnonzero(np.diff(edges) < _SHORTEST_STEP_S)).size:
        row = int(wrong[0]) + 1
        said = "comes twice" if edges[row] >= edges[row - 1] else "lies before the one above it"
        raise ReadError(
            f"the tacho's edge time {edges[row]:g} s (number {row + 1}) {said}; edge times must "
            f"rise, so choose the column that holds them with tacho_column"
        )
    return _tacho([[_without_glitches(edges, "")]], wanted)


def of_levels(
    times: FloatArray, levels: FloatArray, wanted: Stated
) -> tuple[Tacho, tuple[Note, ...]]:
    """Find the edges in a table that has a row for each change of level.

    Parameters
    ----------
    times : array, shape (n,)
        Seconds, never decreasing.
    levels : array, shape (n,)
        Two values; they may repeat in rows that tell of another channel.

    Raises
    ------
    ReadError
        If there are not two levels, or as for :func:`of_signal`.
    """
    times, levels = _checked(times, levels)
    values = np.unique(levels)
    if len(values) != 2:
        raise ReadError(
            f"the tacho's column of levels holds {len(values)} different values, where a high and "
            f"a low one are needed; choose another column with tacho_column"
        )
    at = np.flatnonzero(np.diff(levels) != 0) + 1
    return _tacho([_both(Changes(times[at], levels[at] == values[1]))], wanted)


def _checked(time: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    time, values = np.asarray(time, dtype=float), np.asarray(values, dtype=float)
    if time.ndim != 1 or time.shape != values.shape:
        raise ReadError("the tacho's times and values are not equally many; copy the file again")
    present = (np.abs(time) < BEYOND_MEASURE) & (np.abs(values) < BEYOND_MEASURE)
    if not present.all():
        time, values = time[present], values[present]
    if len(time) < 4:
        raise ReadError(
            "the tacho's column holds fewer than 4 values; record a few turns at least, or choose "
            "another column with tacho_column"
        )
    if (np.diff(time) < 0).any() or not time[-1] > time[0]:
        raise ReadError("the tacho's times do not rise; sort the rows by time")
    return time, values


def _both(changes: Changes) -> list[_Edges]:
    kept = changes.without_bounces(_LONGEST_BOUNCE_S)
    bounced = (len(changes.times) - len(kept.times)) // 2
    return [
        _without_glitches(kept.times[kept.rising == rises], slope, bounced)
        for slope, rises in (("falling", False), ("rising", True))
    ]


def _without_glitches(edges: FloatArray, slope: str, bounced: int = 0) -> _Edges:
    """Leave out edges that stand where the steps around them leave no room for a tooth."""
    sure = edges
    for _ in range(5):  # a burst leaves some more to the next round
        ratios = teeth.ratios(sure)
        short = np.flatnonzero(ratios < teeth.TOO_SHORT)
        short = short[(short > 0) & (short < len(sure) - 2)]
        short = short[np.diff(short, prepend=-3) > 2]  # judged by steps that stay
        if not short.size:
            break
        usual = (sure[short + 1] - sure[short]) / ratios[short]
        before, left, right, after = (sure[short + i] for i in (-1, 0, 1, 2))
        without_left = _misfit((right - before) / usual) + _misfit((after - right) / usual)
        without_right = _misfit((left - before) / usual) + _misfit((after - left) / usual)
        sure = np.delete(sure, short + (without_right <= without_left))
    if len(edges) - len(sure) > _TOO_MANY_GLITCHES * len(edges):  # marks unevenly apart, perhaps
        sure = edges
    return _Edges(sure, slope, bounced + len(edges) - len(sure))


def _misfit(ratios: FloatArray) -> FloatArray:
    """Return how far steps are from whole numbers of tooth pitches."""
    misfit: FloatArray = np.abs(ratios - np.maximum(np.rint(ratios), 1))
    return misfit


def _tacho(readings: Iterable[list[_Edges]], wanted: Stated) -> tuple[Tacho, tuple[Note, ...]]:
    """Take that of several readings of a tacho which is the stated wheel for longest."""
    wheel = teeth.stated_wheel(wanted)
    fits: list[_Fit] = []
    for reading in readings:
        fits += [_Fit(edges, wheel) for edges in reading if len(edges.times) > _FEWEST_TURNS]
        if any(fit.share > _NEARLY_ALL for fit in fits):
            break
    if not fits:
        raise ReadError(
            "the tacho shows no more than 2 edges, too few for a speed; record longer, or choose "
            "another column with tacho_column"
        )
    if wheel is None:
        raise ReadError(_what_to_state(fits))
    longest = max(fit.best.turns for fit in fits)
    enough = max(0.98 * longest - 1, min(longest, _FEWEST_TURNS))  # one slope may have a turn less
    alike = [fit for fit in fits if fit.best.turns >= enough and fit.share >= _LEAST_SHARE]
    if longest < _FEWEST_TURNS - 1e-9 or not alike:
        raise ReadError(_does_not_fit(fits, wheel, longest))
    fit = min(alike, key=lambda fit: _unevenness(fit, wheel))
    kept = fit.kept.copy()
    kept.setflags(write=False)
    missing = wheel.missing[0] if len(wheel.missing) == 1 else wheel.missing or 0
    return Tacho(kept, wheel.teeth, missing), tuple(_notes(fit, wheel))


def _unevenness(fit: _Fit, wheel: Wheel) -> float:
    """Return how uneven the teeth seem against whole turns, rms, in parts of a tooth pitch.

    The speed within a turn is alike for both slopes; that of a slope which is less sure, or which
    gaps displace, comes on top. What differs from turn to turn counts once more.
    """
    turns = max(min(int(8 / wheel.edges_per_turn) + 1, int(fit.best.turns / 2)), 1)
    apart = max(round(turns * wheel.edges_per_turn), 1)
    edges = fit.kept
    turn = edges[apart:] - edges[:-apart]
    pitches = np.diff(edges)[: len(turn)] / turn * (apart + turns * sum(wheel.missing))
    own = pitches / np.maximum(np.rint(pitches), 1) - 1
    changed = pitches[apart:] - pitches[:-apart]
    return sum(float(np.sqrt(np.mean(part**2))) for part in (own, changed) if part.size)


def _likely_wheel(fits: list[_Fit]) -> Wheel | None:
    """Return the plainest wheel that the edges look like: weak teeth pass as missing ones."""
    found = [teeth.looks_like(fit.edges.times) for fit in fits]
    return min(
        (wheel for wheel in found if wheel),
        key=lambda wheel: (len(wheel.missing), sum(wheel.missing)),
        default=None,
    )


def _what_to_state(fits: list[_Fit]) -> str:
    likely = _likely_wheel(fits)
    hint = f"it looks like {likely}; if so give teeth {likely}" if likely else "give teeth"
    return (
        f"the tacho's teeth are not stated: {hint} (1 for a mark on the shaft, 118 for a ring "
        f"gear, 60-2 with missing teeth), or poles and pulley_ratio of an alternator"
    )


def _does_not_fit(fits: list[_Fit], wheel: Wheel, longest: float) -> str:
    likely = _likely_wheel(fits)
    if likely is not None and likely != wheel:
        return (
            f"the tacho's edges are not those of {wheel} teeth: they look like {likely}; if so "
            f"give teeth {likely}, else choose the column with tacho_column"
        )
    steps = [teeth.ratios(fit.edges.times) for fit in fits]
    odd, count = min(
        (int(((each < teeth.TOO_SHORT) | (each > teeth.TOO_LONG)).sum()), len(each))
        for each in steps
    )
    if not odd and wheel.missing:
        return (
            f"the tacho's edges come evenly, without the gaps of {wheel} teeth; if none is missing "
            f"give their number alone, else choose the column with tacho_column"
        )
    return (
        f"the tacho's edges pass as {wheel} teeth for {longest:.1f} turns on end at most: of "
        f"{count} steps {odd} are much shorter or longer than their neighbours; check teeth, "
        f"the sensor's gap and its cable, or record longer"
    )


def _notes(fit: _Fit, wheel: Wheel) -> Iterator[Note]:
    edges, best = fit.edges.times, fit.best
    first, last = edges[best.first], edges[best.last]
    turns, end = best.turns, best.last
    if wheel.edges_per_turn.is_integer():  # whole turns: teeth and gaps are not quite even
        turns = np.floor(turns + 1e-9)
        end = best.first + int(turns * wheel.edges_per_turn)
    rpm = 60 * turns / max(float(edges[end] - first), _SHORTEST_STEP_S)
    message = (
        f"tacho: {best.last - best.first + 1} {fit.edges.slope} edges, teeth {wheel}, "
        f"{best.turns:.1f} turns at {rpm:.1f} rpm on average"
    ).replace("  ", " ")
    low, high = _PLAUSIBLE_RPM
    if low <= rpm <= high:
        yield Note("tacho", "note", message)
    else:
        yield Note("tacho", "warning", f"{message}, hardly an engine's speed; check teeth")
    if fit.edges.glitches:
        many = fit.edges.glitches > _MANY_GLITCHES * len(edges)
        message = f"{fit.edges.glitches} glitches between the tacho's edges were left out"
        yield Note("tacho", "warning" if many else "note", message)
    if best.first > 0 or best.last < len(edges) - 1:
        ends = [stretch.last for stretch in fit.stretches if stretch.last < len(edges) - 1]
        places = [
            f"{edges[end]:.3f} s (turn {int(end / wheel.edges_per_turn) + 1})" for end in ends[:3]
        ]
        after = ", ".join(places) + (" ..." if len(ends) > 3 else "")
        place = f"after {after}" if ends else f"before {first:.3f} s"
        message = (
            f"an edge of the tacho was lost or one too many {place}; only the longest stretch "
            f"between such places serves as tacho, {first:.3f} to {last:.3f} s"
        )
        yield Note("tacho", "warning", message)
