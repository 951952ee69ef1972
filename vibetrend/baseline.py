"""Which check-ups are a series' baseline and when it is complete: one rule for judge and logbook.

Imports nothing of ours.
"""

import numpy as np
from numpy.typing import NDArray

FULL_DAY = 3  # placements
FULL_BASELINE = 3  # days


def marked_late(marked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Say which check-ups are marked as baseline too late: after one that is not, once it began.

    A baseline is one run of check-ups.

    Parameters
    ----------
    marked : array, shape (visits,)
        In the order they were taken in.
    """
    at = np.flatnonzero(marked)
    late = np.zeros(marked.shape, dtype=bool)
    late[at[at - np.arange(at.size) > at[:1]]] = True
    return late
