"""`vibetrend measure --page`: a page of each recording, and never over something else."""

import random
import shutil
from pathlib import Path

import pytest
from command_line import ENGINE, CommandLine


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


def test_the_page_comes_after_the_text(run: CommandLine) -> None:
    plain = run("measure", run.clip(), "--rpm", 1080)
    ran = run("measure", run.clip(), "--rpm", 1080, "--page")
    assert (ran.code, ran.err) == (0, "")
    page = run.folder / "reports" / "idle.html"
    assert ran.out == f"{plain.out}Wrote {Path('reports/idle.html')}\n"
    assert "idle.csv" in page.read_text(encoding="utf-8")
    assert not (run.folder / "logbook").exists()


def test_json_stays_the_contract(run: CommandLine) -> None:
    engine = run.write("engine.toml", ENGINE)
    arguments = ("measure", run.clip(), "--rpm", 1080, "--engine", engine, "--json")
    plain, ran = run(*arguments), run(*arguments, "--page", "--output", "idle.html")
    assert ran.out == plain.out
    assert (ran.code, ran.err) == (0, "Wrote idle.html\n")
    assert "firing order" in (run.folder / "idle.html").read_text(encoding="utf-8")


def test_several_files_have_a_page_each_and_none_is_lost(run: CommandLine) -> None:
    (run.folder / "port").mkdir()
    first = run.clip("idle.csv", seed=1)
    other = shutil.move(run.clip("2.csv", seed=2), run.folder / "port" / "idle.csv")
    missing = run.folder / "missing.csv"
    ran = run("measure", first, missing, other, "--rpm", 1080, "--page")
    assert ran.code == 1
    assert ran.err.startswith(f"vibetrend: {missing}: ")
    sha = run("measure", other, "--rpm", 1080, "--json").json["recording"]["sha256"]
    written = {path.name for path in (run.folder / "reports").iterdir()}
    assert written == {"idle.html", f"idle-{sha[:8]}.html"}
    # Once more, in another turn: each page is replaced by its own.
    assert run("measure", other, first, "--rpm", 1080, "--page").code == 0
    assert {path.name for path in (run.folder / "reports").iterdir()} == written
    assert sha in (run.folder / "reports" / f"idle-{sha[:8]}.html").read_text(encoding="utf-8")


def test_a_page_of_the_engines_is_left_alone(run: CommandLine) -> None:
    run.with_engine()
    assert run("report", "--engine", "main").code == 0
    before = (run.folder / "reports" / "main.html").read_bytes()
    ran = run("measure", run.clip("main.csv"), "--rpm", 1080, "--page")
    assert "Wrote reports/main-" in ran.out
    assert (run.folder / "reports" / "main.html").read_bytes() == before


@pytest.mark.parametrize("chosen", [(), ("--output", "reports/idle.html")])
def test_a_foreign_file_is_left_alone(run: CommandLine, chosen: tuple[str, ...]) -> None:
    (run.folder / "reports").mkdir()
    foreign = run.write("reports/idle.html", "<p>mine</p>")
    ran = run("measure", run.clip(), "--rpm", 1080, "--page", *chosen, "--json")
    assert ran.code == 1
    assert "is left alone; choose another --output" in ran.err
    assert foreign.read_text() == "<p>mine</p>"
    assert ran.json["speed"]["method"] == "harmonics"  # it was measured all the same


def test_an_unusable_recording_has_a_page(run: CommandLine) -> None:
    rng = random.Random(1)  # the engine is off: noise alone
    rows = [f"{i / 200:.4f},{rng.gauss(0, 0.01):.4f}" for i in range(2400)]
    path = run.write("still.csv", "\n".join(["time (s),ax (m/s^2)", *rows]) + "\n")
    ran = run("measure", path, "--rpm", 1080, "--page")
    assert ran.code == 0
    page = (run.folder / "reports" / "still.html").read_text(encoding="utf-8")
    assert "Nothing, it is unusable" in page


def test_one_that_cannot_be_read_has_none(run: CommandLine) -> None:
    ran = run("measure", run.write("empty.csv", ""), "--rpm", 1080, "--page")
    assert (ran.code, ran.out) == (1, "")
    assert not (run.folder / "reports").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("1.csv", "--output", "a.html"), "add --page"),
        (("1.csv", "2.csv", "--page", "--output", "a.html"), "give one file"),
    ],
)
def test_wrong_usage(run: CommandLine, arguments: tuple[str, ...], said: str) -> None:
    ran = run("measure", *arguments)
    assert ran.code == 2
    assert said in ran.err


@pytest.mark.parametrize(
    ("name", "page"),
    [
        ("a b 2026.05.01.csv", "a_b_2026_05_01-5de2464a.html"),
        ("<b>.csv", "b-507ca5a2.html"),
        ("идл.csv", "идл.html"),
    ],
)
def test_any_name_gives_a_file(run: CommandLine, name: str, page: str) -> None:
    assert run("measure", run.clip(name), "--rpm", 1080, "--page").code == 0
    assert [path.name for path in (run.folder / "reports").iterdir()] == [page]


def test_a_page_of_a_recording_is_left_alone(run: CommandLine) -> None:
    run.with_engine()
    assert run("measure", run.clip("main.csv"), "--rpm", 1080, "--page").code == 0
    before = (run.folder / "reports" / "main.html").read_bytes()
    for command in ("report", "card"):
        ran = run(command, "--engine", "main", "--output", "reports/main.html")
        assert (ran.code, ran.out) == (1, "")
        assert "main.html: a page of another kind has this name and is left alone" in ran.err
    assert (run.folder / "reports" / "main.html").read_bytes() == before
