"""The shape of the house: who may import whom, and what `--help` may cost."""

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "vibetrend"

SIDE_BY_SIDE = ("ingest", "orders", "torsion", "trend", "installation")
UPWARD = (
    ("errors",),
    ("units",),
    ("quantities",),
    ("recording",),
    ("engine",),
    SIDE_BY_SIDE,
    ("runup",),
    ("measuring",),
    ("simulate",),
    ("logbook",),
    ("checkup",),
    ("report",),
    ("settings",),
    ("watch",),
    ("trouble",),
    ("web",),
    ("cli",),
)
RANK = {room: rank for rank, rooms in enumerate(UPWARD) for room in rooms}
GROUND = {"errors", "units", "quantities", "recording", "engine"}

# Beyond the direction: what these rooms may know at most. `checkup` joins the others.
KNOWS = {
    "runup": {*GROUND, "orders"},  # a sweep's samples, clock and teeth are read the same way
    "measuring": {*GROUND, "orders", "runup"},
    "simulate": {*GROUND, "torsion", "trend"},
    "logbook": {*GROUND, "orders"},  # orders: the type of what it keeps
    "report": {*GROUND, "orders", "runup", "torsion", "trend", "installation", "checkup"},
    "settings": GROUND,
    "trouble": set(),
    "watch": {*GROUND, "ingest", "logbook", "checkup", "report", "settings"},
    "cli": {
        *GROUND,
        *("ingest", "orders", "torsion", "trend", "installation", "simulate", "logbook"),
        *("checkup", "report", "settings", "watch", "trouble"),
    },
    **dict.fromkeys(SIDE_BY_SIDE, GROUND),
}
TYPES_ONLY = {"logbook": {"orders"}, "report": {"orders"}, "cli": {"ingest", "orders"}}
DATABASES = {"sqlalchemy", "sqlite3", "alembic"}
HEAVY = {"numpy", "scipy", "librosa", "pandas", "plotly", "sqlalchemy", "soundfile", "numba"}
LONGEST = 400  # lines; more than can be read in one go


@dataclass(frozen=True)
class Import:
    """One name imported by a module, both as dotted paths inside the package."""

    module: str  # "vibetrend.cli.add"
    target: str  # "vibetrend.orders" or "numpy"
    name: str  # what is taken from it, "" for a plain import
    bound: str  # what it is called in the module
    line: int

    @property
    def room(self) -> str:
        return _room(self.module)

    @property
    def target_room(self) -> str:
        return _room(self.target) if self.target.split(".")[0] == "vibetrend" else ""

    def __str__(self) -> str:
        return f"{self.module}, line {self.line}: {self.target} {self.name}".rstrip()


