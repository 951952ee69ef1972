"""A recording over time as a picture can hold it: least and largest value of many short pieces.

However long it is, no peak, gap or cut-off top is lost, as it would be if samples were left out.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.orders.level_checks import rails
from vibetrend.orders.scan import scan
from vibetrend.orders.stamp_checks import missing
from vibetrend.recording import FloatArray, Recording

_PIECES = 900
_SAMPLES_EACH = 4  # at least; with fewer, jitter alone would leave pieces empty


@dataclass(frozen=True, eq=False)
class Trace:
    """The values of a recording over time, seconds from its first sample."""

    edges_s: FloatArray  # (n + 1,) where the pieces begin and end
    low: FloatArray  # (axes, n) least value of each piece, NaN where nothing was sampled
    high: FloatArray  # (axes, n)
    axes: tuple[str, ...]
    unit: str
    gaps: tuple[tuple[float, float], ...]  # from, to: missing, or one value over and over
    cut: tuple[tuple[int, int, float], ...]  # axis, piece, value: cut off at a rail there

    @property
    def middles_s(self) -> FloatArray:
        """The middle of each piece, shape (n,)."""
        found: FloatArray = (self.edges_s[1:] + self.edges_s[:-1]) / 2
        return found


def trace(recording: Recording, *, faults: Iterable[str] = ()) -> Trace:
    """Return the envelope of a recording with samples, about 900 pieces of equal length.

    Parameters
    ----------
    recording : Recording
        With samples.
    faults : iterable of str
        The codes of its notes: gaps and cut-off tops are looked for where these tell of them.
    """
    samples = recording.samples
    assert samples is not None
    count = max(1, min(_PIECES, len(samples) // _SAMPLES_EACH))
    if recording.times is None:
        edges = np.linspace(0.0, recording.duration_s, count + 1)
        firsts = np.rint(edges * recording.mean_rate_hz).astype(np.intp)[:-1]
    else:
        since = recording.times - recording.times[0]
        edges = np.linspace(0.0, float(since[-1]), count + 1)
        firsts = np.searchsorted(since, edges[:-1])
    low, high = _extremes(samples, firsts)
    named = set(faults)
    cut = _cut(recording, firsts) if "clipped" in named else ()
    return Trace(
        edges_s=edges,
        low=low,
        high=high,
        axes=recording.axes,
        unit=recording.unit,
        gaps=_gaps(recording) if "gaps" in named else (),
        cut=cut,
    )


def _extremes(samples: FloatArray, firsts: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Return least and largest value of the rows from each of `firsts` to the next."""
    empty = np.diff(firsts, append=len(samples)) <= 0
    low, high = (np.empty((samples.shape[1], len(firsts))) for _ in range(2))
    for axis, values in enumerate(samples.T):
        column = np.ascontiguousarray(values)
        low[axis] = np.minimum.reduceat(column, firsts)
        high[axis] = np.maximum.reduceat(column, firsts)
    low[:, empty] = high[:, empty] = np.nan  # there it gives the row itself
    return low, high


def _gaps(recording: Recording) -> tuple[tuple[float, float], ...]:
    assert recording.samples is not None
    rate = recording.mean_rate_hz
    seen = scan(recording.samples, rate)
    time = recording.time_s()
    begins, lasted = time[seen.still_from], seen.still_s
    if recording.times is not None:
        lost_from, lost_s = missing(recording.times)
        begins, lasted = np.append(begins, lost_from), np.append(lasted, lost_s)
    order = np.argsort(begins)
    since = begins[order] - time[0]
    return tuple(zip(since.tolist(), (since + lasted[order]).tolist(), strict=True))


def _cut(recording: Recording, firsts: NDArray[np.intp]) -> tuple[tuple[int, int, float], ...]:
    samples = recording.samples
    assert samples is not None
    found = []
    for rail in rails(recording, samples, scan(samples, recording.mean_rate_hz)):
        rows = np.flatnonzero(samples[:, rail.axis] == rail.value)
        pieces = np.unique(np.searchsorted(firsts, rows, side="right") - 1)
        found += [(rail.axis, piece, rail.value) for piece in pieces.tolist()]
    return tuple(found)
