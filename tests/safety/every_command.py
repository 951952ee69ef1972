"""Every command that writes, on an invented boat's logbook: what kills and faults are tried on.

The logbook they begin with is the newest of `tests/logbook/released`, brought up to date. What
only judges begins with one recording more, which no verdict knows yet; measuring again with two
more, which an earlier method measured.
"""

import contextlib
import datetime as dt
import io
import os
import shutil
import sys
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

from PIL import Image

from vibetrend.checkup import adding
from vibetrend.cli import cli, main
from vibetrend.engine import Engine
from vibetrend.ingest import Statements
from vibetrend.logbook import Logbook
from vibetrend.orders import Measurement, measure
from vibetrend.simulate import record, write_table

RELEASED = Path(__file__).parents[1] / "logbook" / "released"
VERSIONS = sorted(path.stem for path in RELEASED.glob("*.zip"))
LOGBOOK, UNJUDGED, EARLIER = "logbook", "unjudged", "earlier"
RPM = 1080.0
ENGINE = 'name = "main"\ncylinders = 6\nfast_idle_rpm = 1080\n[damper]\ntype = "rubber"\n'
REFUSED = (1, 2, 130)
"""Exit codes of a command that did not do what it was asked for."""

_MAIN, _GENERATOR = ("--engine", "main"), ("--engine", "generator")
_STATED = ("--rpm", "1080", "--position", "head", "--device", "phone", "--condition", "warm")
_DAY = ("--date", "2025-01-10")
_BACKUP, _EXPORT = "files/kept.zip", "files/exported"


@dataclass(frozen=True)
class Command:
    """A command as it is typed, and the logbook it is run on."""

    name: str
    arguments: tuple[str, ...]
    on: str = LOGBOOK  # the folder in the prepared one
    files: int = 1  # that it is given; each may be refused by itself
    leaves: str | None = None  # file or folder it makes beside the logbook
    proof: tuple[str, ...] = ()  # command that accepts only a whole one; what it leaves is new then

    def made(self, folder: Path) -> bool:
        """Say whether what it leaves is there; it is not made a second time then."""
        return bool(self.proof) and (folder / str(self.leaves)).exists()


@dataclass(frozen=True)
class Ran:
    """What a command left: its exit code and what it printed."""

    code: int
    out: str
    err: str

    @property
    def accepted(self) -> bool:
        return self.code not in REFUSED


@dataclass(frozen=True)
class Prepared:
    """A folder that holds logbooks and the files that commands are given."""

    folder: Path
    commands: tuple[Command, ...] = field(repr=False)

    def __getitem__(self, name: str) -> Command:
        return next(each for each in self.commands if each.name == name)

    def copy(self, to: Path, command: Command) -> Path:
        """Put what a command needs into a fresh folder; return that."""
        needed = any(each.startswith(_EXPORT) for each in command.arguments)
        left_out = None if needed else shutil.ignore_patterns(Path(_EXPORT).name)
        shutil.copytree(self.folder / "files", to / "files", ignore=left_out)
        shutil.copytree(self.folder / command.on, to / LOGBOOK)
        return to


