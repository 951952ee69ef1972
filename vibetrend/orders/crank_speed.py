"""How the crank's speed fluctuates within its turns, order by order, from the times of teeth.

Edge j comes when the crank has turned by phi_j. With the even angle g, the slow wander of
`teeth_track` Eq. 1,

    phi_j = g_j + sum_k Re[a_k exp(2 pi i k g_j)] + e_s(j) + noise                           (1)

e_s being the error of a tooth's place. The speed then fluctuates by 2 pi i k a_k of its mean at
order k. Angles are fitted, not speeds over tooth intervals, so that no interval averages an order
down. Generalised least squares in the second divided differences of Eq. 1, where wander and jitter
have the covariance that `Walk` predicts, give the half orders (0.5, 1.5, ...) together with a free
value for each tooth: half orders are immune to e but for products of two small quantities. The
whole orders are then fitted to the values of the teeth. What they do not explain tells how exactly
the teeth are placed and counts in their standard error, but an error of place that is itself of
whole orders (a wheel that runs out) cannot be told from the crank's motion: `TOOTH_SPACING`. A
sensor may displace the teeth beside a gap by a third of a pitch; where they stand out of the rest
they are left out.

The variance of a line comes from the residual near it, and from what its amplitude does from cycle
to cycle (`breathing`).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.special
from numpy.typing import NDArray

from vibetrend.errors import MeasureError
from vibetrend.orders.amplitudes import COLUMNS
from vibetrend.orders.breathing import Blocks, Breathing, breathing
from vibetrend.orders.fit import ComplexArray
from vibetrend.orders.teeth_track import Edges, Walk, edges_of
from vibetrend.recording import FloatArray, Note, Tacho

TOOTH_SPACING = Note(
    "tooth-spacing",
    "note",
    "Whole orders of the crank's speed fluctuation also hold the run-out of the toothed wheel, "
    "which looks the same: compare them only between recordings from the same wheel and sensor. "
    "Half orders are free of it.",
)
"""To be said beside the table of a wheel whose teeth return every turn."""

HIGHEST_ORDER = 12.0
_MIGHT_MATTER = 12.0  # an order N - k below this passes as order k of N teeth, and may be as strong
_FEWEST_CYCLES = 4
_MOST_NUMBERS = 5e6  # in the largest matrix: the middle edges of a long recording count
_NEIGHBOURS = 8  # on either side of a line, for its variance
_BLOCK_SECONDS = 0.2  # no breathing that matters is faster
_DOUBT = 8.0  # times the variance: a whole order below is taken for places of teeth
_ROUNDS = 4  # walk, then orders, and again: orders pass as a strong walk at first
_STRANGE = 1e-3  # chance that sound teeth beside gaps are left out
_FALSE_VISIBLE = 1e-4  # chance that noise alone makes an order visible


@dataclass(frozen=True, eq=False)
class _Angles:
    """Amplitudes a_k of Eq. 1 with their precision, shape (orders,)."""

    amplitude: ComplexArray  # turns, 0-to-peak
    timing: FloatArray  # variance of real and imaginary part by the noise of the edge times
    placing: FloatArray  # the same by errors of the teeth's places
    left_over: int  # degrees of freedom of `placing`
    rest: FloatArray  # (n - 2,) what is left, whitened
    waves: ComplexArray  # (n - 2, orders) the lines, whitened alike


def crank_speed_orders(tacho: Tacho, *, highest: float = HIGHEST_ORDER) -> pd.DataFrame:
    """Return the speed fluctuation of each half order that the teeth can show.

    Parameters
    ----------
    highest : float
        Orders up to this one, or up to a quarter of the edges in a turn if that is less.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`; amplitude, standard_error and floor rms in rad/s, coherent over the
        recording, noise bias removed. Add `TOOTH_SPACING` where the teeth in a turn are a whole
        number.

    Raises
    ------
    MeasureError
        If the tacho has too few teeth or turns.
    """
    edges = edges_of(tacho)
    orders = _orders(tacho, edges, highest)
    edges = _middle(edges, int(_MOST_NUMBERS / ((edges.a_turn or 0) + 2 * len(orders))))
    turned = float(edges.turns[-1] - edges.turns[0])
    if turned < 2 * _FEWEST_CYCLES:
        raise MeasureError(
            f"the tacho covers {turned:.1f} turns, too few for orders of the crank's speed; "
            f"{2 * _FEWEST_CYCLES} are needed: record longer"
        )
    mean_hz = turned / float(edges.time[-1] - edges.time[0])
    angles = _fitted(edges, orders)
    noise, breath, by_noise = _noise(edges, angles, mean_hz)
    student = float(scipy.special.stdtrit(angles.left_over, 0.975)) / 1.959964
    errors = np.sqrt(breath.standard_error**2 + student**2 * angles.placing)
    variance = noise + angles.placing
    # Of a sum of two variances: Welch, Biometrika 34 (1947); Satterthwaite, Biometrics 2 (1946)
    freedom = variance**2 / (noise**2 / by_noise + angles.placing**2 / angles.left_over)
    least = 2 * scipy.special.fdtri(2, freedom, 1 - _FALSE_VISIBLE)
    rows = []
    for row, k in enumerate(orders.tolist()):
        unit = (2 * np.pi) ** 2 * k * mean_hz / np.sqrt(2)  # rad/s rms of a_k
        power = float(np.abs(angles.amplitude[row])) ** 2
        rms = unit * float(np.sqrt(max(0.0, power - 2 * variance[row])))
        error = unit * float(errors[row])
        visible = bool(power > least[row] * variance[row] and error <= rms / 2)
        placed = angles.placing[row] > noise[row]
        hides = "the spacing of the teeth" if placed else "the noise level"
        rows.append(
            {
                "order": k,
                "frequency_hz": k * mean_hz,
                "amplitude": rms,
                "standard_error": error,
                "floor": unit * float(np.sqrt(2 * variance[row])),
                "unit": "rad/s",
                "variation_percent": 100 * float(breath.share[row]),
                "velocity_mm_s": np.nan,
                "visible": visible,
                "reason": None if visible else f"cannot be told from {hides}",
                "by_axis": {"crank": rms},
            }
        )
    return pd.DataFrame(rows, columns=COLUMNS).astype({"visible": bool, "reason": object})


def _middle(edges: Edges, most: int) -> Edges:
    if len(edges.time) <= most:
        return edges
    period = edges.a_turn or 1
    first = (len(edges.time) - most) // 2 // period * period  # the same tooth first
    part = slice(first, first + most)
    return Edges(edges.time[part], edges.turns[part], edges.a_turn)


def _orders(tacho: Tacho, edges: Edges, highest: float) -> FloatArray:
    """Return the half orders that these teeth tell from others and from tooth spacing."""
    teeth = float(tacho.teeth_per_turn)
    density = (len(edges.time) - 1) / float(edges.turns[-1] - edges.turns[0])
    top = min(highest, (density - 1) / 4)
    if (2 * teeth).is_integer():
        top = min(top, teeth - _MIGHT_MATTER)
    if top < 0.5:
        raise MeasureError(
            f"a tacho of {teeth:g} teeth a turn is too coarse for orders of the crank's speed, as "
            f"order 0.5 looks like order {teeth - 0.5:g}; a wheel of 13 teeth or more is needed"
        )
    return np.arange(1, int(2 * top + 1e-9) + 1) / 2


def _fitted(edges: Edges, orders: FloatArray) -> _Angles:
    """Fit Eq. 1."""
    whole = np.zeros(len(orders), dtype=bool) if edges.a_turn is None else orders % 1 == 0
    half = 2 * int((~whole).sum())
    teeth = _each_tooth(edges)
    walk = Walk(np.diff(edges.time))
    teeth_bends = walk.bends(teeth)
    amplitude, likely = np.zeros(len(orders), complex), np.zeros(len(orders), complex)
    timing, placing, left_over = np.zeros(len(orders)), np.zeros(len(orders)), 1
    even, left = edges.turns, walk.bends(edges.turns)
    for _ in range(_ROUNDS):
        lines = np.exp(2j * np.pi * np.outer(even, orders))
        # What is likely the crank's own motion goes by the even angle, not by the tooth.
        known = edges.turns - (lines @ likely).real
        halves = np.hstack([lines[:, ~whole].real, -lines[:, ~whole].imag])
        columns = np.hstack([walk.bends(halves), teeth_bends])
        walk = walk.likeliest(left)
        seen, white = walk.bends(known), walk.white(columns)
        inverse = np.linalg.inv(white.T @ white)
        solution = inverse @ (white.T @ walk.white(seen))
        left = seen - columns @ solution
        variance = float(np.mean(walk.white(left) ** 2)) * len(left) / (len(left) - len(solution))
        own = variance * inverse.diagonal()
        amplitude[~whole] = solution[: half // 2] + 1j * solution[half // 2 : half]
        timing[~whole] = (own[: half // 2] + own[half // 2 : half]) / 2
        by_tooth = known - teeth @ solution[half:]
        even = by_tooth - halves @ solution[:half]
        if edges.a_turn is not None and whole.any():
            places = np.concatenate([[0.0], solution[half:]])
            covariance = variance * np.pad(inverse[half:, half:], ((1, 0), (1, 0)))
            angle = by_tooth[: edges.a_turn]
            rows = _trusted(edges, angle, places, orders[whole])
            change, timing[whole], placing[whole] = _whole(
                angle[rows], places[rows], covariance[np.ix_(rows, rows)], orders[whole]
            )
            amplitude[whole] = likely[whole] + change
            left_over = len(rows) - 1 - 2 * int(whole.sum())
            share = 1 - _DOUBT * (timing + placing) / np.maximum(np.abs(amplitude) ** 2, 1e-300)
            likely = np.where(whole, np.maximum(share, 0.0) * amplitude, 0.0)
    waves = walk.white(walk.bends(lines.real)) + 1j * walk.white(walk.bends(lines.imag))
    return _Angles(amplitude, timing, placing, left_over, walk.white(left), waves)


def _each_tooth(edges: Edges) -> FloatArray:
    """Return a column for each tooth but one, which the angle's zero stands for."""
    if edges.a_turn is None:
        return np.zeros((len(edges.time), 0))
    return np.eye(edges.a_turn)[edges.tooth][:, 1:]


def _periodic(turns: FloatArray, orders: FloatArray) -> FloatArray:
    angle = 2 * np.pi * np.outer(turns, orders)
    return np.hstack([np.cos(angle), -np.sin(angle), np.ones((len(turns), 1))])


def _trusted(
    edges: Edges, turns: FloatArray, places: FloatArray, orders: FloatArray
) -> NDArray[np.intp]:
    """Return the teeth to fit whole orders to: not those beside a gap if they stand out."""
    count = len(places)
    steps = np.diff(edges.turns[: count + 1])
    gap = steps > 1.5 * steps.min()
    beside = gap | np.roll(gap, 1)
    design = _periodic(turns, orders)
    rest, doubted = np.flatnonzero(~beside), np.flatnonzero(beside)
    free = len(rest) - design.shape[1]
    if free < 1 or not len(doubted):
        return np.arange(count)
    inverse = np.linalg.inv(design[rest].T @ design[rest])
    solution = inverse @ (design[rest].T @ places[rest])
    left = places - design @ solution
    scatter = float(left[rest] @ left[rest]) / free
    expected = np.eye(len(doubted)) + design[doubted] @ inverse @ design[doubted].T
    strange = float(left[doubted] @ np.linalg.solve(expected, left[doubted])) / len(doubted)
    limit = float(scipy.special.fdtri(len(doubted), free, 1 - _STRANGE))
    return rest if strange > limit * scatter else np.arange(count)


def _whole(
    turns: FloatArray, places: FloatArray, covariance: FloatArray, orders: FloatArray
) -> tuple[ComplexArray, FloatArray, FloatArray]:
    """Return whole orders fitted to the teeth's values.

    Returns
    -------
    amplitude, timing, placing : arrays, shape (orders,)
        Turns; variance that comes with `covariance`, and by errors of the teeth's places.
    """
    design = _periodic(turns, orders)
    count, free = len(orders), len(places) - design.shape[1]
    inverse = np.linalg.inv(design.T @ design)
    solver = inverse @ design.T
    remover = np.eye(len(places)) - design @ solver
    left = remover @ places
    by_time = float(np.trace(remover @ covariance @ remover.T))
    scatter = max(float(left @ left) - by_time, 0.0) / free
    solution, timing = solver @ places, (solver @ covariance @ solver.T).diagonal()
    own = inverse.diagonal()
    return (
        solution[:count] + 1j * solution[count:-1],
        (timing[:count] + timing[count:-1]) / 2,
        scatter * (own[:count] + own[count:-1]) / 2,
    )


def _noise(edges: Edges, angles: _Angles, mean_hz: float) -> tuple[FloatArray, Breathing, int]:
    """Return the variance by noise alone, what breathing adds, and degrees of freedom.

    The residual is turned back by each line, cycle by cycle, so that the other half orders cancel;
    the median of its spectrum beside the line is little moved by breathing.
    """
    turns = edges.turns[1:-1]
    cycles = int((turns[-1] - turns[0]) / 2)
    cuts = np.searchsorted(turns, turns[0] + 2.0 * np.arange(cycles + 1))
    inside = slice(cuts[0], cuts[-1])
    waves = angles.waves[inside]
    each = np.add.reduceat(angles.rest[inside, np.newaxis] * waves.conj(), cuts[:-1])
    energy = np.sum(np.abs(waves) ** 2, axis=0)
    power = np.abs(np.fft.fft(each, axis=0)) ** 2 / energy
    near = min(max(_NEIGHBOURS, cycles // 4), (cycles - 1) // 2)
    beside = np.concatenate([power[1 : near + 1], power[-near:]])
    density = np.median(beside, axis=0) / np.log(2)
    noise = angles.timing * density / np.mean(angles.rest**2)

    size = np.abs(angles.amplitude)
    joined = max(1, round(_BLOCK_SECONDS * mean_hz / 2))
    blocks = cycles // joined
    along = 2 * (each * np.exp(-1j * np.angle(angles.amplitude))).real * cycles / energy
    deviation = along[: blocks * joined].reshape(blocks, joined, -1).mean(axis=1).T
    deviation -= deviation.mean(axis=1, keepdims=True)
    parts = Blocks(deviation, np.ones(blocks), joined * 2 / mean_hz)
    return noise, breathing(parts, size=size, noise=noise), 2 * near
