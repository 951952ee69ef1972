"""Sound in pascal: the scale that a calibrator's recording gives to the recordings beside it."""

from pathlib import Path

from vibetrend.ingest import Statements
from vibetrend.ingest.calibrator import full_scale


def calibrated(stated: Statements, calibrator: Path) -> Statements:
    """Return what is stated of a recording, its full scale as a calibrator's recording gives it.

    Raises
    ------
    ReadError
        If the calibrator's recording is not one steady tone of 1 kHz.
    """
    return {**stated, "full_scale": full_scale(calibrator)}
