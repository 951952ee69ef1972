"""Widths, letters, colours and progress: what a terminal gets, and what a pipe does not."""

import io
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import CommandLine

from vibetrend.cli import terminal

WIDTHS = (40, 60, 80, 120)
COLOURS = ("NO_COLOR", "FORCE_COLOR", "TERM")


class Screen(io.StringIO):
    """Stands in for a terminal that somebody looks at."""

    def isatty(self) -> bool:
        return True


def looking(monkeypatch: pytest.MonkeyPatch) -> Screen:
    """Put a terminal of 60 columns in place of stdout and stderr."""
    for name in COLOURS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    shown = Screen()
    monkeypatch.setattr(sys, "stdout", shown)
    monkeypatch.setattr(sys, "stderr", shown)
    return shown


# Width


@pytest.mark.parametrize(("terminal_width", "usable"), [(10, 40), (40, 40), (80, 79), (200, 92)])
def test_columns_are_between_40_and_92(
    monkeypatch: pytest.MonkeyPatch, terminal_width: int, usable: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(terminal_width))
    assert terminal.columns() == usable


@pytest.mark.parametrize("wide", WIDTHS)
@pytest.mark.parametrize(
    "text",
    [
        "word " * 80,
        "a" * 500,
        "\u4e3b\u6a5f" * 250,  # Han letters take two columns each (Unicode Annex 11)
        "e\u0301 " * 100,  # a combining accent takes none
        "1.52 mm TIR at 140 rpm, 0.169 \u00b1 0.004 mm " * 5,
    ],
)
def test_no_line_is_wider_than_the_terminal(
    monkeypatch: pytest.MonkeyPatch, wide: int, text: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(wide))
    lines = terminal.wrapped(text, indent="  ", hanging="      ")
    assert max(map(terminal.width, lines)) <= terminal.columns()
    assert [line[:2] for line in lines] == ["  "] * len(lines)
    assert "".join("".join(lines).split()) == "".join(text.split())  # nothing is lost


def test_an_indent_as_wide_as_the_terminal_ends_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    lines = terminal.wrapped("\u4e3b" * 3, indent=" " * 50)
    assert "".join(lines).split() == ["\u4e3b"] * 3


def test_what_is_copied_stays_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    path = "/home/" + "folder/" * 10 + "idle.csv"
    digest = "0123456789abcdef" * 4
    lines = terminal.wrapped(f"Wrote {path} and {digest}.")
    assert any(path in line for line in lines)
    assert any(digest in line for line in lines)


def test_a_number_stays_with_its_unit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    for shift in range(40):
        for amount in ("0.169 ± 0.004 mm", "183 N m", "135 lbf ft", "92 %", "1080 rpm", "-3.2 dB"):
            lines = terminal.wrapped("x" * shift + f" is {amount} and more of it to tell here")
            assert any(amount in line for line in lines), (shift, lines)


def test_cells_are_aligned_by_what_the_eye_sees() -> None:
    for name in ("main", "\u4e3b\u6a5f", "e\u0301", "\u4e3b" * 20, "a" * 500, ""):
        for wide in (5, 12):
            assert terminal.width(terminal.cell(name, wide)) == wide
            assert terminal.width(terminal.cell(name, wide, ">")) == wide
    assert terminal.cell("alternator", 6) == "alter…"


# Letters


@pytest.mark.parametrize(
    ("hostile", "shown"),
    [
        ("\x1b[31mred", "\\x1b[31mred"),
        ("bell\x07", "bell\\x07"),
        ("\u202eesrever", "\\u202eesrever"),
        ("\u2067other", "\\u2067other"),
        ("\u200fmark", "\\u200fmark"),
        ("\x9b2J", "\\x9b2J"),
        ("two\nlines\tof", "two lines of"),
    ],
)
def test_what_a_terminal_would_obey_is_written_out(hostile: str, shown: str) -> None:
    assert terminal.plain(hostile) == shown
    assert terminal.wrapped(hostile) == [shown]
    assert terminal.cell(hostile, 40).rstrip() == shown


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_letters_a_stream_lacks_are_written_plainer(encoding: str) -> None:
    there = io.BytesIO()
    stream = io.TextIOWrapper(there, encoding=encoding, errors="plainer")
    stream.write("3 ± 1 m/s² … \u4e3b \U0001f600 \u2068x\u2069")
    stream.flush()
    said = there.getvalue().decode(encoding)
    assert said.replace("±", "+/-").replace("²", "2").replace("…", "...") == (
        "3 +/- 1 m/s2 ... \\u4e3b \\ud83d\\ude00 x"
    )


