"""What a backup and an export say of themselves; nothing of it is believed before it is checked."""

import importlib.metadata
import json
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    NonNegativeInt,
    StringConstraints,
    ValidationError,
)

from vibetrend.errors import LogbookError
from vibetrend.logbook import schema

FORMAT = 1
"""Version of what is written here; a newer one is refused in words."""

LARGEST = 64 * 2**20
"""Bytes of such a description."""

Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
_Word = Annotated[str, StringConstraints(max_length=64)]
Described = TypeVar("Described", bound="Description")


class _Model(BaseModel):
    model_config = ConfigDict(
        strict=True, frozen=True, extra="forbid", validate_by_name=True, serialize_by_alias=True
    )


class Description(_Model):
    """What both say: by whom and when it was made, and what of."""

    format: int = FORMAT
    program: _Word = Field(default_factory=lambda: importlib.metadata.version("vibetrend"))
    schema_version: Annotated[_Word, Field(alias="schema")]
    made_at: _Word = Field(default_factory=schema.now)  # UTC, ISO 8601
    recordings: NonNegativeInt
    entries: NonNegativeInt  # links of the chain
    head: _Word  # hash of the chain's last link, "" where there is no chain
    faults: list[str]  # what was not right in the logbook when it was made

    def as_text(self) -> bytes:
        """Return the bytes of its file."""
        return json.dumps(self.model_dump(), ensure_ascii=False, indent=1).encode()


class Member(_Model):
    """A file in a backup."""

    size: NonNegativeInt  # bytes
    sha256: Digest


class Manifest(Description):
    """What a backup holds: `manifest.json`."""

    members: dict[str, Member]


class Column(_Model):
    """A column of a table in an export."""

    name: str
    kind: Literal["integer", "number", "yes/no", "text"]
    may_be_empty: bool
    what: str  # with its unit in brackets


class TableFile(_Model):
    """A file with one table in an export."""

    file: str
    what: str
    rows: NonNegativeInt
    sha256: Digest
    columns: list[Column]


class Contents(Description):
    """What an export holds: `logbook.json`."""

    how_to_read: list[str]
    tables_in: Literal["csv", "parquet"]
    tables: dict[str, TableFile]
    originals: list[Digest]


def read(text: bytes, model: type[Described], *, where: str, what: str) -> Described:
    """Return a description from its bytes.

    Parameters
    ----------
    where, what : str
        For the error: which file it is, and what it should describe ("backup").

    Raises
    ------
    LogbookError
        If it is none, or a newer program made it.
    """
    newer = f"{where}: a newer vibetrend made this {what} ({{}}); install the newer vibetrend"
    try:
        value: Any = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _no_description(where, what, "it is no JSON") from error
    if not isinstance(value, dict):
        raise _no_description(where, what, "it holds no keys")
    found, version = value.get("format"), value.get("schema")
    if isinstance(found, int) and found > FORMAT:
        raise LogbookError(newer.format(f"format {found}, this one reads {FORMAT}"))
    if isinstance(version, str) and version.isdecimal() and version > schema.SCHEMA_VERSION:
        raise LogbookError(
            newer.format(f"schema {version[:20]}, this one reads up to {schema.SCHEMA_VERSION}")
        )
    try:
        described = model.model_validate(value)
    except ValidationError as error:
        first = error.errors()[0]
        at = ".".join(map(str, first["loc"]))[:100]
        raise _no_description(where, what, f"{at}: {first['msg']}") from error
    if described.format != FORMAT:
        raise _no_description(where, what, "format: there is no such version")
    return described


def _no_description(where: str, what: str, why: str) -> LogbookError:
    words = " ".join(why.split())  # a key of the file may be in it
    return LogbookError(
        f"{where}: this is no description of a vibetrend {what} ({words}); use another {what}"
    )
