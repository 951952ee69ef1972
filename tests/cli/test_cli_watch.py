"""`vibetrend watch` as a person uses it: a process that is stopped, killed and started again."""

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from command_line import CommandLine

needs_posix = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
QUICK = ("--every", 0.05)


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    line = CommandLine(tmp_path).with_installation()
    (tmp_path / "phone").mkdir()
    line.environment["VIBETREND_SETTINGS"] = str(tmp_path / "settings.toml")
    return line


def _recordings(run: CommandLine) -> list[str]:
    (engine,) = run("status", "--json").json["engines"]
    return [
        row["recording"] for series in engine["series"] for row in series["verdict"]["recordings"]
    ]


class Watching:
    """A watch that runs, and the events it has told."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self.process = process
        self.events: list[dict[str, Any]] = []
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with contextlib.suppress(json.JSONDecodeError):  # a line that was cut off by a kill
                self.events.append(json.loads(line))

    def wait_for(self, event: str, *, number: int = 1) -> None:
        """Wait until so many events of a kind were told."""
        give_up = time.monotonic() + 30
        while sum(each["event"] == event for each in self.events) < number:
            assert time.monotonic() < give_up, self.events
            assert self.process.poll() is None, self.process.stderr
            time.sleep(0.01)

    def end(self, how: signal.Signals) -> tuple[int, str]:
        """End it; returns its exit code and what it said on stderr."""
        self.process.send_signal(how)
        code = self.process.wait(30)
        self._reader.join()
        assert self.process.stderr is not None
        return code, self.process.stderr.read()


@contextlib.contextmanager
def _watching(run: CommandLine, *options: object) -> Iterator[Watching]:
    arguments = ("watch", "phone", "--engine", "main", "--rpm", 1080, "--json", *QUICK, *options)
    with run.start(*arguments, PYTHONUNBUFFERED="1") as process:
        watching = Watching(process)
        try:
            yield watching
        finally:
            process.kill()


def test_once_adds_what_is_there_and_says_where_the_engine_stands(run: CommandLine) -> None:
    for number in (1, 2):
        run.clip(f"phone/2024-06-10_3150h_{number}.csv", seed=number)
    arguments = ("watch", "phone", "--engine", "main", "--rpm", 1080, "--once", *QUICK)
    ran = run(*arguments)
    assert (ran.code, ran.out.count(": kept as ")) == (0, 2)
    assert "  2024-06-10, 3150 h" in ran.out
    assert "Idle trend: No baseline yet." in ran.out
    assert "A trend never proves that a damper is sound" in ran.out
    assert len(_recordings(run)) == 2
    again = run(*arguments)
    assert (again.code, again.out) == (0, "main: no baseline yet; damper renewal not due yet\n")


def test_once_with_something_set_aside_is_1_and_listed(run: CommandLine) -> None:
    run.clip("phone/clip.csv")
    run.write("phone/not\x1b[31mes.txt", "oil changed")
    ran = run("watch", "phone", "--engine", "main", "--once", *QUICK)
    assert ran.code == 1
    assert "set aside" in ran.out
    assert "write rpm = N and hours = N into clip.toml beside it" in ran.out
    assert "\x1b" not in ran.out  # a name is not obeyed by the terminal
    listed = run("watch", "phone", "--list")
    assert (listed.code, len(re.findall(r"^\S", listed.out, re.MULTILINE))) == (0, 2)
    found = run("watch", "phone", "--list", "--json").json
    assert (found["kept"], [each["path"] for each in found["set_aside"]][1:]) == (
        0, ["not\x1b[31mes.txt"],
    )  # fmt: skip
    run.write("phone/clip.toml", "rpm = 1080\nhours = 3150\ndate = 2024-06-10")
    ran = run("watch", "phone", "--engine", "main", "--once", *QUICK)
    assert (ran.code, ran.out.count(": kept as ")) == (0, 1)


def test_every_event_is_a_line_of_json(run: CommandLine) -> None:
    run.clip("phone/2024-06-10_3150h.csv")
    run.write("phone/notes\u202e.txt", "oil changed")
    ran = run("watch", "phone", "--engine", "main", "--rpm", 1080, "--once", "--json", *QUICK)
    events = [json.loads(line) for line in ran.out.splitlines()]
    assert [event["event"] for event in events] == ["status", "added", "set-aside", "status"]
    assert (events[1]["path"], events[1]["duplicate"]) == ("2024-06-10_3150h.csv", False)
    assert events[2]["path"] == "notes\u202e.txt"
    (engine,) = events[3]["status"]["engines"]
    assert (engine["name"], engine["state"]) == ("main", "no-baseline")


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("phone",), 1, "no engine is stated"),
        (("phone", "--engine", "other"), 1, "engine 'other' is not in the logbook"),
        (("missing", "--engine", "main"), 1, "this folder cannot be read"),
        (("phone", "--engine", "main", "--mail"), 1, "there are no settings yet"),
        (("phone", "--engine", "main", "--run", ""), 2, "the command is empty"),
        (("phone", "--engine", "main", "--run", "say 'it"), 2, "cannot be split"),
        (("phone", "--engine", "main", "--every", "0"), 2, "--every"),
    ],
)
def test_what_cannot_work_is_said_at_once(
    run: CommandLine, arguments: tuple[str, ...], code: int, said: str
) -> None:
    ran = run("watch", *arguments)
    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err


@needs_posix
def test_ctrl_c_is_130_at_once(run: CommandLine) -> None:
    with _watching(run, "--every", 3600) as watching:  # it sleeps, and is woken
        watching.wait_for("status")
        begun = time.monotonic()
        code, err = watching.end(signal.SIGINT)
    assert time.monotonic() - begun < 3
    assert (code, err.strip().splitlines()[-1]) == (130, "interrupted")
    assert "Traceback" not in err


def test_two_watches_of_one_folder_are_refused(run: CommandLine) -> None:
    with _watching(run) as watching:
        watching.wait_for("status")
        ran = run("watch", "phone", "--engine", "main", "--once")
    assert (ran.code, ran.out) == (1, "")
    assert "is being watched already" in ran.err


@needs_posix
def test_a_watch_that_is_killed_at_any_moment_adds_each_recording_once(
    run: CommandLine, tmp_path: Path
) -> None:
    """Recordings grow in slowly while the process is killed and started again."""
    source = [run.clip(f"{number}.csv", seed=number) for number in range(6)]
    content = [path.read_bytes() for path in source]
    targets = [tmp_path / "phone" / f"2024-06-10_3150h_{number}.csv" for number in range(6)]

    def sync() -> None:
        for data, target in zip(content, targets, strict=True):
            with target.open("wb") as file:
                for begin in range(0, len(data), len(data) // 6):
                    file.write(data[begin : begin + len(data) // 6])
                    file.flush()
                    time.sleep(0.04)

    syncing = threading.Thread(target=sync)
    syncing.start()
    added = []
    # The first files are being added while the last ones still grow; the memory is saved later
    # than the logbook, so a kill after "added" leaves a recording that is not remembered.
    for event, seconds in (("status", 0.3), ("added", 0.0), ("added", 0.1)):
        with _watching(run) as watching:
            watching.wait_for(event)
            time.sleep(seconds)
            watching.end(signal.SIGKILL)
            added += [each for each in watching.events if each["event"] == "added"]
        if len(_recordings(run)) == len(targets):
            break
    syncing.join()
    with _watching(run) as watching:
        _until(lambda: len(_recordings(run)) == len(targets))
        watching.end(signal.SIGKILL)
        added += [each for each in watching.events if each["event"] == "added"]
    found = _recordings(run)
    assert len(found) == len(set(found)) == len(targets)
    first_time = [each["path"] for each in added if not each["duplicate"]]
    assert len(first_time) == len(set(first_time))
    # What the watch found is what a person would have added: the same ids, so whole files.
    ran = run("add", *source, "--engine", "main", "--rpm", 1080, "--hours", 3150, "--date",
              "2024-06-10", "--json")  # fmt: skip
    assert all(each["duplicate"] for each in ran.json["added"])
    assert not list((tmp_path / "logbook" / "originals").glob("*.part"))


def _until(condition: Any) -> None:
    give_up = time.monotonic() + 30
    while not condition():
        assert time.monotonic() < give_up
        time.sleep(0.05)


def test_the_folder_file_makes_the_command_short(run: CommandLine) -> None:
    run.write("phone/folder.toml", 'engine = "main"\nrpm = 1080\ndevice = "my phone"')
    run.clip("phone/2024-06-10_3150h.csv")
    ran = run("watch", "phone", "--once", *QUICK)
    assert (ran.code, ran.out.count(": kept as ")) == (0, 1)
    assert "my phone" in ran.out
    shutil.rmtree(run.folder / "phone")
    ran = run("watch", "phone", "--once", *QUICK)  # the drive was pulled: known, hence no typo
    assert (ran.code, "this folder cannot be read" in ran.flat) == (1, True)
