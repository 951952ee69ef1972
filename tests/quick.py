"""What a whole suite does over and over is worked out once: SQL as text, and measurements.

Both give what they would give anew. Neither is for what tests them: `tests/orders` measures each
recording itself, and every command that is a process of its own begins with nothing.
"""

import hashlib
import pickle
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import sqlalchemy as sa
from sqlalchemy.dialects.sqlite.pysqlite import SQLiteDialect_pysqlite

from vibetrend.checkup import adding, remeasuring
from vibetrend.engine import Engine
from vibetrend.orders import Measurement
from vibetrend.recording import Recording

_measure = adding.measure
_compiled: dict[Any, Any] = {}
_measured: dict[bytes, bytes] = {}


def share_compiled_sql() -> None:
    """Let all logbooks use the same texts of statements, which take longer to write than to run.

    SQLAlchemy keeps them for each database by itself, because dialects may differ; here there is
    one version of SQLite only.
    """
    SQLiteDialect_pysqlite.__eq__ = lambda one, other: type(one) is type(other)  # type: ignore[method-assign]
    SQLiteDialect_pysqlite.__hash__ = lambda one: hash(type(one))  # type: ignore[method-assign]

    @sa.event.listens_for(sa.Engine, "engine_connect")
    def share(connection: sa.Connection) -> None:
        connection.execution_options(compiled_cache=_compiled)


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
