"""Where a person's things are kept, by the customs of the platform."""

import os
from pathlib import Path

from platformdirs import user_data_path

LOGBOOK_VARIABLE = "VIBETREND_LOGBOOK"


def logbook_folder(stated: Path | None) -> Path:
    """Return the logbook's folder: as stated, else by the environment, else the platform's."""
    if stated is not None:
        return stated
    if named := os.environ.get(LOGBOOK_VARIABLE):
        return Path(named)
    return user_data_path("vibetrend") / "logbook"
