"""Doubts about levels: tops cut off or rounded, a zero that is off, wanders or jumps.

The limits are the project's own; the tests say how often good recordings reach them.
"""

from dataclasses import dataclass

import numpy as np

from vibetrend.orders.scan import BLOCK_S, Scan
from vibetrend.recording import FloatArray, Note, Recording

_CLIPPED_UNUSABLE = 1e-3  # share of samples at a rail
_CLIPPED_LEAST = 5  # samples; fewer pile up by chance
_CLIPPED_PILE = 4  # times the samples just below it; a coarse sine reaches 2.4
_HANDLING_S = 3.0  # at begin and end, when the sensor is put down and taken up
_ROUNDED = 0.975  # 95 % over 99.9 % quantile from the median; engines in 3000 draws below 0.960
_ONE_LINE = 0.9  # of the variance: a tone, whose tops are as flat by nature
_SUBSAMPLE = 20_000
_SIDE = 6  # blocks on each side of a jump: 3 s
_JUMP = 6.0  # times the usual difference between neighbouring stretches
_JUMP_LEAST = 0.15  # m/s^2: gravity moves so far when a phone tilts by 0.9 degrees
_JUMP_LEAST_RMS = 1.0  # of the rest of the signal, where there is no gravity
_WANDER = 4.0  # times the usual difference
_TRACE = 0.02  # of the rest of the signal: what a wandering zero may leave at the lowest order
_LOWEST_HZ = 5.0  # order 0.5 at a slow idle of 600 rpm
_OFFSET = 0.03  # of full scale


@dataclass(frozen=True)
class Rail:
    """An extreme of one axis at which samples pile up."""

    axis: int
    value: float
    count: int  # of samples at it
    inside: int  # of those that do not lie near begin or end


def clipped(recording: Recording, samples: FloatArray, seen: Scan) -> Note | None:
    """Find samples piled up at an extreme: many there, few just short of it.

    Natural signals thin out towards their extremes; a pure sine piles up the most, and rounded
    to coarse steps has 1 / (sqrt(2) - 1) = 2.4 times as many at its top step as on the next.
    """
    margin = int(_HANDLING_S * recording.mean_rate_hz)
    found = rails(recording, samples, seen)
    if not found:
        return None
    most = max(found, key=lambda rail: rail.count)
    worst = most.count / len(samples)
    message = (
        f"{100 * worst:.2g} % of the samples are cut off ({recording.axes[most.axis]} at "
        f"{most.value:.3g} {recording.unit})"
    )
    if most.inside < _CLIPPED_LEAST and len(samples) > 4 * margin:
        return Note(
            "clipped",
            "warning",
            f"{message}, only within {_HANDLING_S:.0f} s of begin or end, as when the sensor is "
            f"handled: start it first and then leave it alone.",
        )
    return Note(
        "clipped",
        "unusable" if worst > _CLIPPED_UNUSABLE else "warning",
        f"{message}: record again with less gain, a wider range or further away.",
    )


def rails(recording: Recording, samples: FloatArray, seen: Scan) -> list[Rail]:
    """Return the extremes at which samples of shape (n, axes) are cut off."""
    found = []
    margin = int(_HANDLING_S * recording.mean_rate_hz)
    for index in range(len(recording.axes)):
        near = 2e-3 * (seen.high[index] - seen.low[index])
        tops = [
            _pile(sign, samples[:, index], extremes[:, index], near, seen.block, margin)
            for sign, extremes in ((1, seen.highs), (-1, seen.lows))
        ]
        if sum(top[0] for top in tops) > 0.9 * len(samples):
            continue  # edges of a pulse sensor are at two levels by nature
        for (at_rail, below, inside), value in zip(
            tops, (seen.high[index], seen.low[index]), strict=True
        ):
            if at_rail >= _CLIPPED_LEAST and at_rail > _CLIPPED_PILE * below:
                found.append(Rail(index, float(value), at_rail, inside))
    return found


def _pile(
    sign: int, column: FloatArray, extremes: FloatArray, near: float, block: int, margin: int
) -> tuple[int, int, int]:
    """Return how many samples are at a rail, just below it, and at it but not near the ends.

    Only blocks whose extreme comes near the rail are looked at. Where the converter's steps are
    coarse, just below is the next step.
    """
    rail = (sign * extremes).max()
    at_rail, close, inside = 0, 0, 0
    for index in np.flatnonzero(sign * extremes > rail - near).tolist():
        height = sign * column[index * block :][:block]
        tall = np.flatnonzero(height > rail - near)
        places = tall[height[tall] == rail] + index * block
        at_rail += len(places)
        close += len(tall) - len(places)
        inside += int(((places >= margin) & (places < len(column) - margin)).sum())
    if at_rail >= _CLIPPED_LEAST and not close:
        close = _on_next_step(sign, column, rail, block)
    return at_rail, close, inside


def _on_next_step(sign: int, column: FloatArray, rail: float, block: int) -> int:
    step, count = -np.inf, 0
    for start in range(0, len(column), block):
        piece = column[start : start + block]
        below = sign * piece[piece != sign * rail]
        if below.size and below.max() > step:
            step, count = below.max(), 0
        count += int((below == step).sum())
    return count


