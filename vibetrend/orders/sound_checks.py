"""Doubts about sound: processed by the recorder, wind on the microphone, voices nearby.

An engine at one speed sounds alike all the time: whatever makes most of the bands rise and fall
together is the recorder's doing, whatever thins noise out below its own statistics is a
suppressor. All is suspicion from levels over time and frequency; the limits are the project's own,
set between sound of known truth with and without each fault (tests/orders/test_sound_checks.py).
An automatic gain that has settled leaves no trace in the sound of a steady engine.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibetrend.recording import FloatArray, Note

Samples = NDArray[np.float32]

LONGEST_S = 120.0  # the middle of a longer recording, which is what is measured
_SHORTEST_S = 5.0
_RUMBLE_S, _BAND_S, _SYLLABLE_S = 0.68, 0.17, 0.021  # frames; each for what its name says
_BATCH = 1 << 17  # samples transformed at a time
_LEAST_POWER = 1e-30

_LOWEST_BAND_HZ, _HIGHEST_BAND_HZ, _BANDS_PER_OCTAVE = 63.0, 4000.0, 2
_FEWEST_BANDS = 5
_SHARED = 0.25  # of the bands may do otherwise
_GAIN_DB = 1.5  # steady engines stay within 1.2
_START_S = 1.4

_EMPTY_DB = -10.0  # of 25 to 80 Hz against 300 to 800 Hz; rolled-off microphones stay above +4
_NOTHING_DB = -130.0  # of full scale in 1 Hz: near the rounding of 16 bit
_THINNED_DB = 7.3  # 95 % quantile of noise over its median; exponential 6.4, AAC at 48 kbit/s 7.1
_THINNED_FRAMES = 700
_BESIDE = 8  # bins on each side that show how loud a frame is

_GATED_DB = 40.0  # below the loud part; an engine's quietest fiftieth of a second is 20
_GATED_SHARE = 0.01

_RUMBLE_DB = 8.0  # of 6 to 20 Hz against 80 to 200 Hz
_GUST_DB = 1.7  # standard deviation of 5 to 40 Hz from frame to frame; engines below 1.3
_TEN_TO_NINETY = 2.563  # standard deviations of a normal distribution between those quantiles

_VOICE_BANDS_HZ = (300, 500, 800, 1300, 2000, 3300)
_SYLLABLES_HZ, _BEYOND_HZ = (2.0, 8.0), (12.0, 20.0)
_VOICE_SECONDS = 4.0
_VOICE_DEPTH = 0.25  # rms modulation by syllables in most bands
_VOICE_FALL = 4.0  # how much stronger than faster modulation
_VOICE_SWELLS = 6  # in such a stretch; a knock on a hatch is one
_SWELL, _SWELL_OF_LOUDEST = 1.25, 0.2
_VOICE_SHARE, _VOICE_LEAST = 0.15, 3  # of the stretches, which overlap by half


@dataclass(frozen=True, eq=False)
class _Frames:
    """Power spectra of frames one after the other, a batch at a time."""

    column: Samples  # (n,), without its mean
    rate: float
    length: int  # samples in a frame
    top_hz: float  # of the bins wanted

    @property
    def seconds(self) -> float:
        """Length of a frame."""
        return self.length / self.rate

    @property
    def hertz(self) -> FloatArray:
        """Frequency of each bin."""
        step, top = self.rate / self.length, min(self.top_hz, self.rate / 2)
        hertz: FloatArray = np.arange(0, top + step / 2, step)
        return hertz

    def __iter__(self) -> Iterator[Samples]:
        """Yield power densities, shape (frames, bins), Hann window."""
        count = len(self.hertz)
        window = np.hanning(self.length).astype(np.float32)
        scale = 2 / (window @ window) / self.rate
        whole = self.column[: len(self.column) // self.length * self.length]
        rows = max(1, _BATCH // self.length) * self.length
        for start in range(0, len(whole), rows):
            frames = whole[start : start + rows].reshape(-1, self.length)
            # scipy's transforms several at a time, numpy's does not
            spectrum = scipy.fft.rfft(frames * window)[:, :count]
            yield (spectrum.real**2 + spectrum.imag**2) * scale


def sound_notes(samples: FloatArray, rate: float) -> list[Note]:
    """Return doubts about sound: codes ``processed-sound``, ``wind``, ``speech``.

    Parameters
    ----------
    samples : array, shape (n, channels)
        The loudest channel counts.
    rate : float
        Samples per second.
    """
    column = _loudest(samples, rate)
    if len(column) < _SHORTEST_S * rate or rate < 1000:
        return []
    low = _low(_frames(column, rate, _RUMBLE_S, 800.0))
    moves = _moves(column, rate)
    short = _frames(column, rate, _SYLLABLE_S, _HIGHEST_BAND_HZ)
    envelopes, fine = _envelopes_and_bins(short)
    gated = _gated(envelopes)
    speech = None if gated else _speech(envelopes, short.seconds)
    # A voice thins noise out, a suppressor makes gusts, gusts move bands: only the cause is said.
    thinned = None if speech else _thinned(fine)
    windy = None if thinned else _wind(low, moves)
    gain = None if windy or speech else _gain(moves)
    found = (windy, speech, gated or gain or thinned or _emptied(low))
    return [note for note in found if note is not None]


def _frames(column: Samples, rate: float, seconds: float, top_hz: float) -> _Frames:
    return _Frames(column, rate, 1 << round(float(np.log2(seconds * rate))), top_hz)


def _loudest(samples: FloatArray, rate: float) -> Samples:
    count = min(len(samples), int(LONGEST_S * rate))
    first = (len(samples) - count) // 2
    middle = samples[first : first + count]
    loudest = int(np.argmax(middle[:: 1 + count // 10_000].std(axis=0)))
    column = middle[:, loudest].astype(np.float32)  # which is enough, and faster
    column -= column.mean()  # a constant would leak into the lowest bins
    return column


@dataclass(frozen=True, eq=False)
class _Low:
    """Power densities below 800 Hz."""

    rumble: FloatArray  # (frames,) mean of 5 to 40 Hz
    typical_db: FloatArray  # (bins,) median over time
    hertz: FloatArray  # (bins,)

    def between(self, low: float, high: float) -> float:
        """Return the typical density between two frequencies: lines hardly count, dB."""
        return float(np.median(self.typical_db[(self.hertz >= low) & (self.hertz < high)]))


def _low(frames: _Frames) -> _Low:
    hertz = frames.hertz
    power = np.concatenate(list(frames))
    rumble = power[:, (hertz >= 5) & (hertz < 40)].mean(axis=1)
    return _Low(rumble, _db(np.median(power, axis=0)), hertz)


def _moves(column: Samples, rate: float) -> FloatArray:
    """Return how far each half octave is from its usual level, (frames, bands) dB.

    Each frame is joined by the one half a frame later, so that the beat of two orders counts alike
    whenever it comes.
    """
    frames = _frames(column, rate, _BAND_S, _HIGHEST_BAND_HZ * 1.01)
    edges = _LOWEST_BAND_HZ * 2 ** (np.arange(20) / _BANDS_PER_OCTAVE)
    top = min(0.4 * rate, 1.01 * _HIGHEST_BAND_HZ)
    bins = np.searchsorted(frames.hertz, edges[edges < top])
    first, second = (
        np.concatenate([np.add.reduceat(power[:, : bins[-1]], bins[:-1], axis=1) for power in each])
        for each in (frames, replace(frames, column=column[frames.length // 2 :]))
    )
    levels = _db(first[: len(second)] + second[: len(first)])
    return levels - np.median(levels, axis=0)


def _envelopes_and_bins(frames: _Frames) -> tuple[FloatArray, FloatArray]:
    """Return amplitudes of voice bands, (bands, frames), and levels of bins, (frames, bins) dB."""
    hertz = frames.hertz
    edges = np.array(_VOICE_BANDS_HZ)
    bins = np.searchsorted(hertz, edges[edges < 0.45 * frames.rate])
    fine = (hertz >= 500) & (hertz < min(4000.0, 0.4 * frames.rate))
    every = 1 + len(frames.column) // frames.length // _THINNED_FRAMES
    envelopes, levels, seen = [], [], 0
    for power in frames:
        envelopes.append(np.add.reduceat(power[:, : bins[-1]], bins[:-1], axis=1))
        levels.append(_db(power[-seen % every :: every, fine]).astype(np.float32))
        seen += len(power)
    return np.sqrt(np.concatenate(envelopes)).T, np.concatenate(levels)


def _db(power: NDArray[np.floating]) -> FloatArray:
    level: FloatArray = 10 * np.log10(np.maximum(power, _LEAST_POWER))
    return level


def _gain(moves: FloatArray) -> Note | None:
    """Find what nearly all bands do together: an engine's bands flutter each by itself.

    Short bursts lift all bands too, but only a gain that gives way lets them fall together.
    """
    if moves.shape[1] < _FEWEST_BANDS:
        return None
    low, high = np.quantile(moves, [_SHARED, 1 - _SHARED], axis=1)
    common = np.where(low > 0, low, np.where(high < 0, high, 0.0))
    padded = np.pad(common, 1, mode="edge")
    common = np.median(np.lib.stride_tricks.sliding_window_view(padded, 3), axis=1)
    start = float(np.median(common[: round(_START_S / _BAND_S)]))
    dip = float(-common.min())
    if abs(start) > _GAIN_DB:
        what = f"is {abs(start):.0f} dB {'higher' if start > 0 else 'lower'} in the first seconds"
    elif dip > _GAIN_DB:
        what = f"falls by up to {dip:.0f} dB for a while"
    else:
        return None
    return _processed(
        f"The level {what}, at all frequencies alike: automatic gain or noise suppression, or a "
        f"microphone that was moved or stood in wind"
    )


def _gated(envelopes: FloatArray) -> Note | None:
    """Find frames in which next to nothing is left of the sound."""
    level = _db((envelopes**2).sum(axis=0))
    share = float((level < np.quantile(level, 0.9) - _GATED_DB).mean())
    if share < _GATED_SHARE:
        return None
    return _processed(
        f"The sound drops to almost nothing, {100 * share:.0f} % of the time: a noise gate or "
        f"dropouts are suspected"
    )


def _thinned(fine_db: FloatArray) -> Note | None:
    """Find noise that was subtracted: of what is left few bins stand far above the others.

    The power of noise in a bin is distributed exponentially, its 95 % quantile 6.4 dB above its
    median, however loud each frame is as a whole. Subtraction (Boll, IEEE Trans. ASSP-27, 1979)
    leaves a floor with peaks.
    """
    if fine_db.shape[1] < 4 * _BESIDE:
        return None
    moves = fine_db - np.median(fine_db, axis=0)
    total = np.cumsum(np.pad(moves, ((0, 0), (1, 0))), axis=1, dtype=float)
    width = 2 * _BESIDE + 1
    beside = (total[:, width:] - total[:, :-width]) / width
    moves = moves[:, _BESIDE:-_BESIDE] - beside
    moves -= np.median(moves, axis=0)
    if np.quantile(moves, 0.95) < _THINNED_DB:
        return None
    return _processed("The noise between the lines is thinned out: noise suppression is suspected")


def _emptied(low: _Low) -> Note | None:
    above = low.between(300, 800)
    below = low.between(25, 80) - above
    if below > _EMPTY_DB or above < _NOTHING_DB:
        return None
    return _processed(
        f"Below 80 Hz, where the engine's strongest orders are, there is {-below:.0f} dB less than "
        f"at 300 to 800 Hz: a filter for voices is suspected"
    )


def _processed(suspicion: str) -> Note:
    return Note(
        "processed-sound",
        "warning",
        f"{suspicion}. Levels then cannot be compared: switch such processing off in the recorder, "
        f"or take another one.",
    )


def _wind(low: _Low, moves: FloatArray) -> Note | None:
    """Find a strong rumble at the lowest frequencies that comes and goes."""
    rumble = low.between(6, 20) - low.between(80, 200)
    gusts = _db(low.rumble)
    # What the upper bands do as well is no wind; a few loud noises do not count.
    upper = np.median(moves[:, moves.shape[1] // 2 :], axis=1)
    each = round(_RUMBLE_S / _BAND_S)
    count = min(len(gusts), len(upper) // each)  # the last frame has no later one
    upper = upper[: each * count].reshape(count, each).mean(axis=1)
    least, most = np.quantile(gusts[:count] - upper, [0.1, 0.9])
    gustiness = min(float(gusts.std()), float(most - least) / _TEN_TO_NINETY)
    if rumble < _RUMBLE_DB or gustiness < _GUST_DB:
        return None
    return Note(
        "wind",
        "warning",
        "A strong rumble below 40 Hz comes and goes: wind or a fan's draught on the microphone is "
        "suspected, which hides the lowest orders; shield it and record again.",
    )


def _speech(envelopes: FloatArray, seconds: float) -> Note | None:
    """Find loudness that rises and falls with syllables, 2 to 8 times a second.

    The median over modulation frequencies leaves out what beats regularly: the half orders of a
    slow engine, 4 to 9 Hz. Uneven combustion modulates alike at all frequencies; syllables fall off
    above 8 Hz (Houtgast & Steeneken, J. Acoust. Soc. Am. 77, 1985).
    """
    length = int(_VOICE_SECONDS / seconds)
    hertz = np.fft.rfftfreq(length, seconds)
    stretches = np.lib.stride_tricks.sliding_window_view(envelopes, length, axis=1)
    stretches = stretches[:, :: length // 2]  # (bands, stretches, frames)
    count, mean = stretches.shape[1], stretches.mean(axis=2)
    audible = mean.all(axis=0)
    stretches = stretches[:, audible] / mean[:, audible, np.newaxis]
    window = np.hanning(length)
    turned = scipy.fft.rfft((stretches - 1) * window)
    power = np.abs(turned) ** 2 * 2 / (window @ window) * seconds * np.ptp(_SYLLABLES_HZ)
    slow, fast = (
        # the median of exponentially distributed power is ln 2 of its mean
        np.median(power[:, :, (hertz >= low) & (hertz < high)], axis=2) / np.log(2)
        for low, high in (_SYLLABLES_HZ, _BEYOND_HZ)
    )
    depth = np.sqrt(np.median(slow, axis=0))
    fall = np.median(slow / np.maximum(fast, _LEAST_POWER), axis=0)
    swells = _swells(stretches.mean(axis=0))
    like_voice = (depth > _VOICE_DEPTH) & (fall > _VOICE_FALL) & (swells >= _VOICE_SWELLS)
    if like_voice.sum() < max(_VOICE_LEAST, _VOICE_SHARE * count):
        return None
    return Note(
        "speech",
        "warning",
        "Loudness rises and falls like speech or music: voices or other sounds nearby are "
        "suspected; record again while nobody speaks.",
    )


def _swells(loudness: FloatArray) -> NDArray[np.intp]:
    """Return how often loudness, shape (stretches, frames), rises well above its usual value.

    Well is seen against the loudest: beside a knock on a hatch an engine's beat is nothing.
    """
    loudness = (loudness[:, :-2] + loudness[:, 1:-1] + loudness[:, 2:]) / 3
    usual = np.median(loudness, axis=1, keepdims=True)
    loudest = loudness.max(axis=1, keepdims=True)
    above = loudness > np.maximum(_SWELL * usual, usual + _SWELL_OF_LOUDEST * (loudest - usual))
    rises: NDArray[np.intp] = (above[:, 1:] & ~above[:, :-1]).sum(axis=1)
    return rises
