"""Which speed explains a recording: candidates refined, compared, and compared again."""

import numpy as np

from vibetrend.engine import Engine
from vibetrend.errors import MeasureError
from vibetrend.orders.estimate import Driven, Estimate, NotFollowedError, begun, settled, tried
from vibetrend.orders.lines import MAINS_HZ
from vibetrend.orders.phase import Spline
from vibetrend.orders.rescaled import other_speeds, strangers
from vibetrend.orders.search import candidates
from vibetrend.orders.signal import Signal
from vibetrend.recording import FloatArray

HIGHEST_ORDER = 12.0


def lines_of(engine: Engine | None) -> FloatArray:
    """Return the orders that are fitted: every half order, and an engine's firing order."""
    orders = np.arange(1, 2 * HIGHEST_ORDER + 1) / 2
    if engine is not None:
        orders = np.union1d(orders, [engine.firing_order_number])
    return orders


_HOPELESS = 1000.0  # log evidence by which a candidate may be behind after one round
_TAG_ERROR = 0.025  # standard deviation of a rev counter, share of the speed
_STILL_LEFT = 0.75  # of the weight of strangers, at most, for another speed to be right
_TAG_WRONG = 20.0  # log evidence that a misread rev counter takes, however far it is off
_STRANGER = 60.0  # log evidence against a speed at which the strongest line is not the engine's
_MAINS_WANDER = 2e-3  # share
_FEWEST_CLEAR = 3  # orders of an engine that runs
_RIVAL = 12.0  # a speed whose log evidence is within this of the best could be the true one
_APART = 0.01  # speeds nearer than this share are the same answer


def likeliest(
    signal: Signal, tag_hz: float, orders: FloatArray, driven: Driven
) -> tuple[Estimate, list[float]]:
    """Return the estimate that explains most, and the speeds (Hz) of rivals near it.

    Candidates near the tag first; then, where lines are left over, speeds in proportion to the
    best, near the tag or far from it.
    """
    ratios = np.array([ratio for _, ratio in driven])
    spline = Spline(signal.time)
    found = candidates(signal, tag_hz=tag_hz, orders=orders, driven=ratios)
    if not found:
        raise MeasureError(
            f"{2 * signal.nyquist_hz:.3g} samples per second cannot show any order at "
            f"{60 * tag_hz:.0f} rpm; record with a faster sensor or as sound"
        )
    starts = [begun(signal, spline, start, orders=orders) for start in found]
    top_hz = HIGHEST_ORDER * tag_hz
    weights = [start.evidence(top_hz) for start in starts]
    trials = [
        _Trial(tried(start, steady=candidate.steady, driven=driven), candidate.steady, tag_hz)
        for start, candidate, weight in zip(starts, found, weights, strict=True)
        if weight > max(weights) - _HOPELESS
    ]
    first = max(trials, key=lambda trial: trial.belief)
    best = settled(first.estimate, steady=first.steady, driven=driven)
    believed = _belief(best, tag_hz)
    for other in other_speeds(best, tag_hz=tag_hz):
        try:
            start = begun(signal, spline, other, orders=orders)
            trial = _Trial(tried(start, steady=other.steady, driven=driven), other.steady, tag_hz)
        except NotFollowedError:
            continue  # it was none
        if trial.belief < first.belief - _HOPELESS:
            continue
        rescaled = settled(trial.estimate, steady=other.steady, driven=driven)
        if strangers(rescaled) > _STILL_LEFT * strangers(best):
            continue  # lines by chance on a denser comb
        trials.append(trial)
        gained = _belief(rescaled, tag_hz) - believed
        if gained > 0:
            best, believed = rescaled, believed + gained
        if gained > _HOPELESS:
            break
    return best, _rivals(best, trials)


class _Trial:
    """A candidate refined far enough to be compared."""

    def __init__(self, estimate: Estimate, steady: bool, tag_hz: float) -> None:
        self.estimate, self.steady = estimate, steady
        self.hertz, self.belief = estimate.phase.mean_hz(), _belief(estimate, tag_hz)


def _rivals(best: Estimate, trials: list[_Trial]) -> list[float]:
    """Return other speeds, Hz, that were believed about as much as the best of the trials."""
    least = max(trial.belief for trial in trials) - _RIVAL
    speeds = [best.phase.mean_hz()]
    for trial in trials:
        apart = all(abs(trial.hertz / other - 1) > _APART for other in speeds)
        if apart and trial.belief > least:
            speeds.append(trial.hertz)
    return speeds[1:]


def _belief(estimate: Estimate, tag_hz: float) -> float:
    """Return the log evidence of a speed, with what is known of gauges and engines counted."""
    off = (estimate.phase.mean_hz() / tag_hz - 1) / _TAG_ERROR
    evidence = estimate.evidence(HIGHEST_ORDER * tag_hz) - min(0.5 * off**2, _TAG_WRONG)
    return evidence - (_STRANGER if _stranger_is_strongest(estimate) else 0.0)


def _stranger_is_strongest(estimate: Estimate) -> bool:
    """Say whether the strongest line is no order, no known part, and no mains beside an engine."""
    count = len(estimate.orders)
    row = int(estimate.strength.argmax()) - count
    if row < 0:
        return False
    line = estimate.others[row]
    hertz = line.hertz(estimate.phase.mean_hz())
    mains = np.abs(hertz / np.outer(MAINS_HZ, (1.0, 1.5, 2.0)) - 1).min() < _MAINS_WANDER
    running = estimate.clear.sum() >= _FEWEST_CLEAR
    return not line.name and not (mains and running)
