"""Which schema a database has; makes the tables and brings older ones up to date."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from vibetrend.errors import LogbookError
from vibetrend.logbook.database import Database, reason
from vibetrend.logbook.schema import SCHEMA_VERSION, metadata
from vibetrend.whole_file import ENDING, finish, sync_folder, unfinished

MIGRATIONS = Path(__file__).parent / "migrations"


def bring_up_to_date(
    database: Database, *, migrations: Path = MIGRATIONS, target: str = SCHEMA_VERSION
) -> None:
    """Make the tables of an empty database, or change an older one's to the present schema.

    All in one transaction: either everything is changed or nothing. A copy of an older
    database is first put beside it.

    Raises
    ------
    LogbookError
        If a newer program wrote the database, or it is no logbook.
    """
    with database.reading() as connection:
        found = _version(connection, database.path, target)
        if found == target:
            if target == SCHEMA_VERSION:
                _refuse_another_shape(connection, database.path)
            return
    if database.read_only:
        raise LogbookError(
            f"{database.path}: an older version wrote this logbook, and it cannot be brought up to "
            f"date: {database.read_only}; or copy the folder to where you may write, and name the "
            f"copy with --logbook"
        )

    # Imported only here: alembic costs a tenth of a second that most commands need not pay.
    from alembic import command
    from alembic.config import Config

    # Foreign keys cannot be switched off within a transaction, and rebuilding a table needs it.
    with (
        closing(Database(database.path, foreign_keys=False)) as changing,
        changing.writing() as connection,
    ):
        found = _version(connection, database.path, target)
        if found == target:  # another process came first
            return
        if found is not None:
            _copy_beside(database.path, found)
        config = Config()
        config.set_main_option("script_location", str(migrations).replace("%", "%%"))
        config.attributes["connection"] = connection
        command.upgrade(config, target)
        if broken := connection.exec_driver_sql("PRAGMA foreign_key_check").all():
            raise LogbookError(
                f"{database.path}: {len(broken)} entries point at others that are missing, so "
                f"it was left as it is; put a backup in its place"
            )


def _version(connection: sa.Connection, path: Path, target: str) -> str | None:
    """Return the schema version found, None for an empty database."""
    tables = set(
        connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'").scalars()
    )
    if not tables:
        return None
    found: object = None
    if "alembic_version" in tables:
        found = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if not isinstance(found, str) or not re.fullmatch("[0-9]{4}", found) or found == "0000":
        raise LogbookError(f"{path}: this database is not a logbook; choose another folder")
    if found > target:
        raise LogbookError(
            f"{path}: a newer vibetrend wrote this logbook (schema {found}, this one reads up to "
            f"{target}); install the newer vibetrend to open it"
        )
    return found


def _refuse_another_shape(connection: sa.Connection, path: Path) -> None:
    """Refuse a database whose tables are not ours, or that does something by itself."""
    made = connection.exec_driver_sql("SELECT type, name FROM sqlite_master").all()
    foreign = [name for kind, name in made if kind in ("view", "trigger")]
    names = {name for kind, name in made if kind == "table"}
    for table in metadata.sorted_tables:
        columns = connection.exec_driver_sql(f"PRAGMA table_info({table.name})").all()
        if table.name not in names or {each[1] for each in columns} != set(table.c.keys()):
            foreign.append(table.name)
    if foreign:
        raise LogbookError(
            f"{path}: this is no logbook as this program makes it ({', '.join(foreign)[:80]}); "
            f"restore a backup into an empty folder: vibetrend logbook restore"
        )


def _copy_beside(path: Path, version: str) -> None:
    copy = path.with_name(f"{path.stem}-schema-{version}{path.suffix}")
    try:
        for left_over in path.parent.glob(f".*{ENDING}"):  # of an attempt that was cut short
            left_over.unlink()
        with unfinished(path.parent) as (file, part):
            with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(part)) as target:
                target.execute("PRAGMA journal_mode=OFF")  # no file beside it that a kill leaves
                source.backup(target)
            finish(file)
            part.replace(copy)
        sync_folder(path.parent)
    except (OSError, sqlite3.Error) as error:
        words = reason(error) if isinstance(error, OSError) else str(error)
        raise LogbookError(
            f"{copy}: no copy could be made before the update ({words}), so nothing was changed; "
            f"free some space, then try again"
        ) from error
