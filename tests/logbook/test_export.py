"""Export and import: open formats, the same to the last digit, and nothing let in by mistake."""

import csv
import hashlib
import io
import json
import os
import shutil
import sqlite3
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq
import pytest
import sqlalchemy as sa
from lived_in import MESSY, as_json, everything_below, judged, lived_in, originals, rows

from vibetrend.errors import LogbookError
from vibetrend.logbook import Logbook, cells, exporting, layouts, schema, table_files
from vibetrend.logbook.exporting import WHAT, export
from vibetrend.logbook.importing import import_logbook

posix = pytest.mark.skipif(os.name != "posix", reason="modes, links and pipes are POSIX")
KINDS = pytest.mark.parametrize("kind", ["csv", "parquet"])


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a closed logbook, and its exports beside it; copied, never changed."""
    folder = tmp_path_factory.mktemp("kept") / "log"
    with lived_in(folder) as book:
        export(book, folder.with_name("csv"))
        export(book, folder.with_name("parquet"), parquet=True)
    return folder


@pytest.fixture
def book(kept: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(kept, tmp_path / "log")
    with Logbook.open(tmp_path / "log") as opened:
        yield opened


@pytest.fixture
def exported(kept: Path, tmp_path: Path) -> Path:
    """An export in CSV of one's own, alone in its folder."""
    shutil.copytree(kept.with_name("csv"), tmp_path / "in" / "csv")
    return tmp_path / "in" / "csv"


def described(folder: Path) -> Any:
    return json.loads((folder / "logbook.json").read_text(encoding="utf-8"))


def seal(folder: Path, name: str, **stated: Any) -> None:
    """Let logbook.json say the digest that a file has now, as one would who changes both."""
    contents = described(folder)
    table = contents["tables"][name]
    table["sha256"] = hashlib.sha256((folder / table["file"]).read_bytes()).hexdigest()
    contents["tables"][name] |= stated
    (folder / "logbook.json").write_bytes(as_json(contents))


def refused(folder: Path, match: str, **options: bool) -> str:
    """See that an export is refused in words, and that nothing is left of the attempt."""
    around = folder.parent.parent
    before = everything_below(around)
    with pytest.raises(LogbookError, match=match) as caught:
        import_logbook(folder, around / "new", **options)
    assert "\n" not in str(caught.value)
    assert everything_below(around) == before
    return str(caught.value)


# There and back


@KINDS
def test_what_is_imported_is_what_was_exported(kept: Path, tmp_path: Path, kind: str) -> None:
    made = import_logbook(kept.with_name(kind), tmp_path / "new")
    assert rows(tmp_path / "new") == rows(kept)
    assert originals(tmp_path / "new") == originals(kept)
    assert (made.recordings, made.originals, made.faults) == (15, 16, ())
    with Logbook.open(tmp_path / "new") as again, Logbook.open(kept) as before:
        assert judged(again) == judged(before)  # to the last digit: no tolerance
        assert again.check() == before.check()
    assert [path.name for path in tmp_path.iterdir()] == ["new"]


@KINDS
def test_every_table_comes_along_and_is_explained(kept: Path, kind: str) -> None:
    contents = described(kept.with_name(kind))
    assert contents["tables"].keys() == schema.metadata.tables.keys() == WHAT.keys()
    for name, table in contents["tables"].items():
        columns = schema.metadata.tables[name].columns
        assert [each["what"] for each in table["columns"]] == [each.comment for each in columns]
        assert table["file"] == f"{name}.{kind}"
        content = (kept.with_name(kind) / table["file"]).read_bytes()
        assert table["sha256"] == hashlib.sha256(content).hexdigest()
    names = {path.name for path in kept.with_name(kind).iterdir()}
    assert names == {f"{name}.{kind}" for name in WHAT} | {"logbook.json", "originals"}


