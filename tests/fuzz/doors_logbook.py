"""Ways past the digests of a backup and an export, and to single values of a database."""

import csv
import hashlib
import io
import json
import random
import sqlite3
import zipfile
from contextlib import closing
from typing import Any

from doors import Way, zipped

DATABASE = "logbook.sqlite"
_MANIFEST = "manifest.json"
_DESCRIPTION = "logbook.json"
_UNWELCOME = (
    "CREATE TRIGGER odd AFTER INSERT ON chain BEGIN DELETE FROM recording; END",
    "CREATE VIEW odd AS SELECT * FROM recording",
    "CREATE TABLE odd (a DEFAULT (random()), b AS (a || a))",
    "CREATE INDEX odd ON recording (lower(sha256))",
    "CREATE VIRTUAL TABLE odd USING fts5(a)",
    "DROP TABLE chain",
    "ALTER TABLE recording ADD COLUMN odd TEXT",
    "ALTER TABLE entry RENAME TO odd",
    "DELETE FROM alembic_version",
    "UPDATE alembic_version SET version_num = '9999'",
    "UPDATE alembic_version SET version_num = '0001'",
    "DELETE FROM chain WHERE id % 2",
    "DELETE FROM engine",
    "INSERT INTO recording SELECT * FROM recording",
    "PRAGMA writable_schema = ON; UPDATE sqlite_master SET sql = 'CREATE TABLE x(y)', rootpage = 1",
    "PRAGMA user_version = 77; PRAGMA application_id = 9",
    "PRAGMA encoding = 'UTF-16'; VACUUM",
)


def of_backup(chance: random.Random, data: bytes) -> Way:
    """Take a member, or a value of the database in it; put back, the manifest is right."""
    members = _members(data)
    if members is None or _MANIFEST not in members:
        return None
    name = chance.choice((DATABASE, DATABASE, _MANIFEST, *members))
    inner = of_database(chance, members[name]) if name == DATABASE else None
    piece, put_back = inner or (members[name], lambda piece: piece)

    def close(piece: bytes) -> bytes:
        content = put_back(piece)
        changed = members | {name: content}
        if name != _MANIFEST:
            stated = {"size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
            changed[_MANIFEST] = _with(members[_MANIFEST], "members", name, stated)
        return zipped(list(changed.items()))

    return piece, close


def of_export(chance: random.Random, data: bytes) -> Way:
    """Take a file of a packed export; put back, its description has its digest and its rows."""
    members = _members(data)
    if members is None or _DESCRIPTION not in members:
        return None
    tables = [name for name in members if name.endswith(".csv")]
    name = chance.choice((*tables, _DESCRIPTION, chance.choice([*members])))

    def close(piece: bytes) -> bytes:
        changed = members | {name: piece}
        if name in tables:
            stated = {"rows": _rows(piece), "sha256": hashlib.sha256(piece).hexdigest()}
            table = name.removesuffix(".csv")
            changed[_DESCRIPTION] = _with(members[_DESCRIPTION], "tables", table, stated)
        return zipped(list(changed.items()))

    return members[name], close


def of_database(chance: random.Random, data: bytes) -> Way:
    """Take one value of one row; put back, the file is a sound database."""
    try:
        with closing(_opened(data)) as database:
            names = database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            table = chance.choice([name for (name,) in names])
            columns = [row[1] for row in database.execute(f'PRAGMA table_info("{table}")')]
            column = chance.choice(columns)
            rows = database.execute(f'SELECT rowid, "{column}" FROM "{table}"').fetchall()
            row, value = chance.choice(rows)
    except (sqlite3.Error, IndexError):
        return None
    kind = chance.choice(("TEXT", "TEXT", "BLOB", "INTEGER", "REAL", "NUMERIC"))
    unwelcome = chance.choice(_UNWELCOME) if chance.random() < 0.1 else ""

    def close(piece: bytes) -> bytes:
        with closing(_opened(data)) as database:
            try:
                if unwelcome:
                    database.executescript(unwelcome)
                else:
                    change = f'UPDATE "{table}" SET "{column}" = CAST(? AS {kind}) WHERE rowid = ?'
                    database.execute(change, (piece, row))
                database.commit()
            except sqlite3.Error:  # not even SQLite takes it
                database.rollback()
            return database.serialize()

    return _as_bytes(value), close


def _opened(data: bytes) -> sqlite3.Connection:
    database = sqlite3.connect(":memory:")
    database.deserialize(data)
    database.text_factory = bytes
    database.execute("PRAGMA foreign_keys = OFF")
    database.execute("PRAGMA ignore_check_constraints = ON")
    database.text_factory = lambda stored: stored.decode(errors="surrogateescape")
    return database


def _as_bytes(value: Any) -> bytes:
    if isinstance(value, bytes):
        return value
    return b"" if value is None else str(value).encode(errors="surrogateescape")


def _members(data: bytes) -> dict[str, bytes] | None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            return {each.filename: packed.read(each) for each in packed.infolist()}
    except Exception:  # damaged in any way: nothing to be taken out
        return None


def _with(text: bytes, group: str, name: str, stated: dict[str, Any]) -> bytes:
    """Return JSON with what it states of a member changed; damaged JSON stays as it is."""
    try:
        described = json.loads(text)
        described[group][name] |= stated
        return json.dumps(described).encode()
    except (ValueError, KeyError, TypeError, RecursionError):
        return text


def _rows(content: bytes) -> int:
    try:
        text = content.decode(errors="replace")
        return max(0, sum(1 for _ in csv.reader(io.StringIO(text, newline=""))) - 1)
    except csv.Error:
        return 0
