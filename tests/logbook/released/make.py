"""Make a logbook with the program as it was, from invented recordings, and pack it.

Run as: PYTHONPATH=OLD_CHECKOUT python make.py NNNN. See README.md beside this.
"""

import gzip
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

HERE = Path(__file__).parent
RPM = 1080.0
RATE, SECONDS = 200.0, 10.0
LEVELS = {0.5: 0.3, 1: 0.4, 1.5: 0.5, 2: 0.3, 2.5: 0.4, 3: 1.2, 3.5: 0.3, 4: 0.3, 4.5: 0.4, 5: 0.2}
"""Orders and their amplitudes, m/s^2."""

ENGINE = f"""\
name = "{{name}}"
cylinders = 6
fast_idle_rpm = {RPM:.0f}
[damper]
type = "rubber"
renew_hours = 4000
renew_years = 10
"""


def table(path: Path, *, seed: int, rise_db: float = 0.0) -> Path:
    """Write a short recording of one axis; `rise_db` is what order 2.5 has gained."""
    chance = np.random.default_rng(seed)
    time = np.arange(round(RATE * SECONDS)) / RATE
    # Its speed wanders a little, as an engine's does; all it does moves with the placement.
    turns = RPM / 60 * (time + 2e-4 * np.cumsum(chance.normal(size=time.size)) / RATE**0.5)
    levels = LEVELS | {2.5: LEVELS[2.5] * 10 ** (rise_db / 20)}
    moved = 10 ** (chance.normal(scale=0.3) / 20)
    signal = chance.normal(scale=0.05, size=time.size)
    for order, amplitude in levels.items():
        own = 10 ** (chance.normal(scale=0.3) / 20)
        phase = 2 * np.pi * chance.random()
        signal += moved * own * amplitude * np.cos(2 * np.pi * order * turns + phase)
    rows = [f"{at:.3f},{value:.2f}" for at, value in zip(time, signal, strict=True)]
    text = "\n".join(["time (s),az (m/s^2)", *rows, ""])
    path.write_bytes(gzip.compress(text.encode(), mtime=0))
    return path


def photo(path: Path) -> Path:
    """Write a small picture."""
    Image.radial_gradient("L").resize((64, 64)).save(path)
    return path