def _room(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def _module(path: Path, package: Path) -> str:
    parts = ["vibetrend", *path.relative_to(package).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _imports(path: Path, package: Path) -> Iterator[Import]:
    module = _module(path, package)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for each in node.names:
                yield Import(module, each.name, "", each.asname or each.name, node.lineno)
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{module}, line {node.lineno}: write imports in full"
            for each in node.names:
                bound = each.asname or each.name
                target = node.module or ""
                if target == "vibetrend":  # `from vibetrend import units` takes a module
                    yield Import(module, f"vibetrend.{each.name}", "", bound, node.lineno)
                else:
                    yield Import(module, target, each.name, bound, node.lineno)


def _files(package: Path) -> list[Path]:
    return sorted(package.rglob("*.py"))


def _inside(package: Path) -> list[Import]:
    """Return the imports that modules of rooms make; the two doors are tested by themselves."""
    doors = {package / "__init__.py", package / "__main__.py"}
    return [
        each for path in _files(package) if path not in doors for each in _imports(path, package)
    ]


def _loose_helpers(package: Path) -> set[str]:
    """Modules beside the rooms that import nothing of ours: anyone may use them."""
    loose = {path.stem for path in package.glob("*.py") if path.stem not in {*RANK, "__init__"}} - {
        "__main__"
    }
    return {
        name
        for name in loose
        if not any(each.target_room for each in _imports(package / f"{name}.py", package))
    }


def wrong_direction(package: Path) -> list[str]:
    helpers = _loose_helpers(package)
    found = []
    for each in _inside(package):
        if not each.target_room or each.target_room == each.room or each.target_room in helpers:
            continue
        upward = each.target_room in RANK and RANK[each.target_room] < RANK.get(each.room, -1)
        if not upward or each.target_room not in KNOWS.get(each.room, set(RANK)):
            found.append(str(each))
    return found


def _names_used_as_values(path: Path) -> set[str]:
    """Names read outside annotations."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    hints: set[int] = set()
    for node in ast.walk(tree):
        notes: list[ast.expr | None] = []
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            notes = [node.returns]
        elif isinstance(node, ast.arg | ast.AnnAssign):
            notes = [node.annotation]
        hints |= {id(part) for note in notes if note is not None for part in ast.walk(note)}
    return {
        node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and id(node) not in hints
    }


def used_as_more_than_types(package: Path) -> list[str]:
    found = []
    for path in _files(package):
        for each in _imports(path, package):
            only_types = each.target_room in TYPES_ONLY.get(each.room, set())
            # The command line may also take constants from `trend`.
            constant = each.room == "cli" and each.target_room == "trend" and each.name.isupper()
            if each.room == "cli" and each.target_room == "trend" and not constant:
                only_types = True
            if only_types and each.bound in _names_used_as_values(path):
                found.append(str(each))
    return found


# The house as it stands


def test_imports_point_upward_only() -> None:
    """design.md, section 3; the rooms beside each other never know each other."""
    assert wrong_direction(PACKAGE) == []


def test_every_module_belongs_to_a_room() -> None:
    rooms = {_room(_module(path, PACKAGE)) for path in _files(PACKAGE)} - {"", "__main__"}
    assert rooms - _loose_helpers(PACKAGE) <= set(RANK)
    assert {"errors", "ingest", "orders", "trend", "logbook", "checkup", "report", "cli"} <= rooms


def test_errors_import_nothing_of_ours() -> None:
    assert [e for e in _imports(PACKAGE / "errors.py", PACKAGE) if e.target_room] == []


def test_only_the_logbook_speaks_sql() -> None:
    outside = [
        str(each)
        for each in _inside(PACKAGE)
        if each.target.split(".")[0] in DATABASES and each.room != "logbook"
    ]
    assert outside == []
    calls = [
        f"{path.name}, line {node.lineno}"
        for path in _files(PACKAGE)
        if path.parent.name != "logbook"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in {"read_sql", "to_sql", "read_sql_query"}
    ]
    assert calls == []


def test_the_report_knows_plain_records_only() -> None:
    taken = {e.target for e in _inside(PACKAGE) if (e.room, e.target_room) == ("report", "checkup")}
    assert taken == {"vibetrend.checkup.records"}


def test_the_records_hold_no_behaviour() -> None:
    tree = ast.parse((PACKAGE / "checkup" / "records.py").read_text(encoding="utf-8"))
    assert [
        type(node).__name__ for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)
    ] == []
    assert not any(
        each.target_room in {"logbook", "ingest"}
        for each in _imports(PACKAGE / "checkup" / "records.py", PACKAGE)
    )


def test_results_of_the_rooms_are_only_handed_on() -> None:
    """Nothing is computed by the command line, the page or the logbook: they take types."""
    assert used_as_more_than_types(PACKAGE) == []


def test_only_the_front_door_imports_by_name() -> None:
    by_name = [
        str(each)
        for each in _inside(PACKAGE)
        if each.target == "importlib" and each.name == "import_module"
    ]
    assert by_name == []


def test_the_front_door_imports_only_the_errors() -> None:
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    at_once = {
        node.module for node in tree.body if isinstance(node, ast.ImportFrom) and node.module
    }
    assert at_once == {"importlib", "typing", "vibetrend.errors"}


def test_no_module_needs_scrolling_for_minutes() -> None:
    lengths = {
        str(path.relative_to(PACKAGE)): len(path.read_text(encoding="utf-8").splitlines())
        for path in _files(PACKAGE)
    }
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST} == {}


@pytest.mark.parametrize("arguments", [["--help"], ["measure", "--help"], ["report", "--help"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    ran = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "vibetrend", *arguments],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"PYTHONUTF8": "1"},
    )
    imported = {
        line.rsplit("|", 1)[1].strip().split(".")[0]
        for line in ran.stderr.splitlines()
        if line.startswith("import time:")
    }
    assert "click" in imported  # the list was read
    assert imported & HEAVY == set()
    assert "Usage:" in ran.stdout


# The rules themselves: each must be able to fail


@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("trend/judge.py", "from vibetrend.logbook import Logbook"),
        ("trend/judge.py", "from vibetrend.orders import measure"),
        ("orders/measuring.py", "from vibetrend.runup import measure"),
        ("errors.py", "from vibetrend import units"),
        ("recording.py", "import vibetrend.engine"),
        ("report/page.py", "from vibetrend.logbook import Logbook"),
        ("checkup/adding.py", "from vibetrend.report import page"),
        ("logbook/book.py", "from vibetrend.trend import judge"),
        ("simulate/record.py", "from vibetrend.ingest import read"),
        ("watch/watcher.py", "def add():\n    from vibetrend.installation import renewal"),
        ("units.py", "from vibetrend.loose import helper"),
    ],
)
def test_a_wrong_import_is_found(tmp_path: Path, file: str, line: str) -> None:
    path = tmp_path / file
    path.parent.mkdir(exist_ok=True)
    path.write_text(line + "\n", encoding="utf-8")
    # A helper that imports ours is a room without a place in the house.
    (tmp_path / "loose.py").write_text("from vibetrend.errors import VibetrendError\n")
    expected = [each for each in wrong_direction(tmp_path) if "loose, line" not in each]
    assert len(expected) == 1


@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("trend/judge.py", "from vibetrend.engine import Engine"),
        ("checkup/adding.py", "from vibetrend.orders import measure"),
        ("ingest/table.py", "from vibetrend.ingest.found import Found"),
        ("units.py", "from vibetrend.loose import helper"),
    ],
)
def test_a_right_import_is_not_blamed(tmp_path: Path, file: str, line: str) -> None:
    path = tmp_path / file
    path.parent.mkdir(exist_ok=True)
    path.write_text(line + "\n", encoding="utf-8")
    (tmp_path / "loose.py").write_text("import math\n")
    assert wrong_direction(tmp_path) == []


def test_more_than_a_type_is_found(tmp_path: Path) -> None:
    (tmp_path / "cli").mkdir()
    (tmp_path / "cli" / "words.py").write_text(
        "from vibetrend.orders import Measurement, measure\n"
        "def words(one: Measurement) -> str:\n"
        "    return str(measure(one))\n"
    )
    assert used_as_more_than_types(tmp_path) == [
        "vibetrend.cli.words, line 1: vibetrend.orders measure"
    ]
