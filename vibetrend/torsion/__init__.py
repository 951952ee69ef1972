"""The crankshaft's own model: natural frequencies, what drives them, what an ageing damper shows.

Pure arithmetic on what the engine file says, with typical values for what it does not say. An
estimate, not a calculation that a class society would take.
"""

from vibetrend.torsion.chain import (
    Chain,
    damped_modes,
    holzer,
    holzer_frequencies_hz,
    modes,
    natural_frequencies_hz,
    response,
)
from vibetrend.torsion.change import AGEING, Change, warmer
from vibetrend.torsion.crankshaft import Crankshaft, Mode
from vibetrend.torsion.forcing import excited_orders, forced, forcing, interference, vector_sums
from vibetrend.torsion.seeing import ways_of_ageing, what_would_i_see
from vibetrend.torsion.typical import Range, operating_range

__all__ = [
    "AGEING",
    "Chain",
    "Change",
    "Crankshaft",
    "Mode",
    "Range",
    "damped_modes",
    "excited_orders",
    "forced",
    "forcing",
    "holzer",
    "holzer_frequencies_hz",
    "interference",
    "modes",
    "natural_frequencies_hz",
    "operating_range",
    "response",
    "vector_sums",
    "warmer",
    "ways_of_ageing",
    "what_would_i_see",
]
