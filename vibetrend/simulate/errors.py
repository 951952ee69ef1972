"""What can be wrong with a request to simulate."""

from vibetrend.errors import VibetrendError


class SimulateError(VibetrendError):
    """A recording cannot be simulated as asked, or a demo cannot be written or read."""
