"""From a coarse speed track to phase, orders and noise: the refinement loop."""

from dataclasses import dataclass, replace

import numpy as np

from vibetrend.orders.fit import ComplexArray, LineFit, fit_lines, local_density, phasors
from vibetrend.orders.lines import MAX_OTHERS, OtherLine, find_driven, find_others, retuned
from vibetrend.orders.phase import Phase, Spline, refine, start_phase
from vibetrend.orders.search import Candidate
from vibetrend.orders.signal import Signal
from vibetrend.orders.spectrum import grid, transform
from vibetrend.orders.windows import Windows
from vibetrend.recording import FloatArray

_TRIAL_ROUNDS = 3
_MORE_ROUNDS = 16
_TRIAL_HUNT = 1  # the round of a trial after which other lines are looked for
_MORE_HUNTS = (0, 2)
_END_ROUNDS = (0, 3)
_WORTH_WANDER = 40.0  # log evidence: a real wander is worth hundreds
_SETTLED = 0.01  # phase change, in standard errors of a knot's worth of samples
_NOISE_WIDTH = 0.44  # orders in which the noise near a line is measured

Driven = tuple[tuple[str, float], ...]
"""Name and ratio of each driven part."""


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

    def windows(self) -> Windows:
        """Return the agreement of each stretch with the whole."""
        count = len(self.orders)
        return Windows(
            theta=self.theta,
            samples=self.signal.samples,
            lines=self.lines()[:count],
            orders=self.orders,
            amplitude=self.fit.amplitude[:count],
            variance=self.density[:count] * self.signal.rate / 2,
        )

    def evidence(self, tag_hz: float) -> float:
        """Return the log evidence of this track against others of the same recording.

        Whittle's likelihood of what the fit leaves over, each half-order-wide band with its own
        noise: a line left over costs much, but not its whole energy, so that one strong line of a
        belt or a bearing does not outvote the engine's own weaker ones. Less what the wander of
        the track and the frequency of each other line cost (Occam's factors).
        """
        signal = self.signal
        top = float(self.orders[-1]) * tag_hz
        even_rate = signal.rate if signal.even else None
        step, spectrum = transform(
            grid(signal.time, self.fit.residual, top=top, even_rate=even_rate), padding=1, top=top
        )
        width = max(4, int(0.5 * tag_hz / step))
        bands = spectrum.shape[1] // width
        power = np.abs(spectrum[:, : bands * width]) ** 2 + 1e-200
        likelihood = -width * np.log(power.reshape(len(power), bands, width).mean(axis=-1)).sum()
        naming = np.log(2 * signal.duration * top) + power.shape[0]
        return float(likelihood - self.phase.complexity() - naming * len(self.others))


def begun(signal: Signal, spline: Spline, candidate: Candidate, *, orders: FloatArray) -> Estimate:
    """Fit a candidate and refine it once: enough to see which are hopeless.

    A steady candidate is held steady, lest the track bend towards lines that are not the
    engine's before these are found.
    """
    phase = start_phase(spline, signal.time, candidate.time, candidate.hertz)
    now = _fitted(signal, phase, orders, [])
    return _improved(now, stiff=candidate.steady, hunt=False, driven=())[0]


def tried(now: Estimate, *, steady: bool) -> Estimate:
    """Refine a candidate far enough to compare it with others."""
    for turn in range(_TRIAL_ROUNDS):
        now, _ = _improved(now, stiff=steady, hunt=turn == _TRIAL_HUNT, driven=())
    return now


def settled(now: Estimate, *, steady: bool, driven: Driven) -> Estimate:
    """Refine phase, other lines and orders in turn, until the phase settles.

    A candidate that was found steady stays so unless letting its speed wander is worth the
    freedom it takes.
    """
    held = _refined(now, stiff=True, driven=driven) if steady else now
    crank = now.phase.mean_hz()  # every track is judged in the same bands
    free = _refined(held, stiff=False, driven=() if steady else driven)
    shift = free.windows().slips()
    if shift is not None:
        phase = replace(free.phase, beta=free.phase.beta + free.phase.spline.fit(shift))
        mended = _refined(
            _fitted(free.signal, phase, free.orders, free.others), stiff=False, driven=()
        )
        free = max(free, mended, key=lambda each: each.evidence(crank))
    if not steady:
        return free
    return free if free.evidence(crank) > held.evidence(crank) + _WORTH_WANDER else held


def _refined(now: Estimate, *, stiff: bool, driven: Driven) -> Estimate:
    for turn in range(_MORE_ROUNDS):
        if turn in _END_ROUNDS and not stiff:
            now = _with_straight_ends(now)
        hunt = turn in _MORE_HUNTS
        now, moved = _improved(now, stiff=stiff, hunt=hunt, driven=driven if turn == 0 else ())
        if moved < _SETTLED and turn > _MORE_HUNTS[-1]:
            break
    return now


def _with_straight_ends(now: Estimate) -> Estimate:
    phase = now.phase.with_straight_ends(now.signal.time)
    return _fitted(now.signal, phase, now.orders, now.others)


def _improved(now: Estimate, *, stiff: bool, hunt: bool, driven: Driven) -> tuple[Estimate, float]:
    """Make one round; also return how far the phase moved, in its own standard errors."""
    signal, count = now.signal, len(now.orders)
    lines = now.lines()
    phase = refine(
        now.phase,
        lines[:count],
        now.orders,
        now.fit.amplitude[:count],
        now.density[:count] * signal.rate / 2,
        now.fit.residual,
        stiff=stiff,
    )
    others = retuned(
        now.others,
        time=signal.time,
        theta=now.theta,
        phasor=lines[count:],
        amplitude=now.fit.amplitude[count:],
        residual=now.fit.residual,
        density=now.density[count:],
    )
    del lines  # before as many are made for the new phase
    if hunt:
        others = _hunted(replace(now, others=others), driven)
    return _fitted(signal, phase, now.orders, others), _moved(now.phase, phase)


def _fitted(signal: Signal, phase: Phase, orders: FloatArray, others: list[OtherLine]) -> Estimate:
    theta = phase.turns_at_samples(signal.time)
    crank = phase.mean_hz()
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
    for name, ratio in driven:
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
    found += find_others(
        signal.time,
        now.theta,
        now.fit.residual,
        orders=now.orders,
        known=found,
        least=float(np.mean(signal.samples**2)) * 1e-12,
        top_hz=min(float(now.orders[-1] * now.phase.mean_hz() * 1.02), signal.nyquist_hz),
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
