"""One thread of linear algebra, as the command line has it: set before numpy is imported."""

import gc
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

from collections.abc import Iterator
from pathlib import Path

import pytest
from quick import measuring_once

MEASURES_ITSELF = {"orders", "runup", "simulate", "engine", "ingest"}


@pytest.fixture(autouse=True, scope="module")
def _quick(request: pytest.FixtureRequest) -> Iterator[None]:
    if Path(request.path).parent.name in MEASURES_ITSELF:
        yield
        return
    with measuring_once():
        yield


def pytest_collection_finish() -> None:
    """Let garbage be looked for among what the tests make, not among the thousands of tests."""
    gc.collect()
    gc.freeze()
