"""The speed through a sweep without a tacho: found, refined, held against its own orders."""

from dataclasses import dataclass

import numpy as np

from vibetrend.orders.signal import Signal
from vibetrend.runup.evidence import best_of
from vibetrend.runup.ratio import own_and_rivals, strengths
from vibetrend.runup.track import Track, track_through
from vibetrend.runup.tracking import Ends, coarse_track
from vibetrend.runup.tracking_fine import refined
from vibetrend.runup.tracking_short import FEW_TURNS, refined_short

_RUNNING = 22.0  # of the comb, over its noise; the likeliest track through noise has 10 to 15


@dataclass(frozen=True, eq=False)
class Found:
    """A track with what is known of it."""

    track: Track
    error: float = float("nan")  # standard error of the mean speed, share; NaN where not known
    rivals: tuple[float, ...] = ()  # ratios to it at which another speed would do nearly as well
    running: bool = True  # whether the orders of an engine stand out along it


def found_track(signal: Signal, ends: Ends) -> Found:
    """Return the likeliest track between the ends stated, or at one speed if it stood still."""
    coarse = coarse_track(signal, ends)
    if coarse.tracks[0].turns[-1] < FEW_TURNS:
        return Found(refined_short(signal, coarse.tracks[0], ends))
    found = [refined(signal, coarse, track) for track in coarse.tracks]
    still = _standing_still(signal, ends)
    tracks = [each.track for each in found]
    track = best_of(signal, tracks if still is None else [still, *tracks])
    if track is still:
        return Found(track)
    followed = next(each for each in found if each.track is track)
    own, rivals = own_and_rivals(track.turns_at(signal.time), signal.samples)
    error = float(np.sqrt(np.mean(followed.error**2) / max(1, len(followed.error) / 4)))
    plausible = tuple(ratio for ratio in rivals if _fits(ratio, track, ends))
    return Found(track, error, plausible, own > _RUNNING)


def _fits(ratio: float, track: Track, ends: Ends) -> bool:
    """Say whether a track so many times as fast keeps within what was stated."""
    return bool(ratio * track.hertz.min() > ends.low and ratio * track.hertz.max() < ends.high)


def _standing_still(signal: Signal, ends: Ends) -> Track | None:
    """Return the speed whose orders stand still in the clock, None if none stand out."""
    middle = float(np.sqrt(ends.low * ends.high))
    ratios, still = strengths(middle * signal.time, signal.samples)
    still[(ratios * middle < ends.low) | (ratios * middle > ends.high)] = -np.inf
    if still.max() < _RUNNING:
        return None
    hertz = middle * float(ratios[np.argmax(still)])
    return track_through(signal.time[[0, -1]], np.full(2, hertz))
