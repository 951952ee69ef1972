"""A chain of inertias with springs between them: natural frequencies, modes, forced twist.

    J_i a_i'' = M_i + L_i (a_{i+1} - a_i) - L_{i-1} (a_i - a_{i-1}),                        (1)
    L_i = k_i (1 + j eta_i) + c_i d/dt

with loss factors eta for what rubber and steel lose in each cycle, as is usual for motion in sines
(Den Hartog, Mechanical Vibrations; Thomson, Theory of Vibration with Applications). Angles are rad,
0 to peak; time runs as exp(j w t).
"""

from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eigh

from vibetrend.recording import FloatArray

ComplexArray = NDArray[np.complex128]
Array = TypeVar("Array", FloatArray, ComplexArray)

_STILL = 1e-3  # share of the lowest natural frequency: what turns more slowly does not swing
_HALVINGS = 80
_NO_PEAK = 0.7  # damping ratio from which on a motion has no resonance, 1 / sqrt(2)


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """Inertias in a row, each joined to the next; the last one perhaps to the ground, too."""

    inertia_kg_m2: FloatArray  # (n,)
    stiffness_nm_rad: FloatArray  # (n - 1,), of each link
    damping_nm_s_rad: FloatArray = field(default_factory=lambda: np.zeros(1))  # (n - 1,) or (1,)
    loss_factor: FloatArray = field(default_factory=lambda: np.zeros(1))  # (n - 1,) or (1,)
    ground_nm_rad: float = 0.0  # from the last inertia to the ground; 0 if it is free

    def __post_init__(self) -> None:
        inertia = np.asarray(self.inertia_kg_m2, dtype=float)
        object.__setattr__(self, "inertia_kg_m2", inertia)
        for name in ("stiffness_nm_rad", "damping_nm_s_rad", "loss_factor"):
            each = np.broadcast_to(np.asarray(getattr(self, name), float), (inertia.size - 1,))
            object.__setattr__(self, name, each)

    @property
    def loose(self) -> int:
        """How many pieces turn freely: those between links without a spring."""
        return int(np.sum(self.stiffness_nm_rad == 0)) + (self.ground_nm_rad == 0)

    @property
    def stiffness(self) -> FloatArray:
        """The stiffness matrix, shape (n, n), N m/rad."""
        return _of_links(self.stiffness_nm_rad, self.ground_nm_rad)

    @property
    def lossy_stiffness(self) -> ComplexArray:
        """The stiffness matrix with the loss factors as its imaginary part."""
        lost = _of_links(self.stiffness_nm_rad * self.loss_factor, 0.0)
        return self.stiffness + 1j * lost

    @property
    def damping(self) -> FloatArray:
        """The matrix of viscous damping, shape (n, n), N m s/rad."""
        return _of_links(self.damping_nm_s_rad, 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Modes:
    """Natural frequencies, lowest first, and how each inertia swings in them."""

    frequency_hz: FloatArray  # (m,)
    shape: FloatArray  # (m, n), largest swing 1


@dataclass(frozen=True, kw_only=True, eq=False)
class DampedModes:
    """What is left of the modes with damping: motions exp(s t) that die away."""

    root: ComplexArray  # (m,), s, rad/s
    shape: ComplexArray  # (m, n), largest swing 1

    @property
    def frequency_hz(self) -> FloatArray:
        """|s| / 2 pi, shape (m,)."""
        return np.abs(self.root) / (2 * np.pi)

    @property
    def damping_ratio(self) -> FloatArray:
        """-Re s / |s|, shape (m,)."""
        ratio: FloatArray = -self.root.real / np.abs(self.root)
        return ratio


@dataclass(frozen=True, kw_only=True, eq=False)
class Holzer:
    """Holzer's table at one frequency, or at several."""

    twist: FloatArray  # (..., n), 1 at the first inertia
    torque: FloatArray  # (..., n), sum of the inertia torques so far, N m for a twist of 1 rad
    residual: FloatArray  # (...), what would have to hold the last inertia; 0 at a natural one


def modes(chain: Chain) -> Modes:
    """Return the modes without damping; of a free chain the first is turning as a whole, 0 Hz."""
    squares, vectors = eigh(chain.stiffness, np.diag(chain.inertia_kg_m2))
    squares[: chain.loose] = 0.0
    return Modes(frequency_hz=np.sqrt(squares) / (2 * np.pi), shape=_largest_1(vectors.T))


def natural_frequencies_hz(chain: Chain) -> FloatArray:
    """Return the natural frequencies without damping, shape (n,), lowest first."""
    return modes(chain).frequency_hz


def damped_modes(chain: Chain) -> DampedModes:
    """Return the modes that resonate, damping and all; what creeps back is left out."""
    n = chain.inertia_kg_m2.size
    over = 1 / chain.inertia_kg_m2[:, None]
    system = np.block(
        [
            [np.zeros((n, n)), np.eye(n)],
            [-over * chain.lossy_stiffness, -over * chain.damping],
        ]
    )
    roots, vectors = np.linalg.eig(system)
    slowest = 2 * np.pi * natural_frequencies_hz(chain)[chain.loose :].min(initial=np.inf)
    resonant = -roots.real < _NO_PEAK * np.abs(roots)
    swinging = np.flatnonzero((roots.imag > _STILL * slowest) & resonant)
    swinging = swinging[np.argsort(np.abs(roots[swinging]))]
    return DampedModes(root=roots[swinging], shape=_largest_1(vectors[:n, swinging].T))


def link_shares(chain: Chain, found: DampedModes, link: int) -> FloatArray:
    """Return each mode's share of elastic energy in one link, shape (m,).

    A per cent more of its stiffness moves a frequency up by half this share of a per cent; from the
    derivative of (s^2 J + s C + K) a = 0.
    """
    s, shape = found.root[:, None], found.shape
    spring = chain.stiffness_nm_rad[link] * (1 + 1j * chain.loss_factor[link])
    elastic = spring * (shape[:, link + 1] - shape[:, link]) ** 2
    inert = np.sum(shape * (2 * s * chain.inertia_kg_m2 * shape + shape @ chain.damping), axis=1)
    shares: FloatArray = 2 * (-elastic / inert / found.root).real
    return shares


def holzer(chain: Chain, omega: ArrayLike) -> Holzer:
    """Return Holzer's table for one or more frequencies in rad/s; every link has to be stiff."""
    square = np.asarray(omega, dtype=float) ** 2
    twist, torque, carried = np.ones_like(square), np.zeros_like(square), []
    for place, inertia in enumerate(chain.inertia_kg_m2):
        torque = torque + square * inertia * twist
        carried.append((twist, torque))
        if place < chain.inertia_kg_m2.size - 1:
            twist = twist - torque / chain.stiffness_nm_rad[place]
    return Holzer(
        twist=np.stack([each for each, _ in carried], axis=-1),
        torque=np.stack([each for _, each in carried], axis=-1),
        residual=torque - chain.ground_nm_rad * twist,
    )


def holzer_frequencies_hz(chain: Chain) -> FloatArray:
    """Return the natural frequencies by Holzer's tables alone, shape (n,).

    The twists with the residual, its sign turned, are a Sturm sequence: as many natural frequencies
    lie below w as it changes sign. Halving finds each.
    """
    n = chain.inertia_kg_m2.size
    low = np.zeros(n)
    high = np.full(n, 2 * np.sqrt(np.max(np.diag(chain.stiffness) / chain.inertia_kg_m2)))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        table = holzer(chain, middle)
        signs = np.column_stack([table.twist, -table.residual]) >= 0
        below = np.sum(signs[:, 1:] != signs[:, :-1], axis=1)
        found = below > np.arange(n)
        low, high = np.where(found, low, middle), np.where(found, middle, high)
    hertz: FloatArray = (low + high) / (4 * np.pi)
    return hertz


def response(chain: Chain, omega: ArrayLike, torque: ArrayLike) -> ComplexArray:
    """Return the twist of each inertia under torques that go as sines.

    Parameters
    ----------
    chain : Chain
    omega : array_like, shape (...)
        Rad/s, above 0 for a free chain.
    torque : array_like, shape (..., n)
        Complex, N m, 0 to peak.

    Returns
    -------
    ndarray, shape (..., n)
        Complex, rad, 0 to peak.
    """
    w = np.asarray(omega, dtype=float)[..., None, None]
    matrix = chain.lossy_stiffness + 1j * w * chain.damping - w**2 * np.diag(chain.inertia_kg_m2)
    twist: ComplexArray = np.linalg.solve(matrix, np.asarray(torque, complex)[..., None])[..., 0]
    return twist


def _of_links(links: FloatArray, ground: float) -> FloatArray:
    """Return the matrix of springs or dampers between neighbours."""
    matrix = np.zeros((links.size + 1, links.size + 1))
    for place, link in enumerate(links):
        matrix[place : place + 2, place : place + 2] += link * np.array([[1, -1], [-1, 1]])
    matrix[-1, -1] += ground
    return matrix


def _largest_1(rows: Array) -> Array:
    """Scale each row so that its largest entry is 1."""
    largest = np.argmax(np.abs(rows), axis=1)
    scaled: Array = rows / rows[np.arange(len(rows)), largest][:, None]
    return scaled
