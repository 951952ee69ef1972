"""The standard error of an order's amplitude when the amplitude itself breathes.

In short blocks b the amplitude of a line along its own direction is

    a_b = mean + s g_b + e_b                                                                 (1)

with noise e and a stationary breathing g of variance 1. Breathing moves the mean over the
recording by the power it has at zero frequency (Bartlett, Suppl. J. R. Statist. Soc. 8, 1946;
Priestley, Spectral Analysis and Time Series, 5.3.2), 2 s^2 tau / T for a long recording and

    rho(t) = exp(-|t| / tau)  or  exp(-pi t^2 / (4 tau^2))                                   (2)

How strong (s) and how slow (tau) the breathing is has to be learnt from the same recording: the
likelihood of the cosine transform of the blocks, each coefficient with the variance that Eq. 1
gives it in exactly these blocks (Whittle's likelihood; the expectation instead of the spectrum as
in Sykulski et al., Biometrika 106, 2019), over a grid of s and tau. Lines of one recording breathe
alike, but not equally: what the others show is the prior of each (a hierarchical model), the less
so the more they move together, for then they are one witness and not many.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.special

from vibetrend.orders.fit import ComplexArray
from vibetrend.recording import FloatArray

_BLOCK_SECONDS = 0.2  # about; no breathing that matters is faster
_CYCLE_TURNS = 2.0  # in whole engine cycles the other half orders cancel
_FEWEST_BLOCKS = 8

_TAU = 0.15 * 1.5 ** np.arange(10)  # s, to 5.8 s: an end at 3 s would pull estimates below it
_TAU_WEIGHT = _TAU**0.3 / np.sum(_TAU**0.3)  # a slow one missed costs more than a fast one
_SHARE = 0.001 * 2.0 ** np.arange(9)  # of the mean, to 26 %: how much a recording's lines breathe
_RATIO = np.concatenate([[0.0], 2.0 ** np.arange(-9, 15)])  # s^2 over the noise of one block
_ALIKE = 0.5  # standard deviation of log s from line to line
_ALIKE_TAU = 0.8  # of log tau
_LONER = 0.1  # chance that a line has nothing to do with the others
_NOISE_FREEDOM = 100.0  # the noise near a line is known to 10 or 15 %: so many degrees of freedom

_FINE = 4  # steps per block in which the mean of the breathing over a block is formed
_SINGLY = 16  # coefficients taken one by one; higher ones in bands growing with frequency
_SHARED_HZ = 1.0  # breathing below this tells whether lines move together
_NORMAL = 1.959964
_NEWTON_STEPS = 8


@dataclass(frozen=True, eq=False)
class Blocks:
    """How far each line's amplitude lay from its mean in each short block."""

    deviation: FloatArray  # (lines, blocks) 0-to-peak along the line's direction
    count: FloatArray  # (blocks,) samples; a block may have none
    seconds: float  # length of a block


@dataclass(frozen=True, eq=False)
class Breathing:
    """What breathing and noise together do to each line."""

    standard_error: (
        FloatArray  # (lines,) of the 0-to-peak amplitude: 1.96 of it are the 95 % limits
    )
    share: FloatArray  # (lines,) standard deviation over mean; 0 where noise explains all


def in_blocks(
    time: FloatArray,
    residual: FloatArray,
    lines: ComplexArray,
    direction: ComplexArray,
    *,
    crank_hz: float,
) -> Blocks:
    """Return the residual of a least-squares fit as a deviation of each line in each block.

    Parameters
    ----------
    time : array, shape (n,)
        Seconds, ascending; two at least.
    residual : array, shape (n, axes)
    lines : array, shape (lines, n)
        Unit phasors.
    direction : array, shape (lines, axes)
        Complex amplitude over its norm.
    crank_hz : float
        Mean speed, turns per second.
    """
    step = float(np.median(np.diff(time)))
    duration = float(time[-1] - time[0]) + step
    cycle_s = _CYCLE_TURNS / crank_hz
    block_s = cycle_s * max(1, round(_BLOCK_SECONDS / cycle_s))
    blocks = max(1, round(duration / block_s))
    bounds = time[0] - step / 2 + duration * np.arange(blocks + 1) / blocks
    edges = np.searchsorted(time, bounds)
    leaning = direction.conj() @ residual.T
    along = leaning.real * lines.real + leaning.imag * lines.imag
    # differences of sums, for a block in a gap is empty
    sums = np.concatenate([np.zeros((len(lines), 1)), np.cumsum(along, axis=1)], axis=1)
    count = np.diff(edges).astype(float)
    deviation = 2 * np.diff(sums[:, edges], axis=1) / np.maximum(count, 1)
    return Blocks(deviation, count, duration / blocks)


