"""report --pdf, --png, --csv: what is written, and that nothing is where something is wrong."""

import os
from pathlib import Path

import pytest
from command_line import ENGINE, CommandLine
from fake_browser import both, fake
from PIL import Image

TABLES = [
    "series.csv", "changes.csv", "amplitudes.csv", "recordings.csv", "installation.csv",
    "work.csv", "hours.csv", "corrections.csv", "README.txt",
]  # fmt: skip

posix = pytest.mark.skipif(os.name != "posix", reason="the scripts need a POSIX system")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    """An engine with a run-out to draw, and a browser that prints and draws at once."""
    run = CommandLine(tmp_path).with_installation()
    reading = ("--engine", "main", "--date", "2024-06-02", "--unit", "mm", "--surface", "rim")
    ran = run("installation", "runout", *reading, "--readings", "0,0.05,0,-0.05")
    assert ran.code == 0, ran.err
    run.environment["VIBETREND_BROWSER"] = str(both(tmp_path / "bin"))
    return run


def files(run: CommandLine) -> list[str]:
    """Return what was written, the logbook and the browser aside."""
    ours = {"logbook", "bin", "engine.toml"}
    return sorted(
        str(each.relative_to(run.folder))
        for each in run.folder.rglob("*")
        if each.is_file() and each.relative_to(run.folder).parts[0] not in ours
    )


def test_tables_are_written_instead_of_the_page(run: CommandLine) -> None:
    run.environment["VIBETREND_BROWSER"] = "none is needed"
    ran = run("report", "--csv", "tables", "--json")
    assert (ran.code, ran.err) == (0, "")
    assert ran.json == {"csv": [str(Path("tables", name)) for name in TABLES]}
    assert files(run) == sorted(f"tables/{name}" for name in TABLES)
    assert run("report", "--csv", "tables").out == "Wrote 9 files into tables\n"  # ours is replaced