def run(folder: Path, arguments: tuple[str, ...]) -> Ran:
    """Run a command in this process; an unexpected error is raised, not swallowed."""
    out, err = io.StringIO(), io.StringIO()
    code: object = None
    with (
        patch.dict(os.environ, environment(folder)),
        patch.object(sys, "argv", ["vibetrend", *arguments]),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as stopped:
            code = stopped.code
    return Ran(int(str(code or 0)), out.getvalue(), err.getvalue())


def environment(folder: Path) -> Mapping[str, str]:
    """Return what a command finds around it in a folder."""
    return {
        "VIBETREND_LOGBOOK": str(folder / LOGBOOK),
        "VIBETREND_SETTINGS": str(folder / "settings.toml"),
        "COLUMNS": "92",
        "FORCE_COLOR": "",
    }


def prepare(folder: Path) -> Prepared:
    """Make the logbooks and files that every command begins with."""
    files = folder / "files"
    files.mkdir(parents=True)
    for number in range(5):
        clip(files / f"{number}.csv", seed=number)
    Image.radial_gradient("L").save(files / "rim.jpg", quality=95)
    (files / "engine.toml").write_text(ENGINE + "renew_hours = 5000\n")
    (files / "new.toml").write_text(ENGINE.replace("main", "port"))
    for version in VERSIONS:
        unpack(version, folder / version)
    shutil.copytree(folder / VERSIONS[-1], folder / UNJUDGED)
    with Logbook.open(folder / UNJUDGED) as book:
        kept = add(book, files / "4.csv")
    for old in (folder / UNJUDGED).glob("logbook-schema-*"):
        old.unlink()
    shutil.copytree(folder / UNJUDGED, folder / LOGBOOK)
    assert run(folder, ("status",)).accepted
    shutil.copytree(folder / LOGBOOK, folder / EARLIER)
    with Logbook.open(folder / EARLIER) as book, patch.object(adding, "measure", measured_earlier):
        for name in ("2.csv", "3.csv"):
            add(book, files / name)
    for command, made in (("backup", _BACKUP), ("export", _EXPORT)):
        if offered(command):
            ran = run(folder, ("logbook", command, made))
            assert ran.accepted, ran.err
    return Prepared(folder, tuple(commands(kept)))


def unpack(version: str, folder: Path) -> None:
    """Unpack a logbook as an earlier version left it."""
    with zipfile.ZipFile(RELEASED / f"{version}.zip") as packed:
        packed.extractall(folder)


def add(book: Logbook, path: Path) -> str:
    """Add a recording; return its id."""
    stated: Statements = {
        "rpm": RPM, "hours": 24, "position": "head", "device": "phone", "condition": "warm"
    }  # fmt: skip
    day = dt.date(2025, 1, 9)
    return adding.add_file(book, path, engine_name="main", today=day, **stated).kept.id


def measured_earlier(*given: Any, **named: Any) -> Measurement:
    """Measure as an earlier version of the method might have."""
    found = measure(*given, **named)
    orders = found.orders.assign(amplitude=1.1 * found.orders["amplitude"])
    return replace(found, orders=orders, method_version=1)


def clip(path: Path, *, seed: int) -> Path:
    """Write a short recording of the engine."""
    recording, _ = record(Engine.parse(ENGINE), rpm=RPM, seconds=8, rate=200, seed=seed)
    write_table(recording, path)
    return path


def offered(name: str) -> bool:
    """Say whether ``vibetrend logbook NAME`` exists."""
    return name in getattr(cli.commands.get("logbook"), "commands", {})


def commands(recording: str = "") -> Iterator[Command]:
    """Give every command; `recording` is the id of one that is in the logbook."""
    add = ("add", *_MAIN, "--hours", "25", *_DAY, *_STATED)
    three = ("files/1.csv", "files/2.csv", "files/3.csv")
    yield Command("add one", (*add, "files/0.csv"))
    yield Command("add three", (*add, *three), files=3)
    work = ("work", "add", *_MAIN)
    yield Command("work add", (*work, *_DAY, "--hours", "30", "--what", "belt"))
    late = ("--date", "2024-08-01", "--hours", "3200", "--what", "mounts")
    yield Command("work add, late", (*work, *late))
    fitted = ("installation", "start", *_MAIN, *_DAY, "--hours", "30")
    yield Command("installation start", (*fitted, "--part", "D-2", "--serial", "8"))
    torque = ("--torque", "135 lbf ft")
    yield Command("bolt", ("installation", "bolt", *_MAIN, *_DAY, *torque))
    readings = ("--surface", "rim", "--unit", "thou", "--readings", "0,2,-2,3")
    yield Command("runout", ("installation", "runout", *_MAIN, *_DAY, *readings))
    yield Command("photo", ("installation", "photo", *_MAIN, *_DAY, "files/rim.jpg"))
    yield Command("finish", ("installation", "finish", *_MAIN, *_DAY))
    yield Command("meter read", ("meter", "read", *_MAIN, *_DAY, "--hours", "30"))
    change = ("--before", "1000", "--after", "0")
    yield Command("meter replace", ("meter", "replace", *_GENERATOR, *_DAY, *change))
    yield Command("engine add, known", ("engine", "add", "files/engine.toml"))
    yield Command("engine add, new", ("engine", "add", "files/new.toml"))
    yield Command("status", ("status",), on=UNJUDGED)
    page = "page.html"
    yield Command("report", ("report", "--output", page), on=UNJUDGED, leaves=page)
    yield from (each for each in _of_logbook(recording) if offered(each.arguments[1]))
    for version in VERSIONS[:-1]:
        yield Command(f"migration of {version}", ("engine", "list"), on=version)


def _of_logbook(recording: str) -> Iterator[Command]:
    why = ("--reason", "mistyped", "--person", "A. Example")
    yield Command("correct", ("logbook", "correct", recording, "--hours", "26", *why))
    yield Command("correct speed", ("logbook", "correct", recording, "--rpm", "1081", *why))
    yield Command("set aside", ("logbook", "set-aside", recording, *why))
    yield Command("remeasure", ("logbook", "remeasure"), on=EARLIER)
    into = ("--logbook", "proof")
    for name, back, leaves in (("backup", "restore", "b.zip"), ("export", "import", "e")):
        proof = ("logbook", back, leaves, *into)
        yield Command(name, ("logbook", name, leaves), leaves=leaves, proof=proof)
    whole = ("logbook", "check", *into)
    for name, source in (("restore", _BACKUP), ("import", _EXPORT)):
        made = ("logbook", name, source, *into)
        yield Command(name, made, leaves="proof", proof=whole)