def breathing(blocks: Blocks, *, size: FloatArray, noise: FloatArray) -> Breathing:
    """Return standard errors that hold for the mean of the process, not of this recording.

    Parameters
    ----------
    blocks : Blocks
        Mean deviation of each line over all samples zero, as least squares leaves it.
    size : array, shape (lines,)
        Amplitude over the whole recording.
    noise : array, shape (lines,)
        Its variance by noise alone, above 0.

    Returns
    -------
    Breathing
        Shares are NaN, and errors those of the noise, where the recording has too few blocks.
    """
    count = len(blocks.count)
    if count < _FEWEST_BLOCKS:
        return Breathing(np.sqrt(noise), np.full(len(size), np.nan))
    block_noise = count * noise
    weight = blocks.count / blocks.count.mean()
    cosine = scipy.fft.dct(weight * blocks.deviation, type=2, norm="ortho", axis=1)[:, 1:]
    edges = np.array(_bands(count))
    first, width = edges[:-1], np.diff(edges)
    power = np.add.reduceat(cosine**2, first - 1, axis=1) / block_noise[:, np.newaxis]
    rows = np.concatenate([[0.0], first + (width - 1) / 2])
    white, breath = _expected(weight, blocks.seconds, rows)

    # a grid of (ratio, shape and tau); the common scale of noise and breathing is integrated out
    expected = white[1:] + _RATIO[:, np.newaxis, np.newaxis] * breath[:, 1:]
    quadratic = np.tensordot(power, 1 / expected, axes=(1, 2)) + _NOISE_FREEDOM
    freedom = _NOISE_FREEDOM + count - 1
    likelihood = -0.5 * np.log(expected) @ width - freedom / 2 * np.log(quadratic / freedom)
    likelihood = np.exp(likelihood - likelihood.max(axis=(1, 2), keepdims=True))
    prior = _prior(likelihood, _witnesses(cosine, blocks), size / np.sqrt(block_noise))
    scale = quadratic / freedom
    posterior = prior * likelihood
    evidence = posterior.sum(axis=(1, 2))
    posterior /= evidence[:, np.newaxis, np.newaxis]

    of_mean = scale * (white[0] + _RATIO[:, np.newaxis] * breath[:, 0])
    limit = _limit(posterior.reshape(len(size), -1), of_mean.reshape(len(size), -1))
    swing = np.sum(posterior * np.sqrt(scale * _RATIO[:, np.newaxis]), axis=(1, 2))
    seen = np.maximum(0.0, 1 - likelihood[:, 0, 0] / evidence)  # noise alone may do as well
    share = seen * swing * np.sqrt(block_noise) / np.maximum(size, 1e-300)
    return Breathing(limit / _NORMAL * np.sqrt(noise), share)