def test_recordings_are_not_read_again_where_nothing_shows_them(
    run: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("read again")

    monkeypatch.setattr("vibetrend.checkup.pictures.with_pictures", refuse)
    assert run("report", "--csv", "tables", "--calendar", "due.ics").code == 0
    with pytest.raises(AssertionError, match="read again"):
        run("report")


@posix
def test_all_of_them_go_together(run: CommandLine) -> None:
    ran = run("report", "--output", "a.html", "--pdf", "b/a.pdf", "--png", "c", "--csv", "d",
              "--calendar", "e.ics", "--json")  # fmt: skip
    assert ran.code == 0
    assert ran.json == {
        "path": "a.html",
        "pdf": str(Path("b/a.pdf")),
        "png": [str(Path("c/main-run-out-rim.png"))],
        "csv": [str(Path("d", name)) for name in TABLES],
        "calendar": "e.ics",
    }
    tables = sorted(f"d/{name}" for name in TABLES)
    assert files(run) == ["a.html", "b/a.pdf", "c/main-run-out-rim.png", *tables, "e.ics"]
    with Image.open(run.folder / "c" / "main-run-out-rim.png") as picture:
        assert picture.size == (1240, 300)
    ran = run("report", "--pdf", "b/a.pdf", "--png", "c", "--csv", "d")  # ours are replaced
    assert ran.out == "Wrote b/a.pdf\nWrote 1 picture into c\nWrote 9 files into d\n"


@posix
@pytest.mark.parametrize(("given", "size"), [((), "A4"), (("--paper", "letter"), "Letter")])
def test_the_paper_may_be_chosen(run: CommandLine, given: tuple[str, ...], size: str) -> None:
    assert run("report", "--pdf", "a.pdf", *given).code == 0
    assert f"size: {size};" in (run.folder / "bin" / "page.html").read_text(encoding="utf-8")
    assert files(run) == ["a.pdf"]


def test_an_unknown_paper_is_wrong_usage(run: CommandLine) -> None:
    assert run("report", "--pdf", "a.pdf", "--paper", "A3").code == 2


@pytest.mark.parametrize("wants", [("--pdf", "a.pdf"), ("--png", "c")])
def test_without_a_browser_nothing_is_written(run: CommandLine, wants: tuple[str, str]) -> None:
    run.environment["VIBETREND_BROWSER"] = "no-such-program"
    ran = run("report", *wants, "--output", "a.html", "--csv", "d", "--calendar", "e.ics")
    assert (ran.code, ran.out) == (1, "")
    assert "VIBETREND_BROWSER names 'no-such-program', which is no program" in ran.err
    assert files(run) == []


@posix
@pytest.mark.parametrize("wants", [("--pdf", "a.pdf"), ("--png", "c")])
def test_a_browser_that_breaks_off_leaves_nothing(run: CommandLine, wants: tuple[str, str]) -> None:
    run.environment["VIBETREND_BROWSER"] = str(fake(run.folder / "bin", "sys.exit('no display')"))
    ran = run("report", *wants, "--output", "a.html", "--csv", "d", "--calendar", "e.ics")
    assert (ran.code, ran.out) == (1, "")
    assert "broke off with code 1 (no display); name another browser" in ran.err
    assert "Traceback" not in ran.err
    assert files(run) == []


@posix
@pytest.mark.parametrize(
    ("name", "option"),
    [("a.html", "--output"), ("a.pdf", "--pdf"), ("c/main-run-out-rim.png", "--png"),
     ("d/work.csv", "--csv"), ("d/README.txt", "--csv")],
)  # fmt: skip
def test_a_foreign_file_is_left_alone_and_no_other_is_written(
    run: CommandLine, name: str, option: str
) -> None:
    (run.folder / name).parent.mkdir(exist_ok=True)
    run.write(name, "another's")
    ran = run("report", "--output", "a.html", "--pdf", "a.pdf", "--png", "c", "--csv", "d")
    assert (ran.code, ran.out) == (1, "")
    assert f"left alone; choose another {option}" in ran.err
    assert files(run) == [name]
    assert (run.folder / name).read_text(encoding="utf-8") == "another's"


def test_a_folder_that_cannot_be_made_is_one_line(run: CommandLine) -> None:
    run.write("file", "no folder")
    ran = run("report", "--csv", "file/tables")
    assert (ran.code, ran.out) == (1, "")
    assert "the table cannot be written" in ran.err
    assert "choose another --csv" in ran.err


@posix
def test_nothing_to_draw_is_told(tmp_path: Path) -> None:
    run = CommandLine(tmp_path).with_installation()
    run.environment["VIBETREND_BROWSER"] = str(both(tmp_path / "bin"))
    ran = run("report", "--png", "c", "--csv", "d")
    assert (ran.code, ran.out) == (1, "")
    assert "there is nothing to draw yet" in ran.err
    assert files(run) == []


def test_names_alike_have_pages_of_their_own(tmp_path: Path) -> None:
    run = CommandLine(tmp_path)
    names = ["a/b", "a b", "a_b", "engines"]
    for name in names:
        run("engine", "add", run.write("engine.toml", ENGINE.replace('"main"', f'"{name}"')))
        assert run("report", "--engine", name).code == 0
    assert run("report").out == "Wrote reports/engines.html\n"
    assert len(list((tmp_path / "reports").iterdir())) == len(names) + 1


def test_a_page_of_an_earlier_version_is_replaced(run: CommandLine) -> None:
    head = '<!DOCTYPE html><meta name="generator" content="vibetrend">'
    old = run.write("page.html", head)
    assert run("report", "--output", "page.html").code == 0
    assert old.read_text(encoding="utf-8") != head
    assert run("report", "--output", "page.html").code == 0


def test_a_card_and_the_page_never_replace_each_other(run: CommandLine) -> None:
    for first, then in (("report", "card"), ("card", "report")):
        path = run.folder / f"{first}.html"
        assert run(first, "--engine", "main", "--output", path).code == 0
        before = path.read_bytes()
        ran = run(then, "--engine", "main", "--output", path)
        assert (ran.code, ran.out) == (1, "")
        assert "a page of another kind has this name and is left alone" in ran.err
        assert path.read_bytes() == before


def test_a_name_written_right_to_left_keeps_its_place_in_the_heading(run: CommandLine) -> None:
    name = "\u05de\u05e0\u05d5\u05e2"
    run("engine", "add", run.write("two.toml", ENGINE.replace('"main"', f'"{name}"')))
    assert run("report", "--output", "page.html").code == 0
    page = (run.folder / "page.html").read_text(encoding="utf-8")
    title = f"Vibration record: main, \u2068{name}\u2069"
    assert f"<title>{title}</title>" in page
    assert f"<h1><bdi>{title}</bdi></h1>" in page


def test_what_takes_long_is_said(run: CommandLine, monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    monkeypatch.setattr("vibetrend.cli.terminal._say", said.append)
    assert run("report", "--output", "page.html").code == 0
    assert said == ["judging", "making the page"]
    said.clear()
    assert run("report", "--output", "page.html", "--json").code == 0
    assert not any(said)


@pytest.mark.parametrize(
    "command",
    [
        ("report", "--output", ""),
        ("report", "--png", ""),
        ("card", "--engine", "main", "--output", ""),
        ("measure", "idle.csv", "--page", "--output", ""),
        ("status", "--logbook", ""),
    ],
)
def test_an_empty_path_is_wrong_usage(run: CommandLine, command: tuple[str, ...]) -> None:
    ran = run(*command)
    assert (ran.code, ran.out) == (2, "")
    assert f"Invalid value for '{command[-2]}': the path is empty; name one" in ran.err
