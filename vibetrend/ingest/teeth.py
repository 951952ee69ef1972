"""The wheel behind a tacho: what is stated of its teeth, and whether the edges bear it out.

Each step from edge to edge is compared with its neighbours: 1 for the next tooth,
m + 1 where m teeth are missing. On a wheel that leaves `edges_per_turn` edges a turn, the steps
repeat after so many; where they stop doing so, an edge was lost or one too many.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from vibetrend.errors import ReadError
from vibetrend.ingest.tags import Stated
from vibetrend.recording import FloatArray

_SIDE = 5  # steps before, and as many after: two of them may be gaps or wrong
_MOST_TEETH = 2000
TOO_SHORT, TOO_LONG = 0.6, 1.5  # times the step expected: an edge too many, an edge lost
_MOST_GROUPS = 6
_SPAN_WITHIN = 0.15  # of a gap from turn to turn; those of one and two teeth differ by half


@dataclass(frozen=True)
class Wheel:
    """What passes the sensor in one turn of the crank."""

    teeth: float  # a turn, as if none were missing; 13.2 if geared so
    missing: tuple[int, ...] = ()  # in a row, in the order they come

    @property
    def edges_per_turn(self) -> float:
        """Edges of one slope in one turn of the crank."""
        return self.teeth - sum(self.missing)

    def __str__(self) -> str:
        return "-".join(f"{count:g}" for count in (self.teeth, *self.missing))


@dataclass(frozen=True, eq=False)
class Stretch:
    """Successive edges among which none is lost and none too many."""

    first: int  # edge
    last: int  # edge, included
    turns: float  # of the crank between them


def stated_wheel(wanted: Stated) -> Wheel | None:
    """Return the wheel that is stated by teeth, or by poles and pulley ratio; None if neither.

    Raises
    ------
    ReadError
        If both are, or what is stated is incomplete or no wheel.
    """
    if wanted.teeth is not None and (wanted.poles or wanted.pulley_ratio):
        raise ReadError("both teeth and an alternator are stated; give teeth, or poles and ratio")
    if wanted.poles is not None or wanted.pulley_ratio is not None:
        if wanted.poles is None or wanted.pulley_ratio is None:
            raise ReadError(
                "an alternator as tacho needs both poles and pulley_ratio (its turns per turn of "
                "the crank, e.g. 2.2); give the other one too"
            )
        return Wheel(wanted.poles / 2 * wanted.pulley_ratio)
    if wanted.teeth is None:
        return None
    text = wanted.teeth.replace(" ", "").replace("–", "-")
    if not re.fullmatch(r"\d{1,4}(\.\d{1,6})?|\d{1,4}(-\d{1,3}){1,6}", text):
        raise ReadError(
            f"teeth is {wanted.teeth[:40]!r}; write their number in a turn, with missing ones as "
            f"60-2 or 36-2-1, and 1 for a mark"
        )
    count, *missing = text.split("-")
    wheel = Wheel(float(count), tuple(int(group) for group in missing if int(group)))
    if not 0 < wheel.teeth <= _MOST_TEETH or wheel.edges_per_turn < 3 * len(wheel.missing):
        raise ReadError(
            f"teeth is {wanted.teeth[:40]!r}, no wheel that can be told by its gaps; write the "
            f"number of teeth in a turn, then how many are missing in each gap, e.g. 60-2"
        )
    return wheel


def ratios(edges: FloatArray) -> FloatArray:
    """Return each step between edges over what its neighbours make usual, shape (n - 1,).

    That is the mean of two medians, of the steps before and of those after, so that it follows a
    change of speed. The step itself is not in it: marks set unevenly must not pass for even ones.
    """
    steps = np.diff(edges)
    if len(steps) < 3:
        return np.ones(len(steps))
    if len(steps) <= 2 * _SIDE:
        usual = np.full(len(steps), np.median(steps))
    else:
        medians = median_filter(steps, size=_SIDE, mode="mirror")
        apart = _SIDE // 2 + 1
        before = np.concatenate([medians[apart : 2 * apart], medians[:-apart]])
        after = np.concatenate([medians[apart:], medians[-2 * apart : -apart]])
        usual = (before + after) / 2
    return steps / np.maximum(usual, np.finfo(float).tiny)


def clean_stretches(edges: FloatArray, wheel: Wheel) -> list[Stretch]:
    """Return the stretches of a turn or more that pass as this wheel, in their order."""
    pitches = _pitches(ratios(edges), wheel)
    if not wheel.missing:
        runs = _runs(pitches == 1)
    else:
        a_turn = int(wheel.edges_per_turn)
        runs = [
            (first, last + a_turn)
            for first, last in _runs(pitches[:-a_turn] == pitches[a_turn:])
            if _is_turn(pitches[first : first + a_turn], wheel)
        ]
    summed = np.concatenate([[0], np.cumsum(pitches)])
    found = [
        Stretch(first, last, float(summed[last] - summed[first]) / wheel.teeth)
        for first, last in runs
    ]
    return [stretch for stretch in found if stretch.turns >= 1]


def looks_like(edges: FloatArray) -> Wheel | None:
    """Return the wheel whose gaps show plainly in the edges; None if there are none."""
    steps = ratios(edges)
    gaps = np.flatnonzero(steps > TOO_LONG)
    apart, spans = np.diff(gaps), steps[gaps[1:]]
    for groups in range(1, _MOST_GROUPS + 1):
        if len(apart) < 2 * groups + 1:
            return None
        alike = (apart[groups:] == apart[:-groups]) & (
            np.abs(spans[groups:] / spans[:-groups] - 1) < _SPAN_WITHIN
        )
        if alike.mean() < 0.8:
            continue
        first, end = max(_runs(alike), key=lambda run: run[1] - run[0])
        usual = [float(np.median(spans[first + i : end + groups : groups])) for i in range(groups)]
        missing = [round(span) - 1 for span in usual]
        start = missing.index(max(missing))
        group = tuple(missing[start:] + missing[:start])
        wheel = Wheel(int(apart[first : first + groups].sum()) + sum(group), group)
        return wheel if wheel.edges_per_turn >= 3 * groups else None
    return None


def _pitches(step_ratios: FloatArray, wheel: Wheel) -> NDArray[np.int64]:
    """Return how many tooth pitches each step spans; 0 or -1 where it fits none.

    A lost tooth of a 60-2 wheel may pass as its gap here; it then comes out of place.
    """
    spans = np.array(sorted({1, *(count + 1 for count in wheel.missing)}))
    between = np.sqrt(spans[1:] * spans[:-1])  # even odds for a speed that changes
    pitches = spans[np.searchsorted(between, step_ratios)].astype(np.int64)
    pitches[step_ratios < TOO_SHORT] = 0
    pitches[step_ratios > TOO_LONG * spans[-1]] = -1
    return pitches


def _is_turn(pitches: NDArray[np.int64], wheel: Wheel) -> bool:
    gaps = tuple(int(count) - 1 for count in pitches[pitches > 1])
    turned = [wheel.missing[i:] + wheel.missing[:i] for i in range(len(wheel.missing))]
    return bool((pitches > 0).all()) and gaps in turned


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return first and end of each run of True."""
    bounds = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(bounds[::2], bounds[1::2], strict=True)]
