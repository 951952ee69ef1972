"""What is looked after: the engine, its damper, the parts it drives, its maker's limits."""

from vibetrend.engine.description import Damper, Engine, read_text
from vibetrend.engine.driven import DrivenPart, Generator
from vibetrend.engine.limits import Limit, Limits

__all__ = ["Damper", "DrivenPart", "Engine", "Generator", "Limit", "Limits", "read_text"]