def test_letters_that_stdout_lacks_are_counted_as_they_are_written(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    monkeypatch.setenv("COLUMNS", "40")
    for text in ("\u2265+4.0 dB", "\u4e3b\u6a5f", "alternator"):
        assert len(terminal.cell(text, 9)) == 9
        assert terminal.cell(text, 9).isascii()
    lines = terminal.wrapped("0.169 \u00b1 0.004 mm/s\u00b2, " * 9)
    assert max(map(len, lines)) <= 40
    assert lines[0].startswith("0.169 +/- 0.004 mm/s2,")


def test_ascii_only_is_kept_to_and_json_loses_nothing(tmp_path: Path) -> None:
    """click alone would turn an ASCII stream into UTF-8."""
    run = CommandLine(tmp_path)
    name = "M\u00e1quina \u4e3b"
    run("engine", "add", run.write("e.toml", f'name = "{name}"\ncylinders = 4\n'))
    ran = run.process("engine", "show", name, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.isascii()
    assert ran.out.startswith("M\\u00e1quina \\u4e3b")
    listed = run.process("engine", "list", "--json", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert listed.out.isascii()
    assert listed.json == {"engines": [name]}


# Colour


def test_colour_only_where_it_is_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR as https://no-color.org has it: present and not empty."""
    looking(monkeypatch)
    assert terminal.coloured("changed", "changed") == "\x1b[35mchanged\x1b[0m"
    assert terminal.coloured("", "changed") == ""
    assert terminal.coloured("not measured", "not-measured") == "not measured"
    monkeypatch.setenv("NO_COLOR", "")
    assert terminal.colour()
    monkeypatch.setenv("NO_COLOR", "1")
    assert terminal.coloured("changed", "changed") == "changed"
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert not terminal.colour()
    monkeypatch.delenv("NO_COLOR")
    monkeypatch.setenv("TERM", "dumb")
    assert terminal.colour()
    monkeypatch.delenv("FORCE_COLOR")
    assert not terminal.colour()
    monkeypatch.delenv("TERM")
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert not terminal.colour()


# Progress


def test_progress_is_one_passing_line(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = looking(monkeypatch)
    seen = list(terminal.following(["a.csv", "b\x1b.csv", "c" * 100], "measuring"))
    assert seen == ["a.csv", "b\x1b.csv", "c" * 100]
    gone = "\r\x1b[K"
    first, second, third, end = screen.getvalue().split(gone)
    assert (first, second) == ("measuring 1 of 3: a.csv", "measuring 2 of 3: b\\x1b.csv")
    assert third == ("measuring 3 of 3: " + "c" * 40 + "…")  # 59 of 60 columns
    assert end == ""


def test_progress_is_cleared_before_others_speak_and_after_an_error(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    screen = looking(monkeypatch)

    def work() -> Iterator[None]:
        for _ in terminal.following([1, 2], "measuring"):
            terminal.cleared()
            screen.write("kept\n")
            yield

    list(work())
    assert screen.getvalue().replace("\r\x1b[K", "|") == (
        "measuring 1 of 2: 1|kept\nmeasuring 2 of 2: 2|kept\n"
    )
    screen.truncate(0)
    with pytest.raises(KeyboardInterrupt), terminal.saying("judging"):
        raise KeyboardInterrupt
    assert screen.getvalue().strip("\0") == "judging\r\x1b[K"
    screen.truncate(0)
    with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - the loop is what is stopped
        for _ in terminal.following([1, 2], "measuring"):
            raise KeyboardInterrupt
    assert screen.getvalue().strip("\0") == "measuring 1 of 2: 1\r\x1b[K"


@pytest.mark.parametrize("quiet", [True, False])
def test_no_progress_in_pipes_on_dumb_terminals_and_beside_json(
    monkeypatch: pytest.MonkeyPatch, quiet: bool
) -> None:
    screen = looking(monkeypatch)
    if not quiet:
        monkeypatch.setenv("TERM", "dumb")
    assert list(terminal.following([1], "measuring", quiet=quiet)) == [1]
    with terminal.saying("judging", quiet=quiet):
        pass
    monkeypatch.setattr(sys, "stderr", pipe := io.StringIO())
    list(terminal.following([1], "measuring"))
    assert screen.getvalue() + pipe.getvalue() == ""


# Whole commands


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> CommandLine:
    """A logbook with a little of everything."""
    run = CommandLine(tmp_path_factory.mktemp("kept")).with_installation()
    of = ("--engine", "main")
    hostile = "\u4e3b\u6a5f\u202e.csv"
    run(
        *("add", run.clip("1.csv").name, run.clip(hostile, seed=2).name, *of, "--rpm", 1080),
        *("--hours", 3150, "--date", "2024-06-10", "--baseline", "--position", "p" * 90),
    )
    for date, values in (("2024-06-01", "0,3,-2,3"), ("2024-06-02", "0,4,-2,4")):
        run(
            *("installation", "runout", *of, "--surface", "rim", "--readings", values),
            *("--unit", "thou", "--date", date),
        )
    run("meter", "read", *of, "--date", "2024-07-01", "--hours", 3300)
    change = ("--before", 3400, "--after", 12, "--note", "from another boat, " * 5)
    run("meter", "replace", *of, "--date", "2024-08-01", *change)
    run(
        *("work", "add", *of, "--date", "2024-10-10", "--hours", 62, "--what", "mounts"),
        *("--note", "all four, new rubber, torque as the maker says"),
    )
    return run


@pytest.mark.parametrize("wide", WIDTHS)
@pytest.mark.parametrize(
    "command",
    [
        ("status",),
        ("status", "--all"),
        ("measure", "1.csv", "--rpm", 1080, "--engine", "engine.toml"),
        ("engine", "list"),
        ("engine", "show", "main"),
        ("installation", "show", "--engine", "main"),
        ("installation", "compare", "--engine", "main", "--surface", "rim"),
        ("work", "list", "--engine", "main"),
        ("meter", "list", "--engine", "main"),
        ("add", "\u4e3b\u6a5f\u202e.csv", "--engine", "main", "--rpm", 1080, "--hours", 3150,
         "--date", "2024-06-10", "--baseline", "--position", "p" * 90),
    ],
    ids=lambda command: "-".join(map(str, command[:2])),
)  # fmt: skip
def test_every_command_keeps_to_the_terminal(
    kept: CommandLine, monkeypatch: pytest.MonkeyPatch, command: tuple[object, ...], wide: int
) -> None:
    monkeypatch.setitem(kept.environment, "COLUMNS", str(wide))
    ran = kept(*command)
    assert ran.code in (0, 3), ran.err
    assert ran.out
    usable = min(92, max(40, wide - 1))
    assert [line for line in ran.out.splitlines() if terminal.width(line) > usable] == []
    assert "\x1b" not in ran.out
    assert "\u202e" not in ran.out


def test_a_file_s_name_cannot_turn_the_terminal_s_colour(tmp_path: Path) -> None:
    run = CommandLine(tmp_path).with_engine()
    try:
        clip = run.clip("\x1b[31mred\u202e.csv").name
    except OSError:
        pytest.skip("this disk takes no such name")
    for command in (("measure", clip, "--rpm", 1080), ("add", clip, "--engine", "main")):
        ran = run(*command)
        assert "\x1b" not in ran.out + ran.err
        assert "\\x1b[31mred\\u202e.csv" in ran.out + ran.err


@pytest.mark.skipif(os.name != "posix", reason="terminals of POSIX")
def test_a_real_terminal_gets_colour_and_progress(kept: CommandLine) -> None:
    pty = pytest.importorskip("pty")

    def seen(*arguments: object, **environment: str) -> str:
        """Return what a terminal of 80 columns was sent."""
        pid, terminal_end = pty.fork()
        if pid == 0:  # pragma: no cover - the other process
            given = {"TERM": "xterm", "COLUMNS": "80"} | environment
            left = {name: value for name, value in os.environ.items() if name not in COLOURS}
            os.chdir(kept.folder)
            os.execve(
                sys.executable,
                [sys.executable, "-m", "vibetrend", *map(str, arguments)],
                left | kept.environment | given,
            )
        parts = []
        with os.fdopen(terminal_end, "rb", buffering=0) as stream:
            while True:
                try:
                    part = stream.read(65536)
                except OSError:  # Linux says so at the end
                    break
                if not part:
                    break
                parts.append(part)
        os.waitpid(pid, 0)
        return b"".join(parts).decode()

    again = ("add", "1.csv", "--engine", "main", "--rpm", 1080, "--hours", 3150, "--date",
             "2024-06-10", "--baseline", "--position", "p" * 90, "--other-engine", "off",
             "--alternator-load", "low", "--lying", "afloat", "--shore-power", "off")  # fmt: skip
    shown = seen(*again)
    assert "measuring 1 of 1: 1.csv\r\x1b[K" in shown
    assert "\x1b[1mmain\x1b[0m" in shown
    assert shown.endswith("\r\n")
    calm = seen(*again, NO_COLOR="1")
    assert calm.replace("\r\x1b[K", "").count("\x1b") == 0  # progress is no colour
    assert "measuring 1 of 1: 1.csv\r\x1b[K" in calm
