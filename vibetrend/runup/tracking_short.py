"""The speed through a sweep of few turns, as of an engine that is switched off.

Over less than some dozen engine cycles half orders cannot be told apart window by window. All
orders are fitted at once instead, each with one amplitude throughout, and the angle by Gauss-Newton
steps of :mod:`vibetrend.orders.phase`, low orders first. Amplitudes and pulses change as the fuel
is cut; what they do together looks like a change of speed, which no method can tell from one.
"""

from dataclasses import replace

import numpy as np

from vibetrend.orders.fit import fit_lines, local_density, phasors
from vibetrend.orders.phase import Spline, phase_through, refine
from vibetrend.orders.signal import Signal
from vibetrend.runup.track import Track, track_through
from vibetrend.runup.tracking import Ends

FEW_TURNS = 60.0
_KNOT_TURNS = 3.0
_SPLINE_KNOT = 0.15  # what `Spline` has for a knot: time is counted so that it becomes 3 turns
_ROUNDS, _EACH = 14, 2  # how often with each
_TOPS = (2.0, 4.0)  # highest order fitted, ever more
_WIDTH_TURNS = 1.2  # of a crank frequency, over which the noise is looked at
_STEP_TURNS = 1.0
_DRAWN = (0.1, 0.2, 0.3)  # of the sweep, at either end


def refined_short(signal: Signal, track: Track, ends: Ends) -> Track:
    """Return the track that explains the samples best with orders of constant amplitude.

    The last turns rest on few samples and may settle in a wrong place. So the search begins from
    several tracks: as found, and with both ends drawn straight on from what lies inside.
    """
    found = [_settled(signal, start, ends) for start in _starts(track)]
    return min(found, key=lambda each: each[1])[0]


def _starts(track: Track) -> list[Track]:
    starts = [track]
    span = track.time[-1] - track.time[0]
    time = np.linspace(track.time[0], track.time[-1], 60)
    speed = np.log(track.hertz_at(time))
    for share in _DRAWN:
        inner = np.abs(time - time.mean()) <= (0.5 - share) * span
        edge = np.flatnonzero(inner)
        drawn = speed.copy()
        for at, inside in ((edge[0], edge[:6]), (edge[-1], edge[-6:])):
            slope = np.polyfit(time[inside], speed[inside], 1)[0]
            beyond = time < time[at] if at == edge[0] else time > time[at]
            drawn[beyond] = speed[at] + slope * (time[beyond] - time[at])
        starts.append(track_through(time, np.exp(drawn)))
    return starts


def _settled(signal: Signal, track: Track, ends: Ends) -> tuple[Track, float]:
    """Return the track refined from a start, and the power it leaves over."""
    unit = _SPLINE_KNOT / (_KNOT_TURNS / track.mean_hz())  # of the clock used here, a second
    time = signal.time * unit
    spline = Spline(time)
    phase = phase_through(spline, time, track.turns_at(signal.time))
    halves = np.arange(1, 25) / 2
    left = np.inf
    for each in range(_ROUNDS):
        top = _TOPS[min(each // _EACH, len(_TOPS) - 1)]
        orders = halves[(halves <= top) & (halves * ends.high < signal.nyquist_hz)]
        lines = phasors(phase.turns_at_samples(time), orders)
        fit = fit_lines(signal.samples, lines)
        left = float((fit.residual**2).sum())
        density = local_density(
            signal.time,
            fit.residual,
            orders * track.mean_hz(),
            width_hz=_WIDTH_TURNS * track.mean_hz(),
            even_rate=signal.rate if signal.even else None,
        )
        variance = density * signal.rate / 2 + 1e-300
        step = refine(phase, lines, orders, fit.amplitude, variance, fit.residual, stiff=False)
        phase = replace(step, beta=(step.beta + phase.beta) / 2)  # whole steps overshoot
    count = max(6, int((track.turns[-1] - track.turns[0]) / _STEP_TURNS))
    edges = np.linspace(0.0, spline.duration, count + 1)
    half = min(unit / track.mean_hz(), spline.duration / 4)  # a turn: over a cycle in all
    low = np.clip(edges - half, 0.0, spline.duration)
    high = np.clip(edges + half, 0.0, spline.duration)
    hertz = (phase.turns(high) - phase.turns(low)) / (high - low) * unit
    return track_through(edges / unit, np.clip(hertz, ends.low / 2, 2 * ends.high)), left
