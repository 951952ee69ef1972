"""How high a belt span sounds when it is plucked: its frequency, for its tension.

The span is taken as a string, its overtones whole multiples of its own tone. Each pluck rings
and dies away (`damped`); what sounds all the time, such as mains hum, is background. The belt's
own tone is the one whose multiples explain what rings after most plucks, even where it is itself
weaker than its overtones, as with a phone's microphone below some 100 Hz.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibetrend.errors import MeasureError
from vibetrend.orders.damped import Density, Tone, heard, tones
from vibetrend.orders.hum import MAINS_HZ, without_hum
from vibetrend.orders.plucks import (
    LOOK_S,
    SHORTEST_S,
    background,
    cannot,
    machine_runs,
    stretches,
)
from vibetrend.orders.signal import prepare
from vibetrend.recording import FloatArray, Note, Recording

LOW_HZ, HIGH_HZ = 20.0, 500.0
"""Where a belt span's own tone is looked for."""

LONGEST_S, _BRIEFEST_S = 120.0, 0.5  # of a recording
_OVERTONES_HZ = 2000.0
_SLOWEST = 100.0  # samples per second
_SAFE_RATE = 1000.0  # from here on no belt's tone is folded down

_FEWEST = 2  # plucks
_LEAST_QUALITY, _MOST_QUALITY = 5.0, 150.0  # of a thud; of what is no rubber
_WAS_THERE = 0.1  # of its power
_WEAKEST = 1e-4  # of the strongest tone's energy
_MULTIPLES = 5
_IN_TUNE = 0.012  # relative; a stiff belt's overtones lie higher than whole multiples
_SCATTERED = 0.04  # and from pluck to pluck all of them together
_HOLE = 0.12  # what each overtone that is missing costs, a share of all that rings
_LEAST_EXPLAINED = 0.45
_NEARLY_AS_GOOD = 0.1
_SAME, _AGREE = 0.03, 0.06  # two tones of one kind; plucks of one span
_USUAL_SCATTER = 0.005  # from pluck to pluck, relative; the project's own assumption
_ITS_WEIGHT = 1.0  # as of one pluck more
_INFERRED = 0.01  # relative error of a tone that only its overtones tell

_NEAR_MAINS_HZ, _NEAR_HUM_HZ = 1.0, 3.0  # what was taken out of hum may have pulled at the tone
_MULTIPLES_OF_MAINS = 6


@dataclass(frozen=True)
class Plucked:
    """What a recording of plucks says."""

    frequency_hz: float
    standard_error_hz: float
    plucks_hz: tuple[float, ...]  # one for each pluck that agrees
    notes: tuple[Note, ...]  # doubts


def plucked(recording: Recording) -> Plucked:
    """Return the frequency at which a plucked belt span swings.

    Parameters
    ----------
    recording : Recording
        Sound or vibration, engine stopped, a few plucks of one span with a second between them.

    Raises
    ------
    MeasureError
        If no plucks stand out, or no tone from 20 to 500 Hz explains what rings after them.
    """
    samples, rate, notes = _even(recording)
    if len(samples) < _BRIEFEST_S * rate:
        raise cannot("the recording is too short")
    if not samples.any():
        raise cannot("the recording is silent")
    samples, hum = without_hum(samples, rate)
    top = min(_OVERTONES_HZ, 0.45 * rate)
    noise = background(samples, rate)
    rung, hidden = [], 0
    for start, end in stretches(samples, rate, top, noise):
        rings = _ringing(samples[start:end], rate, top, noise)
        begun = [each for each in rings if _began(each, samples, start, end, rate)]
        hidden += bool(rings) and begun[:1] != rings[:1]
        rung.append(begun)
    if 2 * hidden > len(rung):
        raise cannot("what sounds all the time hides the plucks")
    rung = [each for each in rung if each]
    if not rung:
        raise cannot("no tone rings after the plucks")
    own, others = _likeliest(rung)
    found = [each for each in (_own_tone(one, own) for one in rung) if each is not None]
    agreeing = _agreeing([tone for tone, _ in found])
    if 2 * len(agreeing) <= len(rung):
        told = ", ".join(f"{one[0].hz:.0f}" for one in rung)
        raise cannot(f"the plucks disagree: {told} Hz")
    inferred = not any(direct for _, direct in found)
    if len(agreeing) < _FEWEST:
        raise cannot("only one pluck stands out, and no second agrees")
    hertz, error = _middle(agreeing, inferred)
    runs = machine_runs(samples, rate, top)
    return Plucked(
        frequency_hz=hertz,
        standard_error_hz=error,
        plucks_hz=tuple(tone.hz for tone in agreeing),
        notes=(*notes, *_doubts(hertz, rung, agreeing, inferred, others, hum, runs)),
    )


