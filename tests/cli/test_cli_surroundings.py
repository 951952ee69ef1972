"""Hostile names, poor terminals, closed pipes, Ctrl-C: what is outside the program's hands."""

import os
import re
import shlex
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from command_line import ENGINE, CommandLine

from vibetrend.shell import typed

needs_posix = pytest.mark.skipif(os.name != "posix", reason="signals and pipes of POSIX")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    (tmp_path / "here").mkdir()  # so that what is beside it can be looked at
    return CommandLine(tmp_path / "here")


@pytest.mark.parametrize(
    "name",
    [
        "../../outside",
        "/etc/engine",
        "C:\\engine",
        'it\'s "quoted"',
        "<script>alert(1)</script>",
        "'; DROP TABLE engine; --",
        "{{ 7 * 7 }}",
        "Máquina 主機 №1",
        "--help",
        ".",
        "100 % %s {0}",
    ],
)
def test_an_engine_may_have_any_name(run: CommandLine, name: str) -> None:
    quoted = name.replace("\\", "\\\\").replace('"', '\\"')
    path = run.write("engine.toml", ENGINE.replace('"main"', f'"{quoted}"'))
    outside = set(run.folder.parent.iterdir())
    assert run("engine", "add", path).code == 0
    assert run("engine", "list", "--json").json == {"engines": [name]}
    ran = run(
        "installation", "start", "--engine", name, "--date", "2024-06-01", "--hours", 3120, "--json"
    )
    assert ran.json["engine"] == name
    status = run("status", "--engine", name)
    assert status.code == 0
    assert status.out.startswith(name)
    ran = run("report", "--engine", name, "--json")
    assert ran.code == 0
    written = run.folder / ran.json["path"]
    assert written.resolve().parent == (run.folder / "reports").resolve()
    page = written.read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "49" not in "".join(re.findall(r"<h1[^>]*>(.*?)</h1>", page, re.DOTALL))
    assert set(run.folder.parent.iterdir()) == outside  # nothing was written beside the folder


def test_the_questions_take_any_name(run: CommandLine) -> None:
    name = 'it\'s "the" \\ engine'
    arguments = ("--cylinders", 4, "--strokes", 4, "--fast-idle-rpm", 900, "--damper", "other")
    assert run("engine", "new", "--name", name, *arguments).code == 0
    assert run("engine", "add", "engine.toml", "--json").json["name"] == name


@pytest.mark.parametrize("name", ["a;b & c.csv", "$(id).csv", "<b>1080rpm.csv", "ü 主 1.csv"])
def test_a_recording_may_have_any_name(run: CommandLine, name: str) -> None:
    run.with_installation()
    ran = run(
        *("add", run.clip(name), "--engine", "main", "--rpm", 1080, "--hours", 3150),
        *("--date", "2024-06-10", "--position", "<i>casting</i>", "--json"),
    )
    assert (ran.code, ran.err) == (0, "")
    assert Path(ran.json["added"][0]["path"]).name == name
    assert run("report", "--output", "page.html").code == 0
    page = (run.folder / "page.html").read_text(encoding="utf-8")
    assert "<i>casting" not in page
    assert "<b>1080rpm" not in page


@needs_posix
def test_a_name_that_is_no_text(run: CommandLine) -> None:
    """On POSIX a file name is bytes; these are no UTF-8."""
    try:
        path = run.clip(os.fsdecode(b"\xff.csv"))
    except OSError:
        pytest.skip("this disk takes only names that are text")
    for arguments in ((), ("--json",)):
        ran = run.process(
            "measure", path, "--rpm", 1080, *arguments, PYTHONIOENCODING="utf-8:replace"
        )
        assert (ran.code, ran.err) == (0, "")