def amplitudes(folder: Path) -> pa.Table:
    """Return the table as SQLite's own library reads it."""
    with closing(sqlite3.connect(folder / "logbook.sqlite")) as connection:
        connection.row_factory = sqlite3.Row
        found = [dict(row) for row in connection.execute("SELECT * FROM amplitude")]
    return pa.Table.from_pylist([row | {"visible": bool(row["visible"])} for row in found])


def test_another_program_reads_the_csv(kept: Path) -> None:
    """Arrow has a reader of its own, of numbers too; it takes an empty column for no type."""
    table = pa_csv.read_csv(kept.with_name("csv") / "amplitude.csv")
    assert table.to_pylist() == amplitudes(kept).to_pylist()
    work = pa_csv.read_csv(kept.with_name("csv") / "work.csv")
    assert work["note"].to_pylist() == [MESSY]


def test_another_program_reads_the_parquet(kept: Path) -> None:
    table = pd.read_parquet(kept.with_name("parquet") / "amplitude.parquet")
    own = amplitudes(kept).to_pandas()
    pd.testing.assert_frame_equal(table, own, check_exact=True, check_dtype=False)
    field = pq.read_schema(kept.with_name("parquet") / "amplitude.parquet").field("floor")
    assert field.metadata[b"what"] == b"noise level [unit in result]"


TABLE = sa.Table(
    "invented",
    sa.MetaData(),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("value", sa.Float),
    sa.Column("yes", sa.Boolean),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("maybe", sa.Text),
)
VALUES = [
    (1, 0.1 + 0.2, 1, "", None),
    (2, -0.0, 0, "\\N", "\\N"),
    (3, 5e-324, None, "\\\\", "\\"),
    (4, sys.float_info.max, 1, "a,b\r\nc\rd\ne", ""),
    (5, None, 1, '"', "\\x"),
    (-(2**63), 1e22, 1, " x ", "N"),
    (2**63 - 1, 2 / 3, 1, "\ufeff\u2028öl\U0001f6a2\x00", "null"),
    (8, 1e-7, 1, "x" * 300_000, "NaN"),
]


@KINDS
def test_no_value_is_changed_on_the_way(kind: Any) -> None:
    stream = io.BytesIO()
    table_files.write(kind, TABLE, VALUES, stream)
    stream.seek(0)
    back = list(table_files.read(kind, TABLE, stream, where="invented"))
    assert list(map(repr, back)) == list(map(repr, VALUES))  # -0.0 too
    assert csv.field_size_limit() == 131072  # as it was


@pytest.mark.parametrize("version", ["0001", "0002", "0003"])
@KINDS
def test_an_export_of_an_older_version_is_brought_up_to_date(
    tmp_path: Path, kind: Any, version: str
) -> None:
    """As an older program would have written it: the tables and columns of its version."""
    old = tmp_path / "old"
    (old / "originals").mkdir(parents=True)
    tables = {}
    for table in layouts.layout(version).tables:
        engines = [(7, "main")] if table.name == "engine" else []
        path = old / f"{table.name}.{kind}"
        with path.open("wb") as stream:
            table_files.write(kind, table, engines, stream)
        tables[table.name] = {
            "file": path.name,
            "what": "",
            "rows": len(engines),
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
            "columns": [each.model_dump() for each in exporting.columns_of(table)],
        }
    stated = {"format": 1, "program": "0.0.1", "schema": version, "made_at": "2026-05-01"}
    empty = {"recordings": 0, "entries": 0, "head": "", "faults": [], "originals": []}
    contents = stated | empty | {"how_to_read": [], "tables_in": kind, "tables": tables}
    (old / "logbook.json").write_bytes(as_json(contents))
    made = import_logbook(old, tmp_path / "new")
    assert made.entries == 1  # sealed on the way
    with Logbook.open(tmp_path / "new") as again:
        assert again.engine_names() == ["main"]


def test_the_layout_of_today_is_the_schema() -> None:
    for table in layouts.layout(schema.SCHEMA_VERSION).tables:
        own = schema.metadata.tables[table.name]
        assert exporting.columns_of(table) == exporting.columns_of(own)


