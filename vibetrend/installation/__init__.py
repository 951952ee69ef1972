"""The installation record: when the damper is due."""

from vibetrend.installation.renewal import Renewal, renewal

__all__ = ["Renewal", "renewal"]
