"""What a folder states of every recording in it: its file ``folder.toml``."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from vibetrend.errors import ReadError
from vibetrend.ingest.tags import Stated, read_toml, stated


@dataclass(frozen=True)
class Defaults:
    """What counts where nothing else is stated."""

    engine: str | None = None
    stated: Stated = field(default_factory=Stated)


def read_defaults(files: Sequence[Path]) -> Defaults:
    """Read folder files, the first counting most: ``engine`` and the keys of a side file.

    Raises
    ------
    ReadError
        If one is not TOML, or a key or value in it is wrong.
    """
    together = Defaults()
    for file in files:
        values = read_toml(
            file,
            too_large="too large for a folder's defaults; shorten or remove it",
            remedy="check its rights",
        )
        engine = values.pop("engine", None)
        if engine is not None and (not isinstance(engine, str) or not engine):
            raise ReadError(f"{file}: engine is {engine!r}; write the engine's name in quotes")
        together = Defaults(
            engine=together.engine or engine,
            stated=together.stated.over(stated(values, where=str(file))),
        )
    return together