def _even(recording: Recording) -> tuple[FloatArray, float, list[Note]]:
    """Return one axis, the one that swings most, evenly sampled and without its mean."""
    if recording.samples is None:
        raise MeasureError("a recording of plucks needs samples; tooth times hold no sound")
    if recording.duration_s > LONGEST_S:
        raise MeasureError(
            f"the recording has {recording.duration_s:.0f} s, and {LONGEST_S:.0f} s is the most; "
            f"cut out the plucks"
        )
    signal = prepare(recording, top_hz=_OVERTONES_HZ)
    samples, rate, notes = signal.samples, signal.rate, []
    if rate < _SLOWEST:
        raise MeasureError(
            f"{rate:.0f} samples per second are too few for a belt's tone; record sound instead"
        )
    if not signal.even:
        even = np.arange(signal.time[0], signal.time[-1], 1 / rate)
        samples = np.stack([np.interp(even, signal.time, axis) for axis in samples.T], axis=1)
    if rate < _SAFE_RATE:
        notes.append(
            Note(
                "rate-too-low",
                "warning",
                f"{rate:.0f} samples per second: a tone above {rate / 2:.0f} Hz would show as a "
                f"lower one; sound from a phone has no such doubt",
            )
        )
    _, _, axes = np.linalg.svd(samples - samples.mean(axis=0), full_matrices=False)
    along = samples @ axes[0]
    return along - along.mean(), rate, notes


def _ringing(samples: FloatArray, rate: float, top: float, noise: Density) -> list[Tone]:
    """Return what rings after one pluck, strongest first: no thud, nothing far weaker."""
    found = tones(samples, rate, low_hz=LOW_HZ, high_hz=top, noise=noise)
    rings = [each for each in found if each.damping > 0 and each.quality >= _LEAST_QUALITY]
    return [each for each in rings if each.energy >= _WEAKEST * rings[0].energy]


def _began(tone: Tone, samples: FloatArray, start: int, end: int, rate: float) -> bool:
    """Say whether a tone began with the pluck, and fades as rubber does."""
    if tone.quality > _MOST_QUALITY:
        return False
    last = max(0, start - round(LOOK_S * rate))
    before = samples[max(0, last - (end - start)) : last]
    if len(before) < SHORTEST_S * rate:
        return True
    after = samples[start : start + len(before)]
    return heard(tone, before, rate) < _WAS_THERE * heard(tone, after, rate)


def _weight(tone: Tone, rung: Sequence[Tone]) -> float:
    # The fourth root: a weak tone speaks too, for which of them is the belt's own.
    return float((tone.energy / rung[0].energy) ** 0.25)


def _multiple(hertz: float, own: float, *, within: float = _IN_TUNE) -> int:
    """Return which multiple of `own` a frequency is, 0 if none."""
    k = round(hertz / own)
    if not 1 <= k <= _MULTIPLES:
        return 0
    return k if abs(hertz / (k * own) - 1) < within else 0


def _likeliest(rung: Sequence[Sequence[Tone]]) -> tuple[float, tuple[float, ...]]:
    """Return the frequency whose multiples explain most, and others that do nearly as well."""
    tried = sorted(
        {
            tone.hz / k
            for one in rung
            for tone in one
            for k in range(1, _MULTIPLES)
            if LOW_HZ <= tone.hz / k <= HIGH_HZ
        }
    )
    if not tried:
        raise cannot(f"what rings lies outside {LOW_HZ:.0f} to {HIGH_HZ:.0f} Hz")
    scores = {own: _score(own, rung) for own in tried}
    best = max(scores, key=lambda own: (scores[own], own))
    if scores[best] < _LEAST_EXPLAINED:
        raise cannot("what rings is no row of a tone and its overtones")
    others: list[float] = []
    for own in sorted(scores, key=lambda own: -scores[own]):
        far = all(abs(own / each - 1) > 2 * _SAME for each in (best, *others))
        if far and scores[own] > scores[best] - _NEARLY_AS_GOOD:
            others.append(own)
    return best, tuple(others[:2])


