"""Tones that die away: the frequencies of what rings after a blow or a pluck.

A stretch of signal is taken as

    x(t) = sum_i exp(-d_i t) [a_i cos(2 pi f_i t) + b_i sin(2 pi f_i t)] + noise          (1)

Tones are found one after the other, each where a damped tone explains most of what is left, and
fitted together by least squares, a and b eliminated (Golub & Pereyra, SIAM J. Numer. Anal. 10,
1973). Noise is known as a density over frequency.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vibetrend.orders.spectrum import fast_length
from vibetrend.recording import FloatArray

Density = Callable[[FloatArray], FloatArray]

_DAMPINGS = (3.0, 8.0, 20.0, 50.0, 125.0)  # 1/s, to begin with
_MOST_DAMPING, _LEAST_DAMPING = 400.0, -1.0
_MOST_TONES = 7
_STANDS_OUT = 18.0  # power over noise; noise alone passes it in one of 1e5 stretches
_PADDING = 4
_FINEST = 3.0  # no peak is looked for nearer than this many bins to a tone found before


@dataclass(frozen=True)
class Tone:
    """One tone of Eq. 1."""

    hz: float
    standard_error_hz: float  # from the noise alone
    damping: float  # d, 1/s
    energy: float  # its sum of squares over the stretch

    @property
    def quality(self) -> float:
        """How many times pi it swings until it has died away to 1/e."""
        return math.pi * self.hz / max(self.damping, 1e-6)


def tones(
    samples: FloatArray, rate: float, *, low_hz: float, high_hz: float, noise: Density
) -> list[Tone]:
    """Return the tones that stand out of the noise, strongest first.

    Parameters
    ----------
    samples : array, shape (n,)
        One stretch, from just after the blow.
    rate : float
        Samples per second, even.
    low_hz, high_hz : float
        Where to look.
    noise : callable
        One-sided density of the noise at frequencies in Hz, unit of the samples squared per Hz.
    """
    time = np.arange(len(samples)) / rate
    found: FloatArray = np.empty((0, 2))  # f, d
    for _ in range(_MOST_TONES):
        rest = samples - _fitted(found, time, samples)
        new = _likeliest(rest, rate, low_hz, high_hz, noise, found)
        if new is None:
            break
        begun: FloatArray = np.concatenate([found, new[np.newaxis]])
        tried = _refined(begun, time, samples)
        if not _apart(tried, low_hz, high_hz, 1 / (len(samples) / rate)):
            break
        found = tried
    return _described(found, time, samples, noise, rate)


def heard(tone: Tone, samples: FloatArray, rate: float) -> float:
    """Return the power that a tone's own swing and decay find in a stretch."""
    time = np.arange(len(samples)) / rate
    swing = np.exp((-tone.damping + 2j * np.pi * tone.hz) * time)
    return float(np.abs(swing @ samples) ** 2 / np.sum(np.abs(swing) ** 2))


def _columns(found: FloatArray, time: FloatArray) -> FloatArray:
    """Return what Eq. 1 adds up, shape (n, 2 tones): all cosines, then all sines."""
    swing = np.exp(np.outer(time, -found[:, 1] + 2j * np.pi * found[:, 0]))
    return np.hstack([swing.real, swing.imag])


def _fitted(found: FloatArray, time: FloatArray, samples: FloatArray) -> FloatArray:
    if not len(found):
        return np.zeros_like(samples)
    columns = _columns(found, time)
    fitted: FloatArray = columns @ np.linalg.lstsq(columns, samples, rcond=None)[0]
    return fitted


