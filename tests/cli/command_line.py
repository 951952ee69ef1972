"""The command line as a person uses it, and an invented engine to use it on."""

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from vibetrend.cli import main
from vibetrend.engine import Engine
from vibetrend.simulate import record, write_table

ENGINE = """\
name = "main"
cylinders = 6
fast_idle_rpm = 1080
[damper]
type = "rubber"
renew_hours = 4000
"""


@dataclass(frozen=True)
class Ran:
    """What a command left: its exit code and what it printed."""

    code: int
    out: str
    err: str

    @property
    def flat(self) -> str:
        """What it printed on one line, as a person reads it."""
        return " ".join(self.out.replace("\xa0", " ").split())

    @property
    def json(self) -> Any:
        return json.loads(self.out, parse_constant=_refuse)


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no JSON")


def _heed_ctrl_c() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


class CommandLine:
    """`vibetrend` in a folder of its own with a logbook of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {
            "VIBETREND_LOGBOOK": str(folder / "logbook"),
            "OPENBLAS_NUM_THREADS": "1",
            "COLUMNS": "92",
            "FORCE_COLOR": "",
        }

    def __call__(self, *arguments: object) -> Ran:
        """Run it in this process; an unexpected error is raised, not swallowed."""
        out, err = io.StringIO(), io.StringIO()
        code: object = None
        with (
            patch.dict(os.environ, self.environment),
            patch.object(sys, "argv", ["vibetrend", *map(str, arguments)]),
            contextlib.chdir(self.folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
        ):
            try:
                main()
            except SystemExit as stopped:
                code = stopped.code
        return Ran(int(str(code or 0)), out.getvalue(), err.getvalue())

    def start(self, *arguments: object, **environment: str) -> "subprocess.Popen[str]":
        """Start it as a process of its own."""
        return subprocess.Popen(
            [sys.executable, "-m", "vibetrend", *map(str, arguments)],
            cwd=self.folder,
            env=os.environ | self.environment | environment,
            stdin=subprocess.PIPE,  # open and silent, as a keyboard is
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
            # Shells start background jobs with Ctrl-C ignored, and the tests may be one.
            preexec_fn=_heed_ctrl_c if os.name == "posix" else None,
        )

    def process(self, *arguments: object, **environment: str) -> Ran:
        """Run it as a process of its own."""
        with self.start(*arguments, **environment) as process:
            out, err = process.communicate()
        return Ran(process.returncode, out, err)

    def write(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text, encoding="utf-8", errors="replace")
        return path

    def clip(self, name: str = "idle.csv", *, seed: int = 1, **changes: Any) -> Path:
        """Write a short recording of the engine at fast idle."""
        recording, _ = record(
            Engine.parse(ENGINE), rpm=1080, seconds=12, rate=200, seed=seed, **changes
        )
        write_table(recording, self.folder / name)
        return self.folder / name

    def with_engine(self) -> "CommandLine":
        """Put the engine into the logbook."""
        assert self("engine", "add", self.write("engine.toml", ENGINE)).code == 0
        return self

    def with_installation(self) -> "CommandLine":
        """Put the engine and its new damper into the logbook."""
        arguments = ("--engine", "main", "--date", "2024-06-01", "--hours", 3120)
        assert self.with_engine()("installation", "start", *arguments).code == 0
        return self
