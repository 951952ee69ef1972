"""Standard errors of amplitudes that breathe, against closed forms and invented breathing."""

import math

import numpy as np
import pytest

from vibetrend.orders import breathing as room
from vibetrend.orders.breathing import Blocks, breathing, in_blocks
from vibetrend.recording import FloatArray

BLOCK_S = 0.2
CLEAR = np.repeat([4.0, 10.0, 30.0, 100.0], 6)  # amplitudes over their standard error by noise


def _ornstein(rng: np.random.Generator, lines: int, count: int, ratio: float) -> FloatArray:
    """Return AR(1) series of variance 1, shape (lines, count)."""
    series = rng.standard_normal((lines, count))
    series[:, 1:] *= math.sqrt(1 - ratio**2)
    for step in range(1, count):
        series[:, step] += ratio * series[:, step - 1]
    return series


def _drawn(
    rng: np.random.Generator, *, seconds: float, share: float, tau: float, fine: int = 4
) -> FloatArray:
    """Return the amplitude of each line in each block; its process has the mean 1."""
    count = round(seconds / BLOCK_S)
    swing = _ornstein(rng, CLEAR.size, fine * count, math.exp(-BLOCK_S / fine / tau))
    swing = swing.reshape(CLEAR.size, count, fine).mean(axis=-1)
    noise = rng.standard_normal(swing.shape) * math.sqrt(count) / CLEAR[:, np.newaxis]
    drawn: FloatArray = 1 + share * swing + noise
    return drawn


def _blocks(along: FloatArray, count: FloatArray | None = None) -> tuple[Blocks, FloatArray]:
    """Return deviations from the mean over samples, and that mean, as least squares leaves them."""
    count = np.ones(along.shape[1]) if count is None else count
    size = along @ count / count.sum()
    return Blocks((along - size[:, np.newaxis]) * (count > 0), count, BLOCK_S), size


def _covered(*, trials: int, seconds: float, share: float, tau: float) -> FloatArray:
    """Return the share of 95 % intervals that hold the process mean, for each class of `CLEAR`."""
    rng = np.random.default_rng(20)
    inside = np.empty((trials, CLEAR.size))
    for trial in range(trials):
        blocks, size = _blocks(_drawn(rng, seconds=seconds, share=share, tau=tau))
        error = breathing(blocks, size=size, noise=1 / CLEAR**2).standard_error
        inside[trial] = np.abs(size - 1) < 1.96 * error
    return np.asarray(inside.mean(axis=0).reshape(4, -1).mean(axis=1))


@pytest.mark.parametrize(("share", "tau"), [(0.0, 1.0), (0.05, 0.2), (0.05, 1.0), (0.05, 3.0)])
def test_intervals_cover_the_mean_of_the_process(share: float, tau: float) -> None:
    covered = _covered(trials=80, seconds=30.0, share=share, tau=tau)
    # 93 to 97 % are wanted; 480 intervals of a class scatter by 1.0 %, all 1920 by 0.5 %
    assert (np.abs(covered - 0.95) < 0.02 + 3 * 0.010).all()
    assert abs(covered.mean() - 0.95) < 0.02


def test_white_noise_alone_costs_nothing() -> None:
    # Kay, Fundamentals of Statistical Signal Processing I, 3.3: the variance of a mean is
    # noise / n. The share of it that doubt about breathing adds is below 5 % in the median; the
    # variation is nothing next to what noise of one block does (root of 150 / clearness).
    rng = np.random.default_rng(4)
    wide, shares = [], []
    for _ in range(30):
        blocks, size = _blocks(_drawn(rng, seconds=30.0, share=0.0, tau=1.0))
        result = breathing(blocks, size=size, noise=1 / CLEAR**2)
        wide.append(result.standard_error * CLEAR)
        shares.append(result.share * CLEAR / math.sqrt(150))
    assert 0.98 < np.median(wide) < 1.05
    assert np.median(shares) == 0.0
    assert np.mean(shares) < 0.1


@pytest.mark.parametrize("tau", [0.5, 2.0])
def test_strong_breathing_has_bartletts_variance_of_the_mean(tau: float) -> None:
    # Bartlett, Suppl. J. R. Statist. Soc. 8 (1946): var(mean) = s^2 / n (1 + r) / (1 - r) for an
    # AR(1) series of n; here of 60 and 240 correlation times, so that ends do not matter (2 %).
    rng = np.random.default_rng(6)
    fine, blocks_of = 4, 600
    ratio, count = math.exp(-BLOCK_S / fine / tau), fine * blocks_of
    bartlett = 0.05 * math.sqrt((1 + ratio) / (1 - ratio) / count)
    along = 1 + 0.05 * _ornstein(rng, 24, count, ratio).reshape(24, blocks_of, fine).mean(axis=-1)
    along += 0.01 * rng.standard_normal(along.shape)
    blocks, size = _blocks(along)
    result = breathing(blocks, size=size, noise=np.full(24, 1e-4 / blocks_of))
    # doubt about tau adds 3 to 28 % (12 drawings of these lines), never takes away
    assert 0.98 < np.median(result.standard_error) / bartlett < 1.35
    # s of one line scatters by s sqrt(tau / 2 T), 9 % at most; doubt leans upwards by 2 to 11 %
    assert np.median(result.share) == pytest.approx(0.05, rel=0.15)