def _bands(count: int) -> list[int]:
    """Return the first coefficient of each band of coefficients 1 to count - 1, and the end."""
    edges = [1]
    while edges[-1] < count:
        edges.append(edges[-1] + 1 + edges[-1] // _SINGLY)
    edges[-1] = count
    return edges


def _expected(
    weight: FloatArray, block_s: float, rows: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the variance of cosine coefficients `rows` by unit noise and unit breathing.

    Shapes (rows,) and (2 taus, rows). Row 0 is the mean, times the root of the number of blocks.
    """
    count = len(weight)
    cosine = np.cos(np.pi / count * np.outer(rows, np.arange(count) + 0.5)) * np.sqrt(2 / count)
    cosine[0] = 1 / np.sqrt(count)
    cosine *= weight
    cosine[1:] -= np.outer(cosine[1:].mean(axis=1), weight)  # the mean is fitted
    white = np.sum(cosine**2 / np.where(weight > 0, weight, 1.0), axis=1)

    lag = np.abs(np.arange(-_FINE, count * _FINE)) * block_s / _FINE / _TAU[:, np.newaxis]
    correlation = np.concatenate([np.exp(-lag), np.exp(-np.pi / 4 * lag**2)])
    # between means over blocks: a triangle's mean over lags
    share = (1 - np.abs(np.arange(-_FINE, _FINE + 1)) / _FINE) / _FINE
    of_blocks = np.zeros((len(correlation), count))
    for step, part in enumerate(share[:-1]):
        of_blocks += part * correlation[:, step::_FINE][:, :count]
    there_and_back = np.concatenate(
        [of_blocks, np.zeros((len(correlation), 1)), of_blocks[:, :0:-1]], axis=1
    )
    spectrum = np.fft.rfft(there_and_back, axis=1).real
    window = np.abs(np.fft.rfft(cosine, 2 * count, axis=1)) ** 2 / count
    window[:, [0, -1]] /= 2
    return white, spectrum @ window.T


def _witnesses(cosine: FloatArray, blocks: Blocks) -> float:
    """Return how many independent lines there are: fewer where they breathe together."""
    lines, count = len(cosine), len(blocks.count)
    slow = cosine[:, : max(_FEWEST_BLOCKS - 1, int(2 * _SHARED_HZ * blocks.seconds * count))]
    for axis in (1, 0, 1):  # lines of equal strength, white over frequency
        slow = slow / (np.sqrt(np.mean(slow**2, axis=axis, keepdims=True)) + 1e-300)
    together = np.sum((slow @ slow.T / slow.shape[1]) ** 2)
    by_chance = lines * (lines - 1) / slow.shape[1]
    return float(lines**2 / max(together - by_chance, lines))


def _prior(likelihood: FloatArray, witnesses: float, clearness: FloatArray) -> FloatArray:
    """Return the prior of each line over (ratio, shape and tau), from what the others show.

    `clearness` is each line's amplitude over the noise of one block.
    """
    ratio = 0.5 * np.log(np.maximum(_RATIO, _RATIO[1] / 2))
    at = np.log(np.outer(np.maximum(clearness, 1e-300), _SHARE))
    at = np.clip(at, ratio[0], ratio[-1])[..., np.newaxis]
    by_share = np.exp(-0.5 * ((ratio - at) / _ALIKE) ** 2)  # (lines, shares, ratios)
    by_share /= by_share.sum(axis=-1, keepdims=True)
    by_share = (1 - _LONER) * by_share + _LONER * by_share.mean(axis=1, keepdims=True)

    apart = np.log(_TAU / _TAU[:, np.newaxis])
    by_tau = np.exp(-0.5 * (apart / _ALIKE_TAU) ** 2) * _TAU_WEIGHT
    by_tau /= by_tau.sum(axis=1, keepdims=True)
    by_tau = (1 - _LONER) * by_tau + _LONER * _TAU_WEIGHT
    by_tau = np.tile(by_tau, 2) / 2  # (taus, shapes and taus)

    told = np.log(by_tau @ (by_share @ likelihood).swapaxes(1, 2) + 1e-300)
    others = told.sum(axis=0) - told
    others *= (witnesses - 1) / max(1, len(likelihood) - 1)
    common = np.exp(others - others.max(axis=(1, 2), keepdims=True))
    common *= _TAU_WEIGHT[:, np.newaxis]  # (lines, taus, shares)
    common /= common.sum(axis=(1, 2), keepdims=True)
    return np.asarray((by_tau.T @ common @ by_share).swapaxes(1, 2))


def _limit(chance: FloatArray, variance: FloatArray) -> FloatArray:
    """Return the deviation that a mixture of normals exceeds, up or down, with 5 %.

    Newton's rule on the logarithm of the chance over the square of the deviation: it is convex (a
    mixture of completely monotone functions is log-convex), so that from below no step is too long.
    """
    square = _NORMAL**2 * variance.min(axis=1)
    for _ in range(_NEWTON_STEPS):
        z2 = square[:, np.newaxis] / variance
        beyond = np.sum(chance * scipy.special.erfc(np.sqrt(z2 / 2)), axis=1)
        density = np.sum(chance * np.exp(-z2 / 2) / np.sqrt(2 * np.pi * z2) / variance, axis=1)
        square += beyond * np.log(beyond / 0.05) / density
    limit: FloatArray = np.sqrt(square)
    return limit