def rounded(recording: Recording, samples: FloatArray) -> Note | None:
    """Find tops that are all equally high, though the signal is no pure tone.

    A saturated sensor or amplifier rounds its tops off at a level; the 95 % quantile then comes
    close to the 99.9 % quantile. Of natural signals only a sine comes near (0.988).
    """
    if recording.kind not in ("acceleration", "velocity", "sound"):
        return None  # a pulse or a pressure has levels that it returns to
    drawn = samples[:: max(1, len(samples) // _SUBSAMPLE)]
    least, low, middle, high, largest = np.quantile(drawn, [0.001, 0.05, 0.5, 0.95, 0.999], axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        flat = np.maximum((high - middle) / (largest - middle), (middle - low) / (middle - least))
    found = [
        axis
        for index, axis in enumerate(recording.axes)
        # an axis with few distinct values is coarse, not rounded
        if flat[index] > _ROUNDED
        and len(np.unique(drawn[:2000, index])) > 100
        and _share_of_one_line(samples[:32_768, index]) < _ONE_LINE
    ]
    if not found:
        return None
    return Note(
        "saturated",
        "warning",
        f"The tops of {', '.join(found)} are all rounded off at one level, as when a sensor or an "
        f"amplifier saturates: record again with less gain, a wider range or further away.",
    )


def _share_of_one_line(column: FloatArray) -> float:
    power = np.abs(np.fft.rfft((column - column.mean()) * np.hanning(len(column)))) ** 2
    top = int(np.argmax(power))
    return float(power[max(0, top - 3) : top + 4].sum() / power.sum())


def wandering(recording: Recording, seen: Scan) -> Note | None:
    """Find a running mean that jumps for good, jumps and comes back, or drifts."""
    if recording.kind == "sound":
        return None  # microphones pass no constant; wind and doors are looked for elsewhere
    means = seen.means
    if len(means) < 2 * _SIDE + 1:
        return None
    rest = float(np.linalg.norm(seen.rms))
    gravity = recording.kind == "acceleration" and means.shape[1] == 3
    least = _JUMP_LEAST if gravity else _JUMP_LEAST_RMS * rest
    windows = np.lib.stride_tricks.sliding_window_view(means, _SIDE, axis=0)
    levels = np.median(windows, axis=2)
    steps = np.linalg.norm(levels[_SIDE:] - levels[:-_SIDE], axis=1)
    usual = float(np.median(steps))
    limit = max(_JUMP * usual, least)
    jump = None
    if steps.max() > limit:
        jump = _jump(recording, means, int(np.argmax(steps)) + _SIDE, float(steps.max()), limit)
    return jump or _drift(recording, means, max(_WANDER * usual, least), rest)


def _jump(
    recording: Recording, means: FloatArray, place: int, size: float, limit: float
) -> Note | None:
    # Medians hide a jump by some blocks; the greatest step between two blocks is where it is.
    first = max(0, place - _SIDE // 2 - 1)
    around = np.linalg.norm(np.diff(means[first : place + _SIDE // 2 + 1], axis=0), axis=1)
    place = first + 1 + int(np.argmax(around))
    before, after = np.median(means[:place], axis=0), np.median(means[place:], axis=0)
    stays = float(np.linalg.norm(after - before))
    when = f"At about {place * BLOCK_S:.0f} s"
    if stays > max(0.5 * size, limit) and around.max() > 0.4 * size:
        return Note(
            "moved",
            "warning",
            f"{when} the mean jumped by {stays:.2g} {recording.unit}, as when the sensor slips or "
            f"turns: before and after are two placements; fasten it and record again.",
        )
    # Three axes with gravity are no piezo sensor: a wave or a touch moves their mean and passes.
    if stays < 0.5 * size and means.shape[1] != 3:
        return Note(
            "saturated",
            "warning",
            f"{when} the zero was off by {size:.2g} {recording.unit} and came back, as after an "
            f"overload: fasten the sensor and its cable, or take one with a wider range.",
        )
    return None


def _drift(recording: Recording, means: FloatArray, limit: float, rest: float) -> Note | None:
    fifth = max(_SIDE, len(means) // 5)
    change = float(
        np.linalg.norm(np.median(means[-fifth:], axis=0) - np.median(means[:fifth], axis=0))
    )
    if change <= limit:
        return None
    # A ramp D long T has lines of D / (pi f T), 0-to-peak, at its harmonics f.
    trace = change / (np.pi * _LOWEST_HZ * recording.duration_s)
    harmful = trace > _TRACE * rest
    return Note(
        "drift",
        "warning" if harmful else "note",
        f"The mean drifts by {change:.2g} {recording.unit} from begin to end; "
        + (
            "this reaches the lowest orders: let the sensor warm up and settle, then record again."
            if harmful
            else "so slowly that it does not reach the orders."
        ),
    )


def offset(recording: Recording, seen: Scan) -> Note | None:
    """Tell of a constant in sound, which takes away headroom and nothing else."""
    if recording.kind != "sound" or recording.unit != "1":
        return None
    alive = seen.low < seen.high
    mean = float(np.abs(np.median(seen.means, axis=0))[alive].max())
    if mean < _OFFSET:
        return None
    return Note(
        "offset",
        "note",
        f"The sound's zero is off by {100 * mean:.0f} % of full scale, which does not reach the "
        f"orders.",
    )
