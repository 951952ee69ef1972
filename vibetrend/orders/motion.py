"""How the engine moves at each order: the phase, and on two or three axes the ellipse.

A line with complex amplitudes c on the axes moves as Re[c exp(i w t)], which is an ellipse:

    c exp(-i psi) = p + i q,   psi = arg(sum_a c_a^2) / 2,   |p| >= |q|,   p . q = 0          (1)

(Born & Wolf, Principles of Optics, sec. 1.4.3). p and q are its semi-axes, psi its phase: none
depends on how the phone lies. To first order noise dc moves the phase by

    dpsi = Im[sum_a c_a dc_a / sum_a c_a^2]                                                  (2)

Without a mark on the crank its angle has no zero. Counted from a crest of order f, order k has

    phase_k = psi_k - (k / f) psi_f                                                          (3)

wherever the recording starts. psi itself repeats after 360 degrees, or after 180 where it comes
from several axes, because p and -p are the same line; f has f crests in a turn. So Eq. 3 is known
up to 360 / b (180 / b) degrees, k / f = a / b in lowest terms.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from vibetrend.orders.fit import ComplexArray
from vibetrend.recording import FloatArray, Kind

Reference = float | Literal["tacho"]
"""What phases are counted from: a crest of this order, or the tacho's mark."""

MOVING: tuple[Kind, ...] = ("acceleration", "velocity", "rotation")
"""Kinds whose axes are the components of one vector."""

_FINEST = 240  # denominator of an order's ratio to another


@dataclass(frozen=True, eq=False)
class Phases:
    """Degrees, shape (lines,); NaN where a phase has no meaning or is not known."""

    degrees: FloatArray  # in [0, repeats)
    standard_error: FloatArray
    repeats: FloatArray  # phases that differ by a multiple of this cannot be told apart


def leaning(amplitude: ComplexArray) -> ComplexArray:
    """Return w, shape (lines, axes), so that dpsi of Eq. 2 is Re[sum_a conj(w_a) dc_a]."""
    square = np.sum(amplitude**2, axis=1, keepdims=True)
    return np.asarray(1j * amplitude.conj() / np.where(square == 0, 1e-300, square.conj()))


def phases(
    places: FloatArray,
    amplitude: ComplexArray,
    standard_error: FloatArray,
    *,
    known: NDArray[np.bool_],
    reference: Reference,
) -> Phases:
    """Return the phase of each order, x = cos(2 pi k theta + phase).

    Parameters
    ----------
    places : array, shape (lines,)
        Order of each line; theta is in turns.
    amplitude : complex array, shape (lines, axes)
    standard_error : array, shape (lines,)
        Of psi, rad.
    known : array of bool, shape (lines,)
        Lines that are visible and keep an exact order: belts creep.
    reference : float or "tacho"
        A tacho's theta is whole at its mark, in every turn.
    """
    psi = np.angle(np.sum(amplitude**2, axis=1)) / 2
    own = 180.0
    if amplitude.shape[1] == 1:  # the sign of a single axis means something
        psi, own = np.angle(amplitude[:, 0]), 360.0
    error, repeats = standard_error.copy(), np.full(len(places), np.nan)
    mark = Fraction(360)  # degrees of the crank after which it cannot be told from itself
    if reference != "tacho":
        zero = np.flatnonzero(np.isclose(places, reference) & known)
        if zero.size == 0:
            return Phases(*np.full((3, len(places)), np.nan))
        share = places / reference
        psi = psi - share * psi[zero[0]]
        error = np.hypot(error, share * error[zero[0]])
        error[zero[0]] = 0.0
        mark = Fraction(own) / Fraction(reference).limit_denominator(_FINEST)
    for row in np.flatnonzero(known):
        turned = mark * Fraction(places[row]).limit_denominator(_FINEST) / Fraction(own)
        repeats[row] = own / turned.denominator
    degrees, error = np.degrees(psi), np.degrees(error)
    lost = ~(4 * error < repeats)  # its 95 % interval goes all the way round
    degrees = np.where(lost, np.nan, degrees % repeats)
    degrees = np.where(degrees >= repeats, 0.0, degrees)  # the remainder of -1e-17 is rounded up
    return Phases(degrees, np.where(lost, np.nan, error), repeats)


def ellipse(
    amplitude: ComplexArray, variance: FloatArray, *, axes: Sequence[str]
) -> dict[str, Any] | None:
    """Return the ellipse of one line's motion, Eq. 1.

    Parameters
    ----------
    amplitude : complex array, shape (axes,)
        0-to-peak.
    variance : array, shape (axes,)
        Of real and imaginary part by noise.

    Returns
    -------
    dict or None
        ``major`` and ``minor``: rms along the semi-axes, noise bias removed. ``direction``: unit
        vector along the major axis, its largest component positive. On three axes ``normal``: unit
        vector about which the motion turns right-handed; on two ``turns``: "x to y" or "y to x".
        Both are None where the motion cannot be told from a straight line. None for one axis.
    """
    count = len(axes)
    if count not in (2, 3):
        return None
    turned = amplitude * np.exp(-0.5j * np.angle(np.sum(amplitude**2)))
    p, q = turned.real, turned.imag
    direction = p / np.linalg.norm(p)
    direction = direction * np.sign(direction[np.argmax(np.abs(direction))])
    # Noise adds a variance to q for each direction but p's (and gives p one more).
    noise = float(np.mean(variance)) * (count - 1) / 2
    minor = float(q @ q) / 2 - noise
    total = float(np.sum(np.abs(amplitude) ** 2) / 2 - np.sum(variance))
    opens = minor > 4 * noise
    minor = max(0.0, minor)
    result = {
        "major": float(np.sqrt(max(0.0, total - minor))),
        "minor": float(np.sqrt(minor)),
        "direction": dict(zip(axes, direction.tolist(), strict=True)),
    }
    if count == 2:
        onward = p[0] * -q[1] - p[1] * -q[0]  # the motion goes from p to -q
        ways = (f"{axes[1]} to {axes[0]}", f"{axes[0]} to {axes[1]}")
        return result | {"turns": ways[int(onward > 0)] if opens else None}
    normal = np.cross(q, p)
    normal = normal / max(float(np.linalg.norm(normal)), 1e-300)
    named = dict(zip(axes, normal.tolist(), strict=True))
    return result | {"normal": named if opens else None}
