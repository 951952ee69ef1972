"""Nothing leaves the machine: whole commands run while every way to the network raises."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import CommandLine

HOOK = """\
import sys

def watch(event, arguments):
    if event.startswith("socket.") and event not in ("socket.__new__", "socket.gethostname"):
        print("NETWORK", event, arguments, file=sys.stderr)
        sys.exit(77)

sys.addaudithook(watch)
import json
from vibetrend.cli import main

for arguments in json.loads(sys.argv.pop()):
    sys.argv[1:] = arguments
    try:
        main()
    except SystemExit as stopped:
        if stopped.code:
            raise
"""


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path).with_installation()


def test_the_main_job_needs_no_network(run: CommandLine) -> None:
    commands = [
        ["add", str(run.clip()), "--engine", "main", "--rpm", "1080", "--hours", "3125",
         "--date", "2024-06-05"],
        ["report", "--output", "main.html"],
        ["logbook", "backup", "boat.zip"],
    ]  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", HOOK, json.dumps(commands)],
        capture_output=True,
        text=True,
        cwd=run.folder,
        env=os.environ | run.environment,
        timeout=120,
    )
    assert "NETWORK" not in done.stderr
    assert done.returncode == 0, done.stderr
    assert (run.folder / "boat.zip").exists()


def test_the_watch_would_see_it() -> None:
    code = HOOK.partition("import json")[0]
    code += "import socket\nsocket.create_connection(('127.0.0.1', 9))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 77
    assert "NETWORK socket.getaddrinfo" in done.stderr
