import datetime as dt
import json
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from invented_logbook import ENGINE, FITTED, FITTED_HOURS, add, book_with_engine

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook, schema, versions
from vibetrend.logbook.database import Database

UNITS = {
    "key", "text", "UTC", "date", "h", "rpm", "1", "hex", "yes/no", "JSON", "unit in result",
    "mm/s"
}  # fmt: skip

BREAKS_HALF_WAY = """
import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

def upgrade():
    op.create_table("half", sa.Column("id", sa.Integer, primary_key=True))
    op.execute("INSERT INTO half VALUES (1)")
    op.execute("INSERT INTO engine (name) VALUES ('half')")
    {last}
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Return the database of a closed logbook that holds something."""
    with book_with_engine(tmp_path / "log") as book:
        book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        add(book, b"1")
    return tmp_path / "log" / "logbook.sqlite"


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def migrations_with(tmp_path: Path, last: str) -> Path:
    folder = tmp_path / "migrations"
    shutil.copytree(versions.MIGRATIONS, folder)
    (folder / "versions" / "r0005_half.py").write_text(BREAKS_HALF_WAY.format(last=last))
    return folder


def test_every_column_states_its_unit_in_the_database_too(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        made = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'"))
    for table in schema.metadata.sorted_tables:
        for column in table.columns:
            comment = column.comment or ""
            unit = re.search(r"\[(.+)\]$", comment)
            assert unit is not None, column
            assert unit[1] in UNITS, column
            line = rf"^    {column.name} .*-- {re.escape(comment)}$"
            assert re.search(line, made[table.name], re.M), column


def test_the_tables_made_are_the_tables_queried(path: Path) -> None:
    engine = sa.create_engine(f"sqlite:///{path}")
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, schema.metadata) == []
    engine.dispose()