def test_expected_variance_of_the_mean_is_exact() -> None:
    # Priestley, Spectral Analysis and Time Series, eq. 5.3.5: for correlation exp(-|t| / tau) the
    # mean over T has the variance 2 tau / T [1 - tau / T (1 - exp(-T / tau))].
    count = 150
    white, breath = room._expected(np.ones(count), BLOCK_S, np.array([0.0, 1.0, 40.0]))
    span = count * BLOCK_S
    tau = 0.15 * 1.5 ** np.arange(10)
    exact = 2 * tau / span * (1 - tau / span * (1 - np.exp(-span / tau)))
    assert white == pytest.approx(1.0)
    # the mean within a block is formed from four steps: 3 % for a tau shorter than a block
    assert breath[:10, 0] / count == pytest.approx(exact, rel=0.03)


def test_expected_variances_are_those_drawn_with_a_gap() -> None:
    rng = np.random.default_rng(8)
    weight = np.ones(60)
    weight[20:32] = 0.0
    weight /= weight.mean()
    tau = 0.15 * 1.5**5
    fine = _ornstein(rng, 4000, 60 * 8, math.exp(-BLOCK_S / 8 / tau))
    swing = fine.reshape(4000, 60, 8).mean(axis=-1)
    swing -= (swing @ weight / 60)[:, np.newaxis]
    rows = np.array([0.0, 1.0, 2.0, 5.0])
    _, breath = room._expected(weight, BLOCK_S, rows)
    cosine = np.cos(np.pi / 60 * np.outer(rows[1:], np.arange(60) + 0.5)) * math.sqrt(2 / 60)
    drawn = np.mean(((swing * weight) @ cosine.T) ** 2, axis=0)
    # the mean of 4000 squares of normals scatters by sqrt(2 / 4000) = 2.2 %
    assert breath[5, 1:] == pytest.approx(drawn, rel=0.08)


def test_limit_of_a_mixture_is_its_quantile() -> None:
    # 0.9 N(0, 1) + 0.1 N(0, 9): P(|x| > 2.6305) = 0.9 * 0.008526 + 0.1 * 0.38059
    chance, variance = np.array([[0.9, 0.1]]), np.array([[1.0, 9.0]])
    limit = float(room._limit(chance, variance)[0])
    beyond = 0.9 * math.erfc(limit / math.sqrt(2)) + 0.1 * math.erfc(limit / math.sqrt(18))
    assert beyond == pytest.approx(0.05, rel=1e-4)
    assert room._limit(np.ones((1, 1)), np.ones((1, 1))) == pytest.approx(1.959964, rel=1e-6)


def test_lines_that_move_together_are_one_witness() -> None:
    rng = np.random.default_rng(9)
    own, one = rng.standard_normal((24, 149)), rng.standard_normal((1, 149))
    blocks = Blocks(np.zeros((24, 150)), np.ones(150), BLOCK_S)
    # by chance correlations of 60 coefficients scatter: 24 lines seem 18 to 24
    assert room._witnesses(own, blocks) > 18
    assert room._witnesses(np.repeat(one, 24, axis=0), blocks) == pytest.approx(1.0, abs=0.6)


def test_blocks_hold_the_swing_of_their_line_and_no_other() -> None:
    # 12 engine cycles of 0.2 s at 10 turns per second; a gap of two blocks
    time = np.arange(0, 2.4, 1 / 500)
    time = time[(time < 0.8) | (time >= 1.2)]
    lines = np.exp(2j * np.pi * np.outer([1.0, 1.5], 10 * time))
    direction = np.array([[0.6, 0.8j], [1.0, 0.0]])
    swing = np.where(time < 0.6, 0.3, -0.1)
    residual = np.real(swing[:, np.newaxis] * direction[0] * lines[0][:, np.newaxis])
    blocks = in_blocks(time, residual, lines, direction, crank_hz=10.0)
    assert blocks.seconds == pytest.approx(0.2)
    assert blocks.count.tolist() == [100] * 4 + [0] * 2 + [100] * 6
    # whole cycles: exact but for rounding, and nothing of it on the other line
    expected = [0.3] * 3 + [-0.1] + [0.0] * 2 + [-0.1] * 6
    assert blocks.deviation[0] == pytest.approx(expected, abs=1e-12)
    assert blocks.deviation[1] == pytest.approx(0.0, abs=1e-12)


def test_a_gap_and_uneven_counts_do_not_look_like_breathing() -> None:
    rng = np.random.default_rng(11)
    count = rng.integers(60, 100, 150).astype(float)
    count[50:75] = 0.0
    noise = 3.0 / np.sqrt(np.maximum(count, 1))
    along = 1 + noise * rng.standard_normal((24, 150))
    blocks, size = _blocks(along, count)
    floor = 3.0 / math.sqrt(count.sum())
    result = breathing(blocks, size=size, noise=np.full(24, floor**2))
    assert np.median(result.standard_error) == pytest.approx(floor, rel=0.06)
    assert np.median(result.share) == 0.0


def test_too_few_blocks_leave_breathing_unknown() -> None:
    result = breathing(
        Blocks(np.zeros((2, 7)), np.ones(7), BLOCK_S), size=np.ones(2), noise=np.full(2, 0.04)
    )
    assert result.standard_error == pytest.approx(0.2)
    assert np.isnan(result.share).all()


@pytest.mark.parametrize("size", [0.0, 1.0, 1e8])
def test_extreme_lines_give_finite_errors(size: float) -> None:
    deviation = np.random.default_rng(12).standard_normal((3, 40))
    deviation -= deviation.mean(axis=1, keepdims=True)
    blocks = Blocks(deviation, np.ones(40), BLOCK_S)
    for noise in (1e-18, 1 / 40, 1e12):
        result = breathing(blocks, size=np.full(3, size), noise=np.full(3, noise))
        assert np.isfinite(result.standard_error).all()
        assert (result.standard_error > 0).all()
