"""Nothing leaves the machine: whole commands run while every way to the network raises."""

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
from vibetrend.cli import main
main()
"""


def ran(run: CommandLine, *arguments: object) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-c", HOOK, *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=run.folder,
        env=os.environ | run.environment,
        timeout=120,
    )


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path).with_installation()


def test_the_main_job_needs_no_network(run: CommandLine) -> None:
    clip = run.clip()
    for arguments in (
        ("add", clip, "--engine", "main", "--rpm", 1080, "--hours", 3125, "--date", "2024-06-05"),
        ("report", "--output", "main.html"),
        ("logbook", "backup", "boat.zip"),
    ):
        done = ran(run, *arguments)
        assert "NETWORK" not in done.stderr
        assert done.returncode == 0, done.stderr


def test_the_watch_would_see_it() -> None:
    code = HOOK.replace("from vibetrend.cli import main\nmain()", "import socket\n"
                        "socket.create_connection(('127.0.0.1', 9))")  # fmt: skip
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 77
    assert "NETWORK socket.getaddrinfo" in done.stderr
