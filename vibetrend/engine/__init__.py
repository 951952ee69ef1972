"""What is looked after: the engine, its damper, the parts it drives, its maker's limits."""

from vibetrend.engine.crank import Crank
from vibetrend.engine.description import Damper, Engine, read_text
from vibetrend.engine.driven import DrivenPart, Generator
from vibetrend.engine.limits import Limit, Limits

__all__ = ["Crank", "Damper", "DrivenPart", "Engine", "Generator", "Limit", "Limits", "read_text"]
