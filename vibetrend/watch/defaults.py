"""What a folder states of every recording in it: its file ``folder.toml``."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vibetrend.errors import ReadError
from vibetrend.ingest.tags import LARGEST_SIDE_FILE, Stated, stated


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
        values = _values(file)
        engine = values.pop("engine", None)
        if engine is not None and (not isinstance(engine, str) or not engine):
            raise ReadError(f"{file}: engine is {engine!r}; write the engine's name in quotes")
        together = Defaults(
            engine=together.engine or engine,
            stated=together.stated.over(stated(values, where=str(file))),
        )
    return together


def _values(file: Path) -> dict[str, Any]:
    try:
        with file.open("rb") as stream:
            content = stream.read(LARGEST_SIDE_FILE + 1)
    except OSError as error:
        raise ReadError(f"{file}: cannot be read ({error.strerror}); check its rights") from error
    if len(content) > LARGEST_SIDE_FILE:
        raise ReadError(f"{file}: too large for a folder's defaults; shorten or remove it")
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ReadError(f"{file}: not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise ReadError(f"{file}: not valid TOML: {error}; correct that line") from error