def _score(own: float, rung: Sequence[Sequence[Tone]]) -> float:
    explained = total = 0.0
    present: dict[int, int] = {}
    for one in rung:
        multiples = {_multiple(tone.hz, own) for tone in one} - {0}
        for k in multiples:
            present[k] = present.get(k, 0) + 1
        total += sum(_weight(tone, one) for tone in one)
        explained += sum(_weight(tone, one) for tone in one if _multiple(tone.hz, own))
    usual = [k for k, count in present.items() if 3 * count >= len(rung)]
    holes = max(usual) - len(usual) if usual else _MULTIPLES
    return explained / total - _HOLE * holes


def _own_tone(one: Sequence[Tone], own: float) -> tuple[Tone, bool] | None:
    """Return the belt's own tone after one pluck, and whether it was there itself.

    None if most of what rings is something else.
    """
    found: dict[int, Tone] = {}
    explained = 0.0
    for tone in one:  # the strongest first
        if k := _multiple(tone.hz, own, within=_SCATTERED):
            found.setdefault(k, tone)
            explained += _weight(tone, one)
    if explained < _LEAST_EXPLAINED * sum(_weight(tone, one) for tone in one):
        return None
    k = min(found)
    tone = found[k]
    at_own = replace(tone, hz=tone.hz / k, standard_error_hz=tone.standard_error_hz / k)
    return at_own, k == 1


def _agreeing(found: Sequence[Tone]) -> list[Tone]:
    if not found:
        return []
    usual = float(np.median([tone.hz for tone in found]))
    return [tone for tone in found if abs(tone.hz / usual - 1) <= _AGREE]


def _middle(agreeing: Sequence[Tone], inferred: bool) -> tuple[float, float]:
    """Return the mean over plucks and its standard error.

    The scatter between few plucks is moved towards what is usual, as if one more had shown that.
    """
    hertz = np.array([tone.hz for tone in agreeing])
    errors = np.array([tone.standard_error_hz for tone in agreeing])
    usual = _USUAL_SCATTER * float(hertz.mean())
    squares = float(((hertz - hertz.mean()) ** 2).sum())
    scatter = (_ITS_WEIGHT * usual**2 + squares) / (_ITS_WEIGHT + len(hertz) - 1)
    weights = 1 / (errors**2 + scatter)
    mean = float(weights @ hertz / weights.sum())
    error = math.sqrt(1 / float(weights.sum()))
    return mean, math.hypot(error, _INFERRED * mean) if inferred else error


def _doubts(
    hertz: float,
    rung: Sequence[Sequence[Tone]],
    agreeing: Sequence[Tone],
    inferred: bool,
    others: Sequence[float],
    hum: float,
    runs: bool,
) -> list[Note]:
    said: list[Note] = []
    if len(agreeing) < len(rung):
        said.append(
            Note(
                "plucks-differ",
                "warning",
                f"{len(rung) - len(agreeing)} of {len(rung)} plucks gave another tone and are left "
                f"out; pluck the middle of one span only",
            )
        )
    if inferred:
        said.append(
            Note(
                "inferred",
                "warning",
                f"{hertz:.1f} Hz itself is not heard, only its overtones; hold the phone nearer "
                f"and pluck again to be sure",
            )
        )
    if others:
        said.append(
            Note(
                "ambiguous",
                "warning",
                f"{' or '.join(f'{each:.1f}' for each in others)} Hz would explain nearly as much; "
                f"twice the frequency is four times the tension, so compare with a gauge",
            )
        )
    near = any(
        abs(hertz - k * mains) < (_NEAR_HUM_HZ if hum else _NEAR_MAINS_HZ)
        for mains in ([hum] if hum else MAINS_HZ)
        for k in range(1, _MULTIPLES_OF_MAINS + 1)
    )
    if near:
        said.append(
            Note(
                "mains",
                "note" if not hum else "warning",
                "the tone lies on a mains frequency or a multiple; it dies away as hum does not, "
                "but record once more with shore power and generator off to be sure",
            )
        )
    if runs:
        said.append(
            Note(
                "steady-tone",
                "warning",
                "a machine sounds all the time and may be taken for the belt; stop "
                "the engine and what else runs, and record again",
            )
        )
    return said