class Old:
    """The program as it was, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.seed = 0

    def __call__(self, *arguments: object) -> Any:
        """Run a command; return what it printed as JSON."""
        done = subprocess.run(
            [sys.executable, "-m", "vibetrend", *map(str, arguments), "--json"],
            cwd=self.folder,
            env=os.environ | {"VIBETREND_LOGBOOK": str(self.folder / "logbook")},
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode in (1, 2) or done.stderr:
            raise RuntimeError(f"{' '.join(map(str, arguments))}: {done.stderr}")
        return json.loads(done.stdout)

    def check_up(self, name: str, date: str, hours: float, *marks: str, rise_db: float = 0) -> None:
        """Add three placements of a day."""
        files = []
        for _ in range(3):
            self.seed += 1
            path = self.folder / f"{name}{self.seed}.csv.gz"
            files.append(table(path, seed=self.seed, rise_db=rise_db).name)
        self("add", *files, *OF[name], "--date", date, "--hours", hours, *marks, *STATED)


STATED = (
    *("--rpm", RPM, "--position", "head", "--device", "phone", "--condition", "warm"),
    *("--coolant-c", 80),
)  # fmt: skip
OF = {name: ("--engine", name) for name in ("main", "generator")}


def first(old: Old) -> None:
    """Do what the first version could: a life with a change, and a damper taken as found."""
    for name in OF:
        path = old.folder / "engine.toml"
        path.write_text(ENGINE.format(name=name))
        old("engine", "add", path)
    old("installation", "start", *OF["main"], "--date", "2024-06-01", "--hours", 3120)
    for date, hours in (("2024-06-05", 3131), ("2024-06-06", 3135), ("2024-06-07", 3140)):
        old.check_up("main", date, hours, "--baseline")
    for date, hours in (("2024-10-01", 3500), ("2024-10-03", 3504)):
        old.check_up("main", date, hours, rise_db=5)
    found = ("--date", "2024-06-02", "--hours", 800, "--as-found")
    old("installation", "start", *OF["generator"], *found)
    old.check_up("generator", "2024-06-08", 810, "--baseline")


def second(old: Old) -> None:
    """Do what came with the second version: work."""
    old(
        *("work", "add", *OF["generator"], "--date", "2024-07-01", "--hours", 900),
        *("--what", "mounts", "--note", "all four"),
    )  # fmt: skip
    old.check_up("generator", "2024-07-04", 905, "--baseline")


def third(old: Old) -> None:
    """Do what came with the third version: the installation record and the hour meter."""
    fitted = (*OF["main"], "--date", "2024-06-01")
    part = ("--part", "D-1", "--serial", "7", "--who", "A. Example")
    old("installation", "start", *fitted, "--hours", 3120, *part)
    readings = ("--readings", "0,3,-2,3", "--unit", "thou")
    old("installation", "runout", *fitted, "--surface", "rim", *readings)
    old("installation", "bolt", *fitted, "--torque", "135 lbf ft")
    as_installed = ("--stage", "as-installed", "--tension", "140 lbf")
    old("installation", "belt", *fitted, "--belt", "alternator", *as_installed)
    old("installation", "check", "clean", *fitted)
    old("installation", "note", "old damper kept ashore", *fitted)
    old("installation", "photo", photo(old.folder / "rim.png").name, *fitted)
    old("installation", "finish", *fitted)
    old("meter", "read", *OF["main"], "--date", "2024-11-01", "--hours", 3600)
    change = ("--date", "2024-12-01", "--before", 3650, "--after", 0)
    old("meter", "replace", *OF["main"], *change)
    old("meter", "read", *OF["main"], "--date", "2024-12-20", "--hours", 20)


def fourth(old: Old) -> None:
    """Do what came with the fourth version: corrections, and something set aside."""
    why = ("--reason", "mistyped", "--person", "A. Example")
    for name, date, what in (
        ("generator", "2024-07-04", ("correct", "--hours", 906)),
        ("main", "2024-10-03", ("set-aside",)),
    ):
        listed = old("logbook", "list", *OF[name])["entries"]
        recording = next(
            each["id"] for each in listed if each["date"] == date and "-" not in each["id"]
        )
        old("logbook", what[0], recording, *what[1:], *why)


STEPS = {"0001": first, "0002": second, "0003": third, "0004": fourth}
"""What each version brought; a logbook holds all that its version could."""


def said(old: Old) -> dict[str, Any]:
    """Return what the program says of the logbook: the states, as far as all versions have them."""
    return {
        engine["name"]: {
            "state": engine["state"],
            "hours": engine["hours"],
            "series": [
                {"device": each["device"], "state": each["verdict"]["state"]}
                | {"recordings": len(each["verdict"]["recordings"])}
                for each in engine["series"]
            ],
        }
        for engine in old("status")["engines"]
    }


def main(version: str) -> None:
    """Make the logbook of one schema."""
    with tempfile.TemporaryDirectory() as made:
        old = Old(Path(made))
        for step, do in STEPS.items():
            if step <= version:
                do(old)
        states = said(old)
        folder = old.folder / "logbook"
        with closing(sqlite3.connect(folder / "logbook.sqlite")) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            (found,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        if found != version:
            raise RuntimeError(f"this program writes schema {found}, not {version}")
        with zipfile.ZipFile(HERE / f"{version}.zip", "w", zipfile.ZIP_DEFLATED) as packed:
            for path in sorted(folder.rglob("*")):
                if path.is_file() and not path.name.endswith(("-wal", "-shm")):
                    packed.write(path, path.relative_to(folder))
        (HERE / f"{version}.json").write_text(json.dumps(states, indent=1) + "\n")


if __name__ == "__main__":
    main(sys.argv[1])
