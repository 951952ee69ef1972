"""logbook remeasure: what it prints, and that it goes on after it was stopped or killed."""

import datetime as dt
import re
import shutil
import signal
import sqlite3
import sys
import time
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from command_line import ENGINE, CommandLine

from vibetrend.checkup.adding import measure_file
from vibetrend.engine import Engine
from vibetrend.logbook import Logbook
from vibetrend.orders.measurement import METHOD_VERSION
from vibetrend.recording import Note

COUNT = 4


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose logbook holds four recordings that an earlier version measured."""
    run = CommandLine(tmp_path_factory.mktemp("measured")).with_installation()
    with Logbook.open(run.folder / "logbook") as book:
        for number in range(COUNT):
            path = run.clip(f"{number}.csv", seed=number)
            now = measure_file(path, engine=Engine.parse(ENGINE), rpm=1080.0, position="head")
            orders = now.orders.copy()
            orders.loc[orders["order"] == 2.5, "amplitude"] *= 1.1
            orders.loc[orders["order"] == 1, "visible"] = False
            doubt = Note("gaps", "warning", "Some samples are missing.")
            then = replace(now, orders=orders, quality=[*now.quality, doubt], method_version=1)
            date = dt.date(2024, 6, 5 + number)
            with path.open("rb") as content:
                book.add_recording(
                    "main", content, then, visit=str(date), hours=3131.0 + 4 * number,
                    date=date, baseline=number < 3, before=False,
                )  # fmt: skip
    return run.folder


@pytest.fixture
def run(measured: Path, tmp_path: Path) -> CommandLine:
    shutil.copytree(measured / "logbook", tmp_path / "logbook")
    return CommandLine(tmp_path)


def of_this_version(run: CommandLine) -> int:
    query = "SELECT COUNT(*) FROM measurement WHERE method_version = ?"
    with closing(sqlite3.connect(run.folder / "logbook" / "logbook.sqlite")) as connection:
        return int(connection.execute(query, (METHOD_VERSION,)).fetchone()[0])


def test_what_it_prints(run: CommandLine) -> None:
    tried = run("logbook", "remeasure", "--dry-run")
    assert (tried.code, tried.err) == (0, "")
    assert tried.flat.startswith("Would be measured again, by method 2: 4 recordings.")
    assert tried.flat.endswith("Nothing was kept. To keep it, the same command without --dry-run.")
    assert of_this_version(run) == 0
    done = run("logbook", "remeasure")
    assert (done.code, done.err) == (0, "")
    head, row, *beside = done.out.splitlines()[2:6]
    assert re.split("  +", head) == ["recording", "date", "rpm", "rpm now", "most changed"]
    # -20 lg 1.1
    assert re.fullmatch(
        r"[0-9a-f]{10}  2024-06-05 +1\d+\.\d\d +1\d+\.\d\d  order 2.5: -0.83 dB", row
    )
    assert beside == ["    seen now: order 1", "    no longer doubted: gaps"]
    assert "main, head · acceleration · steady at 1080 rpm:" in done.flat
    assert "before: no change seen (method 1) now: no change seen (method 2)" in done.flat
    assert done.flat.endswith("Older results and verdicts stay in the logbook beside the new.")
    assert of_this_version(run) == COUNT
    again = run("logbook", "remeasure")
    assert again.flat == "Nothing to do: every recording was measured by this version (method 2)."
    every = run("logbook", "remeasure", "--all")
    assert "In 4 of them no order changed by 0.01 dB, the speed not by 0.01 rpm" in every.flat


def test_what_it_prints_fits_a_narrow_terminal(run: CommandLine) -> None:
    run.environment["COLUMNS"] = "42"
    assert max(map(len, run("logbook", "remeasure", "--dry-run").out.splitlines())) < 42


def test_its_json(run: CommandLine) -> None:
    ran = run("logbook", "remeasure", "--json")
    assert (ran.code, ran.err) == (0, "")
    said = ran.json
    assert (said["method_version"], said["kept"], said["left"]) == (METHOD_VERSION, True, [])
    assert [each["order"] for each in said["recordings"]] == [2.5] * COUNT
    first = said["recordings"][0]
    assert (first["date"], first["name"], first["lost"]) == ("2024-06-05", "0.csv", ["gaps"])
    (one,) = said["series"]
    assert (one["before"]["methods"], one["after"]["methods"]) == ([1], [METHOD_VERSION])
    assert {"id", "engine", "called", "order", "feature", "ended"} < one.keys()
    assert run("logbook", "remeasure", "--json").json["recordings"] == []


def test_a_missing_original_is_told_and_the_rest_goes_on(run: CommandLine) -> None:
    original = sorted((run.folder / "logbook" / "originals").glob("??/*"))[0]
    original.unlink()
    ran = run("logbook", "remeasure")
    assert ran.code == 1
    assert ran.err.startswith("vibetrend: recording ")
    assert ran.err.rstrip().endswith("put it back from a backup")
    assert len(ran.err.splitlines()) == 1
    assert "1 recording could not be measured again and keeps the older result" in ran.flat
    assert of_this_version(run) == COUNT - 1
    assert run("logbook", "remeasure", "--json").json["left"][0]["why"] in ran.err


def test_an_engine_that_is_not_there(run: CommandLine) -> None:
    ran = run("logbook", "remeasure", "--engine", "mian")
    assert (ran.code, ran.out) == (1, "")
    assert "did you mean 'main'" in ran.err


def test_ctrl_c_says_how_it_goes_on(run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    from vibetrend.checkup import remeasuring

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(remeasuring, "measured_again", interrupted)
    for options, said in (
        ((), "What was measured again until now is kept; the same command goes on."),
        (("--all",), "kept; with --all, the same command begins anew."),
        (("--dry-run",), "Stopped; nothing was kept."),
    ):
        ran = run("logbook", "remeasure", *options)
        assert (ran.code, ran.out) == (130, "")
        assert " ".join(ran.err.split()).endswith(f"{said} interrupted")


@pytest.mark.skipif(sys.platform == "win32", reason="signals of a Unix")
@pytest.mark.parametrize(("sent", "code"), [(signal.SIGKILL, -9), (signal.SIGINT, 130)])
def test_stopped_in_the_middle_it_goes_on_from_there(
    run: CommandLine, sent: signal.Signals, code: int
) -> None:
    with run.start("logbook", "remeasure") as process:
        until = time.monotonic() + 60
        while of_this_version(run) == 0 and time.monotonic() < until:
            time.sleep(0.005)
        process.send_signal(sent)
        process.communicate()
    assert process.returncode == code
    before = of_this_version(run)
    assert 0 < before < COUNT
    with Logbook.open(run.folder / "logbook") as book:
        assert book.check().clean
    rest = run("logbook", "remeasure", "--json").json["recordings"]
    assert len(rest) == COUNT - before
    assert of_this_version(run) == COUNT
