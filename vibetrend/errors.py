"""The errors a person can put right.

Each text is one or two plain sentences: what is wrong, where, and what to do.
The command line prints it as one line and exits with 1.
"""


class VibetrendError(ValueError):
    """Base of every error whose text is meant for the person at the keyboard."""


class ReadError(VibetrendError):
    """A file or an array cannot be taken as a recording."""


class EngineError(VibetrendError):
    """An engine description is missing, incomplete or contradicts itself."""


class MeasureError(VibetrendError):
    """Speed or orders cannot be measured from a recording."""


class JudgeError(VibetrendError):
    """A history cannot be judged."""


class LogbookError(VibetrendError):
    """The logbook cannot be opened, read or added to."""


class InstallationError(VibetrendError):
    """A reading of the installation record cannot be used."""