def _likeliest(
    rest: FloatArray, rate: float, low_hz: float, high_hz: float, noise: Density, known: FloatArray
) -> FloatArray | None:
    """Return frequency and damping of the strongest tone that stands out, None if none does."""
    size = fast_length(_PADDING * len(rest))
    hertz = np.fft.rfftfreq(size, 1 / rate).astype(float)
    inside = (hertz >= low_hz) & (hertz <= high_hz)
    for each in known[:, 0]:
        inside &= np.abs(hertz - each) > _FINEST * rate / len(rest) / _PADDING
    hertz = hertz[inside]
    if not len(hertz):
        return None
    density = noise(hertz) * rate / 2
    time = np.arange(len(rest)) / rate
    best, found = 0.0, None
    for damping in _DAMPINGS:
        fade = np.exp(-damping * time)
        power = np.abs(np.fft.rfft(rest * fade, size)) ** 2 / (fade @ fade)
        # Crests only: a slope beside one may stand out more where the noise is less.
        crest = (power >= np.roll(power, 1)) & (power >= np.roll(power, -1))
        heard = np.where(crest, power, 0.0)[inside]
        heard[heard < _STANDS_OUT * density] = 0.0
        place = int(np.argmax(heard))
        if heard[place] > best:
            best, found = float(heard[place]), np.array([hertz[place], damping])
    return found


def _refined(found: FloatArray, time: FloatArray, samples: FloatArray) -> FloatArray:
    """Return frequencies and dampings that explain most, all together."""
    span = time[-1] - time[0]

    def left_over(values: FloatArray) -> FloatArray:
        return samples - _fitted(values.reshape(-1, 2), time, samples)

    def slopes(values: FloatArray) -> FloatArray:
        # What the a and b cannot take over of the change (Kaufman, BIT 15, 1975).
        tried = values.reshape(-1, 2)
        columns = _columns(tried, time)
        basis, triangle = np.linalg.qr(columns)
        weights = np.linalg.lstsq(triangle, basis.T @ samples, rcond=None)[0].astype(float)
        changes = np.stack(_changes(weights, columns, time), axis=2).reshape(len(time), -1)
        turned: FloatArray = basis @ (basis.T @ changes) - changes
        return turned

    spread = np.array([2 / span, math.inf])
    low = (found - spread).ravel()
    high = (found + spread).ravel()
    low[1::2], high[1::2] = _LEAST_DAMPING, _MOST_DAMPING
    start = np.clip(found.ravel(), low + 1e-6, high - 1e-6)
    scale = np.tile([1 / span, 10.0], len(found))
    solved = least_squares(
        left_over, start, jac=slopes, bounds=(low, high), x_scale=scale, max_nfev=25
    )
    refined: FloatArray = solved.x.reshape(-1, 2)
    return refined


def _changes(
    weights: FloatArray, columns: FloatArray, time: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return by how much Eq. 1 changes with each frequency and each damping."""
    count = len(weights) // 2
    a, b = weights[:count], weights[count:]
    cosines, sines = columns[:, :count], columns[:, count:]
    by_hz = 2 * np.pi * time[:, None] * (b * cosines - a * sines)
    by_damping = -time[:, None] * (a * cosines + b * sines)
    return by_hz, by_damping


def _apart(found: FloatArray, low_hz: float, high_hz: float, width_hz: float) -> bool:
    """Say whether all tones stayed where they may be, and none ran into another."""
    hertz = np.sort(found[:, 0])
    inside = (hertz > low_hz / 2).all() and (hertz < 1.1 * high_hz).all()
    return bool(inside and (np.diff(hertz) > width_hz / 2).all())


def _described(
    found: FloatArray, time: FloatArray, samples: FloatArray, noise: Density, rate: float
) -> list[Tone]:
    if not len(found):
        return []
    columns = _columns(found, time)
    weights = np.linalg.lstsq(columns, samples, rcond=None)[0].astype(float)
    count = len(found)
    errors = _errors_hz(found, weights, columns, time, noise(found[:, 0]) * rate / 2)
    described = []
    for k in range(count):
        own = columns[:, [k, k + count]] @ weights[[k, k + count]]
        described.append(Tone(*map(float, (found[k, 0], errors[k], found[k, 1], own @ own))))
    return sorted(described, key=lambda tone: -tone.energy)


def _errors_hz(
    found: FloatArray,
    weights: FloatArray,
    columns: FloatArray,
    time: FloatArray,
    variance: FloatArray,
) -> NDArray[np.float64]:
    """Return the standard errors of the frequencies, from the Jacobian of Eq. 1."""
    slopes = np.hstack([*_changes(weights, columns, time), columns])
    spread = np.linalg.pinv(slopes.T @ slopes)
    errors: FloatArray = np.sqrt(np.diag(spread)[: len(found)] * variance)
    return errors
