"""What a whole suite measures over and over is measured once.

It gives what it would give anew. It is not for what tests measuring: `tests/orders` measures each
recording itself, and every command that is a process of its own begins with nothing.
"""

import hashlib
import pickle
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from unittest.mock import patch

from vibetrend.checkup import adding, remeasuring
from vibetrend.engine import Engine
from vibetrend.orders import Measurement
from vibetrend.recording import Recording

_measure = adding.measure
_measured: dict[bytes, bytes] = {}


def measured_once(
    recording: Recording, *, engine: Engine | None = None, **more: Any
) -> Measurement:
    """Measure the same samples, stated alike, for the same engine only once in all tests."""
    counts = replace(recording, source=None, hours=None, date=None, position="", device="")
    key = hashlib.sha256(pickle.dumps((counts, engine, more))).digest()
    if key not in _measured:
        found = _measure(recording, engine=engine, **more)
        _measured[key] = pickle.dumps(replace(found, recording=counts))
    return replace(pickle.loads(_measured[key]), recording=recording)


@contextmanager
def measuring_once() -> Iterator[None]:
    """Let what is added or measured again within this process be measured once."""
    with (
        patch.object(adding, "measure", measured_once),
        patch.object(remeasuring, "measure", measured_once),
    ):
        yield
