"""From a coarse speed track to phase, orders and noise: the refinement loop."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from vibetrend.errors import MeasureError
from vibetrend.orders.fit import ComplexArray, LineFit, fit_lines, local_density, phasors
from vibetrend.orders.lines import (
    MAX_OTHERS,
    OtherLine,
    find_driven,
    find_mains,
    find_others,
    kept,
    retuned,
)
from vibetrend.orders.phase import Phase, Spline, refine, start_phase
from vibetrend.orders.search import Candidate
from vibetrend.orders.signal import Signal
from vibetrend.orders.spectrum import grid, transform
from vibetrend.orders.windows import Windows
from vibetrend.recording import FloatArray

_TRIAL_ROUNDS = 3
_MORE_ROUNDS = 16
_KNOWN_ROUNDS = 6
_TRIAL_HUNT = 1  # the round of a trial after which other lines are looked for
_MORE_HUNTS = (0, 2)
_END_ROUNDS = (0, 3)
_SLIP_TURNS, _STRAY_TURNS = 4.0, 3.0  # in which slips and lost stretches are looked for
_MENDINGS = 6
_LOW_ORDERS, _LOW_ROUNDS = 4.0, 2
_WORTH_WANDER = 40.0  # log evidence: a real wander is worth hundreds
_SETTLED = 0.01  # phase change, in standard errors of a knot's worth of samples
INSEPARABLE = 4.0  # VIF above which two lines are said to share a frequency
_RUNNING = 30.0  # strength of an order that is there
_LEAST_NOISE = 1e-7  # of the mean square: 70 dB, more than any recording of an engine has
_BANDS = 24  # of the evidence, each with its own noise
_NOISE_WIDTH = 0.44  # orders in which the noise near a line is measured

Driven = tuple[tuple[str, float], ...]
"""Name and ratio of each driven part."""


class NotFollowedError(MeasureError):
    """A speed that was supposed leads to a crank that turns backwards."""


@dataclass(frozen=True, eq=False)
class Estimate:
    """Everything fitted together at one speed track."""

    signal: Signal
    phase: Phase
    theta: FloatArray  # (n,) turns at the samples
    orders: FloatArray  # (orders,)
    others: list[OtherLine]
    fit: LineFit
    density: FloatArray  # (orders + others, axes) one-sided, unit^2 / Hz

    def lines(self) -> ComplexArray:
        """Return the unit phasors of orders and others, shape (orders + others, n).

        Made anew each time: many candidates are held at once, and theirs would be most of the
        memory that a measurement takes.
        """
        return _lines(self.theta, self.signal.time, self.orders, self.others)

    def line(self, row: int) -> ComplexArray:
        """Return one row of `lines`, shape (n,)."""
        if row < len(self.orders):
            turns = self.orders[row] * self.theta
        else:
            turns = self.others[row - len(self.orders)].turns(self.theta, self.signal.time)
        phasor: ComplexArray = np.exp(2j * np.pi * turns)
        return phasor

    @cached_property
    def places(self) -> FloatArray:
        """Mean order of each line, shape (lines,)."""
        crank = self.phase.mean_hz()
        return np.array([*self.orders, *(line.hertz(crank) / crank for line in self.others)])

    @cached_property
    def hertz(self) -> FloatArray:
        """Mean frequency of each line, shape (lines,)."""
        return self.places * self.phase.mean_hz()

    @property
    def variance(self) -> FloatArray:
        """v_k of Eq. 2 of the fit, shape (lines, axes)."""
        alone = self.density * self.signal.rate / len(self.signal.time)
        return alone * self.fit.inflation[:, np.newaxis]

    @property
    def strength(self) -> FloatArray:
        """How far each line stands above the noise: its chi-square over 2, shape (lines,)."""
        power = np.abs(self.fit.amplitude) ** 2
        return np.asarray(np.sum(power / (2 * self.variance), axis=1))

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Which orders stand out as noise, searched through, never does, shape (orders,)."""
        return self.strength[: len(self.orders)] > _RUNNING

    def windows(self, *, turns: float) -> Windows:
        """Return the agreement of each stretch of so many turns with the whole."""
        count = len(self.orders)
        lines = self.lines()[:count]
        return Windows(
            theta=self.theta,
            samples=self.fit.residual + (lines.T @ self.fit.amplitude[:count]).real,
            lines=lines,
            orders=self.orders,
            amplitude=self.fit.amplitude[:count],
            variance=self.density[:count] * self.signal.rate / 2,
            turns=turns,
        )

    def evidence(self, top_hz: float) -> float:
        """Return the log evidence of this track against others, from what is below `top_hz`.

        Whittle's likelihood of what the fit leaves over, each half-order-wide band with its own
        noise: a line left over costs much, but not its whole energy, so that one strong line of a
        belt or a bearing does not outvote the engine's own weaker ones. Less what the wander of
        the track and the frequency of each other line cost (Occam's factors).
        """
        signal = self.signal
        even_rate = signal.rate if signal.even else None
        gridded = grid(signal.time, self.fit.residual, top=top_hz, even_rate=even_rate)
        step, spectrum = transform(gridded, padding=1, top=top_hz)
        width = max(4, int(top_hz / _BANDS / step))
        bands = spectrum.shape[1] // width
        # What an invented recording holds below any real noise tells nothing.
        least = 4 * _LEAST_NOISE * float(np.mean(signal.samples**2)) / len(signal.time) + 1e-200
        power = np.abs(spectrum[:, : bands * width]) ** 2 + least
        likelihood = -width * np.log(power.reshape(len(power), bands, width).mean(axis=-1)).sum()
        # A line fitted to noise takes one unit with it on each axis.
        fitted = (self.orders * self.phase.mean_hz() < top_hz).sum() + len(self.others)
        costs = len(power) * fitted + np.log(2 * signal.duration * top_hz) * len(self.others)
        return float(likelihood - self.phase.complexity() - costs)