def test_a_newer_logbook_is_refused_in_words(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '0005'")
    before = dump(path)
    with pytest.raises(
        LogbookError,
        match=r"newer vibetrend wrote this logbook \(schema 0005, .* up to 0004\); install the",
    ):
        Logbook.open(path.parent)
    assert dump(path) == before


def test_another_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "logbook.sqlite"
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("CREATE TABLE alembic_version (version_num TEXT)")
        connection.execute("CREATE TABLE charts (id INTEGER)")
        connection.execute("INSERT INTO alembic_version VALUES ('1a2b3c')")
    before = dump(path)
    with pytest.raises(LogbookError, match="this database is not a logbook; choose another folder"):
        Logbook.open(tmp_path)
    assert dump(path) == before


@pytest.mark.parametrize("content", [b"not a database, only text" * 99, b"SQLite format 3\0" * 99])
def test_a_file_that_is_no_database_is_refused_and_left_alone(
    tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "logbook.sqlite"
    path.write_bytes(content)
    with pytest.raises(LogbookError, match=r"logbook\.sqlite: the file is not a logbook; choose"):
        Logbook.open(tmp_path)
    assert path.read_bytes() == content


def test_a_migration_that_fails_half_way_leaves_nothing(path: Path, tmp_path: Path) -> None:
    migrations = migrations_with(tmp_path, "op.execute('INSERT INTO missing VALUES (1)')")
    before = dump(path)
    with closing(Database(path)) as database, pytest.raises(sa.exc.OperationalError):
        versions.bring_up_to_date(database, migrations=migrations, target="0005")
    assert dump(path) == before
    with Logbook.open(path.parent) as book:
        assert book.engine_names() == ["main"]


def test_a_first_migration_that_fails_leaves_an_empty_database(tmp_path: Path) -> None:
    migrations = migrations_with(tmp_path, "op.execute('INSERT INTO missing VALUES (1)')")
    path = tmp_path / "logbook.sqlite"
    with closing(Database(path)) as database, pytest.raises(sa.exc.OperationalError):
        versions.bring_up_to_date(database, migrations=migrations, target="0005")
    assert dump(path) == ["BEGIN TRANSACTION;", "COMMIT;"]
    with Logbook.open(tmp_path) as book:
        assert book.engine_names() == []


def test_an_upgrade_keeps_a_copy_of_what_was(path: Path, tmp_path: Path) -> None:
    migrations = migrations_with(tmp_path, "pass")
    before = dump(path)
    with closing(Database(path)) as database:
        versions.bring_up_to_date(database, migrations=migrations, target="0005")
        versions.bring_up_to_date(database, migrations=migrations, target="0005")
    assert dump(path) != before
    assert dump(path.with_name("logbook-schema-0004.sqlite")) == before
    with pytest.raises(LogbookError, match="schema 0005"):
        Logbook.open(path.parent)


# As the first version wrote it: an engine, an installation, a recording and what was in it.
FIRST = """
INSERT INTO engine VALUES (1, 'main');
INSERT INTO engine_file VALUES (1, 1, '{engine}', '2026-05-01T08:00:00.000Z');
INSERT INTO installation
    VALUES (1, 1, '2026-05-01', 3120, 0, '{engine}', '2026-05-01T08:00:00.000Z');
INSERT INTO series
    VALUES (1, 1, 1, 0, 'head', 'phone', 'acceleration', 'm/s^2', '', 'steady', 'warm', 1000);
INSERT INTO recording
    VALUES (1, 1, '0123456789', '{sha256}', 'clip.csv', '2026-05-04', 3150, '2026-05-04', 1000,
            1, 0, '{tags}', '{{}}', '2026-05-04T08:00:00.000Z');
INSERT INTO filing VALUES (1, 1, 1, '2026-05-04T08:00:00.000Z');
INSERT INTO measurement
    VALUES (1, 1, 1, 1001.5, 0, '{result}', '2026-05-04T08:00:00.000Z');
INSERT INTO amplitude VALUES (1, 0, 'order', 0.5, 0.25, 0.01, 0.005, 1);
INSERT INTO amplitude VALUES (1, 1, 'order', 1.0, 0.125, 0.01, 0.005, 1);
INSERT INTO amplitude VALUES (1, 2, 'driven: alternator', NULL, 0.5, 0.01, 0.005, 1);
INSERT INTO amplitude VALUES (1, 3, 'overall: 2-1000 Hz', NULL, 4.5, NULL, NULL, 1);
INSERT INTO verdict VALUES (1, 1, '2026-05-04T08:00:01.000Z', 'learning', '{{}}', 1);
"""
TAGS = {
    "position": "head", "device": "phone", "kind": "acceleration", "unit": "m/s^2", "codec": "",
    "manner": "steady", "condition": "warm", "coolant_c": 82.5,
}  # fmt: skip
RESULT = {
    "orders": [{"order": 0.5, "velocity_mm_s": 4.75}, {"order": 1.0, "velocity_mm_s": None}],
    "driven": [{"order": 2.2, "velocity_mm_s": 2.25}],
    "quality": [],
}


def test_a_logbook_of_the_first_version_opens_with_all_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "logbook.sqlite"
    with closing(Database(path)) as database:
        versions.bring_up_to_date(database, target="0001")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executescript(
            FIRST.format(
                engine=ENGINE,
                sha256="01" * 32,
                tags=json.dumps(TAGS),
                result=json.dumps(RESULT),
            )
        )
    before = dump(path)
    with Logbook.open(tmp_path) as book:
        (series,) = book.series("main")
        history = book.history(series.id)
        assert list(history["amplitude"]) == [0.25, 0.125, 0.5, 4.5]
        # Of orders, from the kept result; the second has none there, and others have none.
        assert history["velocity_mm_s"].isna().tolist() == [False, True, True, True]
        assert history["velocity_mm_s"].iloc[0] == 4.75
        assert set(history["temperature_c"]) == {82.5}
        assert list(book.verdicts(series.id)["state"]) == ["learning"]
        assert book.work("main") == []
        book.add_work("main", date=FITTED, hours=3140.0, what="mounts")
        assert [each.epoch for each in book.series("main")] == [1]
    assert dump(tmp_path / "logbook-schema-0001.sqlite") == before
    # The same text as in a logbook that began with this version, but for the order of tables.
    with book_with_engine(tmp_path / "new"):
        pass
    assert tables_of(path) == tables_of(tmp_path / "new" / "logbook.sqlite")


def test_a_logbook_of_the_second_version_opens_with_all_it_holds(tmp_path: Path) -> None:
    """`schema_0002.sql` is the text of a logbook that the second version wrote."""
    path = tmp_path / "logbook.sqlite"
    text = Path(__file__).with_name("schema_0002.sql").read_text(encoding="utf-8")
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(text)
    before = rows_of(path)
    copied = dump(path)
    with Logbook.open(tmp_path) as book:
        assert book.installations("main")[0].meter_hours == FITTED_HOURS
        assert [(each.what, each.epoch, each.meter_hours) for each in book.work("main")] == [
            ("injectors", 1, 4200.0), ("mounts", 1, 4200.0)
        ]  # fmt: skip
        kept = [book.recordings(each.id) for each in book.series("main")]
        assert [list(each["hours"]) for each in kept] == [[3119.0], [3150.0, 4100.5], [4202.0]]
        assert [len(book.verdicts(each.id)) for each in book.series("main")] == [1, 1, 1]
        assert {each.hours - each.meter_hours for each in book.known_hours("main")} == {0.0}
        assert len(book.known_hours("main")) == 4 + 1 + 2
        assert book.meter("main") == []
        assert book.entries("main") == []
        assert rows_of(path) == before
        # What was entered then is found again, and what is added now goes with it.
        assert add(book, b"1").duplicate
        book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        assert len(book.installations("main")) == 1
        done = book.work("main")[0]
        assert book.add_work(
            "main", date=done.date, hours=done.hours, what="injectors", note=done.note
        ).duplicate
        book.add_entry("main", "note", date=FITTED, content={"text": "dry"})
        changed = dt.date(2027, 4, 1)
        book.change_meter("main", date=changed, before=4300.0, after=0.0, what="replaced")
    assert dump(tmp_path / "logbook-schema-0002.sqlite") == copied
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    with book_with_engine(tmp_path / "new"):
        pass
    assert tables_of(path) == tables_of(tmp_path / "new" / "logbook.sqlite")


def rows_of(path: Path) -> dict[str, list[dict[str, Any]]]:
    """Return all rows but what later versions added, and the version itself."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        found = {}
        for table in schema.metadata.sorted_tables:
            if table.name in ("entry", "meter", "correction", "chain"):
                continue
            rows = [dict(row) for row in connection.execute(f"SELECT * FROM {table.name}")]
            assert {row.pop("meter_hours", None) for row in rows} == {None}
            found[table.name] = rows
    assert all(found.values())
    return found


def tables_of(path: Path) -> list[str]:
    return sorted(line for line in dump(path) if line.startswith("CREATE"))


def test_opening_needs_no_migration_machinery(path: Path) -> None:
    code = (
        "import sys; from vibetrend.logbook import Logbook\n"
        "with Logbook.open(sys.argv[1]) as book: print(book.engine_names())\n"
        "print('alembic' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path.parent)], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines() == ["['main']", "False"]


def test_nothing_is_ever_changed_or_deleted(tmp_path: Path) -> None:
    said: list[str] = []

    def listen(_c: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        said.append(statement.split()[0].upper())

    book_with_engine(tmp_path / "log").close()  # its tables may be made in any way
    sa.event.listen(sa.Engine, "before_cursor_execute", listen)
    try:
        with book_with_engine(tmp_path / "log") as book:
            series = add(book, b"1").series_id
            add(book, b"1", hours=4000.0)
            book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
            book.add_work("main", date=FITTED, hours=FITTED_HOURS, what="belt")
            book.keep_verdict(series, {}, "learning")
            book.add_entry("main", "note", date=FITTED, content={"text": "dry"})
            book.start_installation("main", date=FITTED, hours=FITTED_HOURS, details={"part": "A"})
            book.add_meter_reading("main", date=FITTED, shown=FITTED_HOURS)
            changed = dt.date(2026, 6, 1)
            book.change_meter("main", date=changed, before=3200.0, after=0.0, what="replaced")
            book.start_installation("main", date=dt.date(2026, 6, 2), hours=1.0)  # takes over
            add(book, b"2", date=dt.date(2026, 6, 3), hours=2.0)
            book.entries("main")
            book.history(series)
            book.recordings(series)
    finally:
        sa.event.remove(sa.Engine, "before_cursor_execute", listen)
    assert "INSERT" in said
    assert set(said) <= {"BEGIN", "SELECT", "INSERT", "CREATE", "PRAGMA"}
