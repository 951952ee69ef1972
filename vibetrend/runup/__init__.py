"""From a sweep of the engine's speed to order curves and the resonances they show."""

from vibetrend.runup.curves import Curves
from vibetrend.runup.measuring import measure

__all__ = ["Curves", "measure"]