def begun(signal: Signal, spline: Spline, candidate: Candidate, *, orders: FloatArray) -> Estimate:
    """Fit a candidate and refine it once: enough to see which are hopeless.

    A steady candidate is held steady, lest the track bend towards lines that are not the
    engine's before these are found.
    """
    phase = start_phase(spline, signal.time, candidate.time, candidate.hertz)
    if signal.nyquist_hz > 0.51 * signal.rate:  # resampled: nothing is left above
        orders = orders[orders * phase.mean_hz() < signal.rate / 2]
    now = _fitted(signal, phase, orders, [])
    return _improved(now, stiff=candidate.steady, hunt=False, driven=())[0]


def followed(signal: Signal, phase: Phase, *, orders: FloatArray, driven: Driven) -> Estimate:
    """Fit all lines at a phase that is known, from a tacho."""
    now = _fitted(signal, phase, orders, [])
    for turn in range(_KNOWN_ROUNDS):
        lines = now.lines()[len(orders) :]
        others = _others(now, lines, hunt=turn in _MORE_HUNTS, driven=driven)
        if not others and turn >= _MORE_HUNTS[-1]:
            break
        now = _fitted(signal, phase, orders, others)
    return now


def tried(now: Estimate, *, steady: bool, driven: Driven) -> Estimate:
    """Refine a candidate far enough to compare it with others."""
    for turn in range(_TRIAL_ROUNDS):
        now, _ = _improved(now, stiff=steady, hunt=turn == _TRIAL_HUNT, driven=driven)
    return now


def settled(now: Estimate, *, steady: bool, driven: Driven) -> Estimate:
    """Refine phase, other lines and orders in turn, until the phase settles.

    A candidate that was found steady stays so unless letting its speed wander is worth the
    freedom it takes.
    """
    held = _refined(now, stiff=True, driven=driven) if steady else now
    top_hz = float(now.orders[-1] * now.phase.mean_hz())  # every track is judged in the same bands
    free = _refined(held, stiff=False, driven=driven)
    free = _mended(free, top_hz, driven)
    if not steady:
        return free
    return free if free.evidence(top_hz) > held.evidence(top_hz) + _WORTH_WANDER else held


def _mended(now: Estimate, top_hz: float, driven: Driven) -> Estimate:
    """Put right what slipped by part of a turn, as long as that explains more."""
    time = now.signal.time
    for _ in range(_MENDINGS):
        strayed = now.windows(turns=_STRAY_TURNS).strayed(time)
        shift = now.windows(turns=_SLIP_TURNS).slip()
        phases = [now.phase.redrawn(time, strayed)]
        if phases[0] is now.phase:
            phases.clear()
        if shift is not None:
            shifted = now.phase.beta + now.phase.spline.fit(shift)
            phases.append(replace(now.phase, beta=shifted))
        mended = [
            _refined(
                _fitted(now.signal, phase, now.orders, now.others),
                stiff=False,
                driven=driven,
                redrawn=True,
            )
            for phase in phases
        ]
        best = max([now, *mended], key=lambda each: each.evidence(top_hz))
        if best is now or (shift is None and not strayed):
            return best
        now = best
    return now


def _refined(now: Estimate, *, stiff: bool, driven: Driven, redrawn: bool = False) -> Estimate:
    """Improve an estimate until its phase rests; where it was redrawn, by its low orders first.

    A stretch drawn by hand is good to a twentieth of a turn: half a cycle of a high order.
    """
    for turn in range(_MORE_ROUNDS):
        if turn in _END_ROUNDS and not stiff:
            drawn = now.phase.redrawn(now.signal.time)
            if drawn is not now.phase:
                now = _fitted(now.signal, drawn, now.orders, now.others)
        hunt = turn in _MORE_HUNTS
        top = _LOW_ORDERS if redrawn and turn < _LOW_ROUNDS else np.inf
        now, moved = _improved(now, stiff=stiff, hunt=hunt, driven=driven, top=top)
        if moved < _SETTLED and turn > _MORE_HUNTS[-1]:
            break
    return now