# What an export refuses


@posix
def test_an_export_is_private(book: Logbook, tmp_path: Path) -> None:
    export(book, tmp_path / "out")
    made = [tmp_path / "out", *(tmp_path / "out").rglob("*")]
    modes = {(path.is_dir(), stat.S_IMODE(path.stat().st_mode)) for path in made}
    assert modes == {(True, 0o700), (False, 0o600)}


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("log", "holds something already and is left alone; name another, empty folder"),
        ("log/out", "lies within the logbook"),
        ("log/logbook.sqlite", "this is no folder"),
        ("unplugged/out", "does not exist; is the disk connected"),
    ],
)
def test_a_place_that_makes_no_sense_is_refused(
    book: Logbook, tmp_path: Path, name: str, match: str
) -> None:
    before = everything_below(tmp_path)
    with pytest.raises(LogbookError, match=match):
        export(book, tmp_path / name)
    assert everything_below(tmp_path) == before


def test_parquet_without_its_library_says_how_to_get_it(
    book: Logbook, tmp_path: Path, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(LogbookError, match=r"pip install 'vibetrend\[parquet\]'.*or use CSV"):
        export(book, tmp_path / "out", parquet=True)
    with pytest.raises(LogbookError, match=r"pip install 'vibetrend\[parquet\]'"):
        import_logbook(kept.with_name("parquet"), tmp_path / "new")
    assert [path.name for path in tmp_path.iterdir()] == ["log"]


def test_an_export_that_fails_half_way_leaves_nothing(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(exporting, "put", fail)  # the tables are written by then
    with pytest.raises(LogbookError, match=r"out: the folder cannot be written \(no space left"):
        export(book, tmp_path / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["log"]


@KINDS
def test_a_damaged_logbook_is_exported_only_when_that_is_wanted(
    book: Logbook, tmp_path: Path, kind: str
) -> None:
    missing = book.folder / min(originals(book.folder))
    missing.unlink()
    with pytest.raises(LogbookError, match=r"original .*nothing was exported.*with --damaged"):
        export(book, tmp_path / "out", parquet=kind == "parquet")
    done = export(book, tmp_path / "out", parquet=kind == "parquet", damaged=True)
    assert described(tmp_path / "out")["faults"] == list(done.faults) != []
    with pytest.raises(LogbookError, match=r"original .*nothing was imported.*with --damaged"):
        import_logbook(tmp_path / "out", tmp_path / "new")
    assert import_logbook(tmp_path / "out", tmp_path / "new", damaged=True).faults == done.faults
    assert rows(tmp_path / "new") == rows(book.folder)


def test_bytes_that_are_no_text_are_told(book: Logbook, tmp_path: Path) -> None:
    with closing(sqlite3.connect(book.folder / "logbook.sqlite")) as connection, connection:
        connection.execute("UPDATE recording SET name = CAST(x'ff' AS TEXT) WHERE id = 2")
    with pytest.raises(
        LogbookError, match="recording 2, column name: it holds bytes that are no t"
    ):
        export(book, tmp_path / "out", damaged=True)
    assert not (tmp_path / "out").exists()


# What an import refuses


def edit(folder: Path, name: str, change: Callable[[list[list[str]]], object]) -> None:
    """Change the rows of a CSV file, of which the first is the header, and seal it."""
    path = folder / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        table = list(csv.reader(file))
    change(table)
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(table)
    seal(folder, name, rows=len(table) - 1)


def set_cell(name: str, column: str, text: str) -> Callable[[Path], None]:
    def change(table: list[list[str]]) -> None:
        table[2][table[0].index(column)] = text

    return lambda folder: edit(folder, name, change)


@pytest.mark.parametrize(
    ("column", "text", "match"),
    [
        ("hours", "nan", "it holds 'nan', a number is needed"),
        ("hours", "inf", "it holds 'inf', a number is needed"),
        ("hours", "1e999", "inf is no number that can be kept"),
        ("hours", "", "it is empty, a number is needed"),
        ("hours", "3 150", "it holds '3 150', a number is needed"),
        ("hours", "1_0", "it holds '1_0', a number is needed"),
        ("hours", "\u0663", "a number is needed"),
        ("hours", "1,5", "it holds '1,5', a number is needed"),
        ("rpm", "fast", "it holds 'fast', a number is needed"),
        ("baseline", "2", "it holds '2', true or false is needed"),
        ("baseline", "True", "it holds 'True', true or false is needed"),
        ("id", "1.0", "it holds '1.0', a whole number is needed"),
        ("id", "9999999999999999999", "is too large a number"),
        ("id", "", "it is empty, a whole number is needed"),
        ("engine_id", "main", "it holds 'main', a whole number is needed"),
    ],
)
def test_a_cell_of_another_type_is_told_with_its_place(
    exported: Path, column: str, text: str, match: str
) -> None:
    set_cell("recording", column, text)(exported)
    refused(exported, rf"recording\.csv, line 3, column {column}: .*{match}")


@pytest.mark.parametrize(
    ("damage", "match"),
    [
        (set_cell("recording", "id", "1"), r"recording\.csv: two rows are one by their key"),
        (
            set_cell("recording", "engine_id", "99"),
            r"recording\.csv: row 2 points at one in engine",
        ),
        (
            set_cell("amplitude", "measurement_id", "99"),
            r"amplitude\.csv: a row points at one in m",
        ),
        (set_cell("recording", "hours", "1.5"), "recording 2: it is not as it was entered"),
        (set_cell("recording", "date", "someday"), "not all is right"),
        (set_cell("recording", "sha256", "../../outside"), "not all is right"),
        (set_cell("chain", "hash", "0" * 64), "not all is right"),
        (lambda f: edit(f, "chain", list.pop), "the chain ends in another entry than the export"),
        (
            lambda f: edit(f, "engine", lambda t: t[0].clear()),
            r"engine\.csv, line 1: the column 'id' is miss",
        ),
        (
            lambda f: edit(f, "work", lambda t: [row.pop() for row in t]),
            r"work\.csv, line 1: the column 'added_at' is missing",
        ),
        (
            lambda f: edit(f, "work", lambda t: [row.append("x") for row in t]),
            r"work\.csv, line 1: there is a column 'x' too many",
        ),
        (
            lambda f: edit(f, "work", lambda t: [row.reverse() for row in t]),
            r"work\.csv, line 1: the columns stand in another order",
        ),
        (
            lambda f: edit(f, "work", lambda t: t[1].append("x")),
            r"work\.csv, line 2: 9 values, 8 are needed",
        ),
        (
            lambda f: edit(f, "work", lambda t: t.append([])),
            r"work\.csv, line 3: 0 values, 8 are needed",
        ),
    ],
)
def test_a_file_that_was_changed_on_purpose_is_refused(
    exported: Path, damage: Callable[[Path], None], match: str
) -> None:
    damage(exported)
    refused(exported, match)


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (b"", "line 1: the column 'id' is missing"),
        (b"\xff\xfe", "no UTF-8 text"),
        (b"id,name\r\n1,\xff\r\n", "no UTF-8 text"),
        (b'id,name\r\n1,"never closed\r\n', "line 2: the file is damaged"),
        (b'id,name\r\n1,"a" b\r\n', "line 2: the file is damaged"),
        (b"id,name\r\n1,main\r\n2,other\r\n", "it has 2 rows, 1 are needed"),
        (b"id,name\r\n", "it has 0 rows, 1 are needed"),
        (b"\xef\xbb\xbfid,name\r\n1,main\r\n", "the column 'id' is missing"),
        (b"id;name\r\n1;main\r\n", "the column 'id' is missing"),
    ],
)
def test_a_file_that_is_no_csv_of_ours_is_refused(
    exported: Path, content: bytes, match: str
) -> None:
    (exported / "engine.csv").write_bytes(content)
    refused(exported, r"engine\.csv: this file was changed after the export was made")
    seal(exported, "engine")
    refused(exported, rf"engine\.csv.*{match}")


def test_a_field_without_an_end_is_cut_off(exported: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_files, "_LONGEST_FIELD", 1000)
    (exported / "engine.csv").write_bytes(b"id,name\r\n1," + b"x" * 1001)
    seal(exported, "engine")
    refused(exported, r"engine\.csv, line 2: the file is damaged .field larger")


def parquet_of(kept: Path, tmp_path: Path) -> Path:
    shutil.copytree(kept.with_name("parquet"), tmp_path / "in" / "parquet")
    return tmp_path / "in" / "parquet"


def renamed(table: pa.Table, place: int, name: str) -> pa.Table:
    return table.rename_columns(
        [*table.column_names[:place], name, *table.column_names[place + 1 :]]
    )


@pytest.mark.parametrize(
    ("change", "match"),
    [
        (lambda table: table.drop_columns("rpm"), "the column 'rpm' is missing"),
        (lambda table: table.append_column("x", table["rpm"]), "a column 'x' too many"),
        (lambda table: renamed(table, 1, "id"), "the column 'engine_id' is missing"),
        (
            lambda table: table.set_column(6, "hours", table["hours"].cast(pa.string())),
            "column hours: it holds string, double is needed",
        ),
        (
            lambda table: table.set_column(6, "hours", pa.array([float("nan")] * 15)),
            "row 1, column hours: nan is no number",
        ),
        (
            lambda table: table.set_column(6, "hours", pa.array([None] * 15, pa.float64())),
            "row 1, column hours: it is empty",
        ),
        (lambda table: table.slice(3), "it has 12 rows, 15 are needed"),
    ],
)
def test_parquet_of_another_shape_is_refused(
    kept: Path, tmp_path: Path, change: Callable[[pa.Table], pa.Table], match: str
) -> None:
    folder = parquet_of(kept, tmp_path)
    path = folder / "recording.parquet"
    assert pq.read_schema(path).names[6] == "hours"
    pq.write_table(change(pq.read_table(path)), path)
    seal(folder, "recording")
    refused(folder, rf"recording\.parquet.*{match}")


@pytest.mark.parametrize("cut", [0, 4, 200, -1])
def test_parquet_cut_short_is_refused(kept: Path, tmp_path: Path, cut: int) -> None:
    folder = parquet_of(kept, tmp_path)
    path = folder / "recording.parquet"
    path.write_bytes(path.read_bytes()[:cut])
    seal(folder, "recording")
    refused(folder, r"recording\.parquet: the file is damaged")


def state(**stated: Any) -> Callable[[Path], object]:
    return lambda folder: (folder / "logbook.json").write_bytes(as_json(described(folder) | stated))


def state_table(name: str, **stated: Any) -> Callable[[Path], object]:
    def change(folder: Path) -> None:
        contents = described(folder)
        contents["tables"][name] |= stated
        (folder / "logbook.json").write_bytes(as_json(contents))

    return change


def without_table(folder: Path) -> None:
    contents = described(folder)
    del contents["tables"]["meter"]
    (folder / "logbook.json").write_bytes(as_json(contents))


@pytest.mark.parametrize(
    ("damage", "match"),
    [
        (state(format=2), r"a newer vibetrend made this export \(format 2"),
        (state(schema="0999"), r"a newer vibetrend made this export \(schema 0999"),
        (state(schema="0000"), "there is no such schema version"),
        (state(schema="0003"), "the table 'chain' has no place in a logbook"),
        (state(schema=4), "schema: "),
        (state(tables={}), "the table 'amplitude' is missing"),
        (without_table, "the table 'meter' is missing"),
        (state(tables_in="xlsx"), "tables_in: "),
        (state(tables_in="parquet"), r"chain\.parquet: this file is missing|recording\.parquet"),
        (state(originals=["../../../etc/passwd"]), "originals.0: "),
        (state(originals=["0" * 64]), "this original is missing"),
        (state(originals=[]), "cannot be read"),
        (state(entries=1), "ends in another entry than the export says"),
        (state_table("engine", columns=[]), "the columns of engine are not those of schema 0004"),
        (state_table("engine", sha256="0" * 64), "was changed after the export was made"),
        (state_table("engine", rows=-1), "tables.engine.rows: "),
        (state_table("engine", rows=2), "it has 1 rows, 2 are needed"),
        (lambda folder: (folder / "logbook.json").unlink(), r"logbook\.json: this file is missing"),
        (lambda folder: (folder / "meter.csv").unlink(), r"meter\.csv: this file is missing"),
        (lambda folder: (folder / "logbook.json").write_bytes(b"[" * 99_999), "it is no JSON"),
        (lambda folder: shutil.rmtree(folder / "originals"), "this original is missing"),
    ],
)
def test_an_export_that_is_not_whole_is_refused(
    exported: Path, damage: Callable[[Path], object], match: str
) -> None:
    damage(exported)
    refused(exported, match)


def test_names_in_the_description_are_never_followed(exported: Path, tmp_path: Path) -> None:
    """What lies elsewhere stays unread, though its digest is stated."""
    shutil.move(exported / "engine.csv", tmp_path / "engine.csv")
    state_table("engine", file=str(tmp_path / "engine.csv"))(exported)
    refused(exported, r"csv/engine\.csv: this file is missing")


@posix
def test_links_and_pipes_are_never_followed(exported: Path, tmp_path: Path) -> None:
    shutil.move(exported / "engine.csv", tmp_path / "engine.csv")
    (exported / "engine.csv").symlink_to(tmp_path / "engine.csv")
    refused(exported, r"engine\.csv: this file is no plain file")
    (exported / "engine.csv").unlink()
    os.mkfifo(exported / "engine.csv")
    with pytest.raises(LogbookError, match=r"engine\.csv: this file is no plain file"):
        import_logbook(exported, tmp_path / "new")  # and it does not wait for a writer
    (exported / "engine.csv").unlink()
    shutil.move(tmp_path / "engine.csv", exported / "engine.csv")
    shutil.move(exported / "originals", tmp_path / "originals")
    (exported / "originals").symlink_to(tmp_path / "originals")
    refused(exported, "this original is missing")


def test_what_lies_beside_is_not_read(exported: Path, tmp_path: Path) -> None:
    (exported / "letter.csv").write_bytes(b"\xff")
    (exported / "originals" / "letter.txt").write_bytes(b"hello")
    assert import_logbook(exported, tmp_path / "new").faults == ()
    assert not list((tmp_path / "new").rglob("letter*"))


def test_an_original_that_changed_is_told(exported: Path, tmp_path: Path) -> None:
    (exported / min(originals(exported))).write_bytes(b"bit rot")
    refused(exported, "original .* is no longer what was kept")
    assert len(import_logbook(exported, tmp_path / "new", damaged=True).faults) == 1


def test_a_folder_that_is_no_export_is_refused(exported: Path, tmp_path: Path) -> None:
    refused(exported / "engine.csv", "this is no folder; name the folder of an export")
    with pytest.raises(LogbookError, match="does not exist; name the folder of an export"):
        import_logbook(tmp_path / "nothing", tmp_path / "new")
    with pytest.raises(LogbookError, match="does not exist; name the folder of an export"):
        import_logbook(tmp_path / ("x" * 300), tmp_path / "new")
    (tmp_path / "new").mkdir()
    (tmp_path / "new" / "letter.txt").write_text("hello")
    refused(exported, "holds something already.*--logbook")


def test_every_kind_of_column_can_be_told() -> None:
    kinds = {
        cells.kind_of(column)
        for table in schema.metadata.tables.values()
        for column in table.columns
    }
    assert kinds == {"integer", "number", "yes/no", "text"}
