"""Which recordings cannot be compared with the baseline, why, and what to do about it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibetrend.trend.rows import CIRCUMSTANCES, Rows

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SPEED_BAND = 0.03  # of the baseline's speed
WARM_BAND_C = 15.0


@dataclass(frozen=True)
class Refused:
    """Why a recording is not compared, and what to do when it is taken again."""

    why: str
    remedy: str = ""


def refused(rows: Rows, baseline: Bools, hours: Floats) -> tuple[dict[int, Refused], list[str]]:
    """Return the recordings that cannot be compared, and doubts about the baseline.

    Parameters
    ----------
    baseline : array, shape (recordings,)
        Which recordings belong to the baseline.
    hours : array, shape (recordings,)
        Of each recording's check-up.

    Returns
    -------
    dict
        Refusals by the number of the recording; the last reason found counts.
    list of str
        Sentences.
    """
    out: dict[int, Refused] = {}
    notes = []
    if baseline.any():
        for r in np.flatnonzero(~baseline & (hours < hours[baseline].min())).tolist():
            out[r] = Refused("it was taken before the baseline")
    out |= _other_speed(rows.rpm, baseline)
    warm, doubts = _other_warmth(rows.temperature_c, baseline)
    out |= warm
    notes += doubts
    for name, said in rows.stated.items():
        out |= _other_state(CIRCUMSTANCES[name], said, baseline)
    seen = np.bincount(rows.recording, rows.seen, minlength=len(rows.recordings)) > 0
    for r in np.flatnonzero(~seen).tolist():
        out[r] = Refused("nothing in it could be told from the noise level")
    return out, notes


def _other_speed(rpm: Floats, baseline: Bools) -> dict[int, Refused]:
    known = np.sort(rpm[baseline & np.isfinite(rpm)])
    if not known.size:
        return {}
    usual = known[(known.size - 1) // 2]  # one that was truly run, where there are two
    return {
        r: Refused(
            f"its speed of {rpm[r]:.0f} rpm is more than {100 * SPEED_BAND:.0f} % from the "
            f"baseline's {usual:.0f} rpm",
            f"set the engine to {usual:.0f} rpm, as at the baseline",
        )
        for r in np.flatnonzero(np.abs(rpm / usual - 1) > SPEED_BAND).tolist()
    }


def _other_warmth(warmth: Floats, baseline: Bools) -> tuple[dict[int, Refused], list[str]]:
    """Compare with all of the baseline's range; say where that is wide."""
    known = warmth[baseline & np.isfinite(warmth)]
    if not known.size:
        return {}, []
    low, high = known.min(), known.max()
    usual = f"{low:.0f}" if high - low < 1 else f"{low:.0f} to {high:.0f}"
    off = (warmth < low - WARM_BAND_C) | (warmth > high + WARM_BAND_C)
    found = {
        r: Refused(
            f"the engine was at {warmth[r]:.0f} degrees C, more than {WARM_BAND_C:.0f} from the "
            f"baseline's {usual}",
            f"let the engine get to {usual} degrees C, as at the baseline",
        )
        for r in np.flatnonzero(off).tolist()
    }
    uneven = high - low > WARM_BAND_C
    return found, [
        f"The baseline was recorded at {usual} degrees C: days equally warm would make it sharper."
    ] * bool(uneven)


def _other_state(name: str, said: list[str], baseline: Bools) -> dict[int, Refused]:
    """Compare with what half of the baseline or more states."""
    stated = sorted(word for word, of in zip(said, baseline, strict=True) if of and word)
    usual = max(stated, key=stated.count, default="")
    if not usual or 2 * stated.count(usual) < baseline.sum():
        return {}
    return {
        r: Refused(
            f"{name} was {word}, at the baseline {usual}",
            f"have it as at the baseline: {name} {usual}",
        )
        for r, word in enumerate(said)
        if word and word != usual
    }