def _improved(
    now: Estimate, *, stiff: bool, hunt: bool, driven: Driven, top: float = np.inf
) -> tuple[Estimate, float]:
    """Make one round; also return how far the phase moved, in its own standard errors.

    Orders above `top` do not move it.
    """
    count = len(now.orders)
    # Two that share a frequency cancel with amplitudes of any size: they tell no speed.
    told = (now.fit.inflation[:count] <= INSEPARABLE) & (now.orders <= top)
    lines = now.lines()
    phase = refine(
        now.phase,
        lines[:count],
        now.orders,
        np.where(told[:, np.newaxis], now.fit.amplitude[:count], 0),
        now.density[:count] * now.signal.rate / 2,
        now.fit.residual,
        stiff=stiff,
    )
    others = _others(now, lines[count:], hunt=hunt, driven=driven)
    del lines  # before as many are made for the new phase
    return _fitted(now.signal, phase, now.orders, others), _moved(now.phase, phase)


def _others(now: Estimate, phasor: ComplexArray, *, hunt: bool, driven: Driven) -> list[OtherLine]:
    """Return the other lines, retuned, and if asked those that the residual still holds."""
    count = len(now.orders)
    amplitude, density = now.fit.amplitude[count:], now.density[count:]
    if not hunt:
        return retuned(
            now.others,
            time=now.signal.time,
            theta=now.theta,
            phasor=phasor,
            amplitude=amplitude,
            residual=now.fit.residual,
            density=density,
        )
    others = kept(
        now.others,
        time=now.signal.time,
        theta=now.theta,
        phasor=phasor,
        amplitude=amplitude,
        strength=now.strength[count:],
        residual=now.fit.residual,
        density=density,
    )
    return _hunted(replace(now, others=others), driven)


def _fitted(signal: Signal, phase: Phase, orders: FloatArray, others: list[OtherLine]) -> Estimate:
    theta = phase.turns_at_samples(signal.time)
    crank = phase.mean_hz()
    if crank <= 0:
        raise NotFollowedError(
            "no speed can be followed through this recording; take it again at one steady speed"
        )
    fit = fit_lines(signal.samples, _lines(theta, signal.time, orders, others))
    density = local_density(
        signal.time,
        fit.residual,
        np.array([*(orders * crank), *(line.hertz(crank) for line in others)]),
        width_hz=_NOISE_WIDTH * crank,
        even_rate=signal.rate if signal.even else None,
    )
    # A dead axis has no noise to weigh by, nor has an invented signal without any: 140 dB of
    # range are more than any sensor has.
    least = 1e-14 * float(np.mean(signal.samples**2)) / signal.rate + 1e-200
    density = np.maximum(density, least)
    return Estimate(signal, phase, theta, orders, others, fit, density)


def _lines(
    theta: FloatArray, time: FloatArray, orders: FloatArray, others: list[OtherLine]
) -> ComplexArray:
    lines = phasors(theta, orders)
    if not others:
        return lines
    extra = [np.exp(2j * np.pi * line.turns(theta, time)) for line in others]
    return np.concatenate([lines, extra])


def _hunted(now: Estimate, driven: Driven) -> list[OtherLine]:
    """Return the other lines with driven parts and whatever stands out of the residual added."""
    signal = now.signal
    found = list(now.others)
    known_names = {line.name for line in found}
    for name, ratio in driven:
        if name in known_names:
            continue
        crank = now.phase.mean_hz()
        known = [line for line in found if not line.name]
        near = [line for line in known if abs(line.hertz(crank) / crank / ratio - 1) <= 0.03]
        if near:  # found already, without its name; at a steady speed perhaps as kept by the clock
            place = near[0].hertz(crank) / crank
            found[found.index(near[0])] = OtherLine(place, follows_crank=True, name=name)
            continue
        found.append(
            find_driven(now.theta, now.fit.residual, name=name, ratio=ratio, orders=now.orders)
        )
    crank = now.phase.mean_hz()
    count = len(now.orders)
    known_hertz = np.array([line.hertz(crank) for line in found])
    found += [
        line
        for line in find_mains(
            signal.time,
            now.fit.residual,
            now.line,
            now.density[:count] * signal.rate / 2,
            hertz=now.orders * crank,
            strongest=int(now.strength[:count].argmax()),
            top_hz=signal.nyquist_hz,
        )
        if not known_hertz.size or np.abs(known_hertz - line.place).min() * signal.duration > 1
    ]
    found += find_others(
        signal.time,
        now.theta,
        now.fit.residual,
        orders=now.orders,
        known=found,
        least=float(np.mean(signal.samples**2)) * 1e-12,
        # A line at half the rate itself is found by its peak, which takes bins on either side.
        top_hz=min(float(now.orders[-1] * now.phase.mean_hz() * 1.02), 1.02 * signal.nyquist_hz),
        even_rate=signal.rate if signal.even else None,
    )
    return found[:MAX_OTHERS]


def _moved(before: Phase, after: Phase) -> float:
    """Return the largest change of phase in its own standard errors over one knot."""
    spline = after.spline
    times = np.linspace(0.0, spline.duration, 4 * spline.size)
    change = after.turns(times) - before.turns(times)
    samples_per_knot = spline.gram.trace() / spline.size / 0.48  # sum of B^2 over B's support
    return float(np.abs(change).max() * np.sqrt(after.alpha * samples_per_knot))