@pytest.mark.parametrize(
    "environment",
    [
        {"LANG": "C", "LC_ALL": "C"},
        {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
        {"PYTHONIOENCODING": "ascii"},
    ],
)
def test_a_terminal_that_knows_ascii_only(run: CommandLine, environment: dict[str, str]) -> None:
    ran = run.process("measure", run.clip(), "--rpm", 1080, **environment)
    assert (ran.code, ran.err) == (0, "")
    assert "speed 1080" in ran.out


def test_a_terminal_that_lacks_a_letter(run: CommandLine) -> None:
    ran = run.process("measure", run.clip("主.csv"), "--rpm", 1080, PYTHONIOENCODING="latin-1")
    assert (ran.code, ran.err) == (0, "")


def _into_nothing(run: CommandLine, *arguments: str) -> tuple[int, str]:
    """Run it while nobody reads what it prints; return exit code and stderr."""
    reading, writing = os.pipe()
    os.close(reading)
    with subprocess.Popen(
        [sys.executable, "-m", "vibetrend", *arguments],
        cwd=run.folder,
        env=os.environ | run.environment,
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        os.close(writing)
        _, err = process.communicate()
    return process.returncode, err


@needs_posix
def test_a_reader_that_has_gone_gets_no_traceback(run: CommandLine) -> None:
    """`vibetrend ... | head`."""
    assert _into_nothing(run.with_engine(), "engine", "show", "main")[1] == ""


@needs_posix
def test_ctrl_c_is_130_and_leaves_the_logbook_whole(run: CommandLine) -> None:
    run.with_installation()
    files = [run.clip(f"{seed}.csv", seed=seed).name for seed in range(40)]
    process = run.start(
        *("add", *files, "--engine", "main", "--rpm", 1080, "--hours", 3150),
        *("--date", "2024-06-10"),
        PYTHONUNBUFFERED="1",
    )
    with process:
        assert process.stdout is not None
        first = process.stdout.readline()  # it is at work now
        assert ": kept as " in first
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert (process.returncode, err.strip()) == (130, "interrupted")
    kept = (first + out).count(": kept as ")
    assert 1 <= kept < len(files)
    (engine,) = run("status", "--json").json["engines"]
    # The one in work may be in the logbook already and not yet printed.
    assert len(engine["series"][0]["verdict"]["recordings"]) in (kept, kept + 1)


@needs_posix
def test_ctrl_c_at_a_question(run: CommandLine) -> None:
    process = run.start("engine", "new", PYTHONUNBUFFERED="1")
    with process:
        assert process.stdout is not None
        assert process.stdout.read(4) == "Name"  # it has asked
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=30)
    assert (process.returncode, err.strip()) == (130, "interrupted")
    assert list(run.folder.iterdir()) == []


HOSTILE = "a'; touch run; $(touch run) \"b"


@pytest.mark.parametrize("name", ["port engine", HOSTILE])
def test_a_command_to_copy_takes_the_name_as_one_word(run: CommandLine, name: str) -> None:
    run.environment["COLUMNS"] = "60"
    quoted = name.replace('"', '\\"')
    added = run("engine", "add", run.write("engine.toml", ENGINE.replace('"main"', f'"{quoted}"')))
    for said in (
        added.out,
        run("installation", "show", "--engine", name).out,
        run("installation", "check", "clean", "--engine", name).err,
    ):
        assert any(typed(name) in line for line in said.splitlines())  # on one line, to be copied
        (command,) = re.findall(r"(?:Next|start it):\s+(.*)", said, re.DOTALL)
        assert shlex.split(command)[:5] == ["vibetrend", "installation", "start", "--engine", name]


def test_the_next_command_takes_a_file_s_name_as_one_word(run: CommandLine) -> None:
    ran = run.process(
        "engine", "new", "--cylinders", 4, "--fast-idle-rpm", 900, "--output", "a b.toml"
    )
    assert ran.code == 0
    assert 'Look it over, then: vibetrend engine add "a b.toml"' in ran.out.replace("\n  ", " ")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize(
    "command", [("--help",), ("engine", "show", "main", "--json"), ("report", "--output", "a.html")]
)
def test_what_cannot_be_printed_is_one_line(
    run: CommandLine, command: tuple[str, ...], unbuffered: str
) -> None:
    run.with_engine()
    run.environment["PYTHONUNBUFFERED"] = unbuffered
    said = "vibetrend: not all could be printed (No space left on device)\n"
    with Path("/dev/full").open("wb") as full:
        ran = _printing_to(run, full, subprocess.PIPE, *command)
        assert (ran.returncode, ran.stderr) == (1, said)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_where_not_even_an_error_can_be_printed_the_exit_code_tells(run: CommandLine) -> None:
    run.with_engine()
    with Path("/dev/full").open("wb") as full:
        assert _printing_to(run, full, full, "engine", "show", "main", "--json").returncode == 1
        ran = _printing_to(run, subprocess.PIPE, full, "engine", "show", "unknown")
        assert (ran.returncode, ran.stdout) == (1, "")


def _printing_to(
    run: CommandLine, out: Any, err: Any, *command: str
) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "vibetrend", *command],
        cwd=run.folder, env=os.environ | run.environment, stdout=out, stderr=err, text=True,
        check=False,
    )  # fmt: skip


def test_another_error_of_the_system_keeps_its_traceback(
    run: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("vibetrend.logbook.Logbook.open", broken)
    with pytest.raises(OSError, match="No space left"):
        run("engine", "list")
