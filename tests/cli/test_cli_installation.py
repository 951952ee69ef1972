"""installation start, check, note, photo, compare, show, finish: the record and its way."""

import datetime as dt
from pathlib import Path

import pytest
from command_line import ENGINE, CommandLine
from PIL import Image

from vibetrend.cli.installation import _POINTS
from vibetrend.cli.installation_damper import _MARKS
from vibetrend.installation import CHECKLIST, MARKS

START = ("installation", "start", "--engine", "main")


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


def test_an_installation_is_started_once(run: CommandLine) -> None:
    run.with_engine()
    arguments = (*START, "--date", "2024-06-01", "--hours", 3120)
    first = run(*arguments)
    assert (first.code, first.err) == (0, "")
    assert first.out.startswith("Installation on main (new damper): 2024-06-01, 3120 h.")
    assert "baseline" in first.out
    assert "isolate its starting before hands go near belts" in first.out
    again = run(*arguments)
    assert again.out.startswith("In the logbook already: installation on main (new damper)")
    told = run(*arguments, "--json").json
    assert told.pop("details")["serial"] == ""
    assert told == {
        "engine": "main", "date": "2024-06-01", "hours": 3120.0, "meter_hours": 3120.0,
        "as_found": False, "duplicate": True, "ends": None, "changed": [],
    }  # fmt: skip
    ran = run(*START, "--date", "2024-05-01", "--hours", 3000)
    assert ran.code == 1
    assert "lies before the previous one, 2024-06-01 at 3120 h" in ran.err


def test_what_a_start_ends_or_states_otherwise_is_said(run: CommandLine) -> None:
    run.with_engine()
    arguments = (*START, "--date", "2024-06-01", "--hours", 3120)
    assert " was " not in run(*arguments, "--part", "A").out
    changed = run(*arguments, "--part", "B", "--counts-from", "fitted").out
    assert "Part was A and is B now." in changed
    ended = run(*START, "--date", "2024-06-01", "--hours", 3121)
    assert "It ends the time of the damper of 2024-06-01, 3120 h; that one's record" in ended.out
    newer = run(*START, "--date", "2025-06-01", "--hours", 3500, "--json")
    assert newer.json["ends"] == "2024-06-01"


def test_an_installation_as_found(run: CommandLine) -> None:
    ran = run.with_engine()(*START, "--date", "2024-06-01", "--hours", 0, "--as-found")
    assert "(as found): 2024-06-01, 0 h" in ran.out


@pytest.mark.parametrize(
    ("date", "hours", "said"),
    [
        (dt.date.max.isoformat(), "1", "9999-12-31 is in the future; correct --date"),
        ("2024-06-01", "nan", "nan cannot be engine hours"),
        ("2024-06-01", "inf", "inf cannot be engine hours"),
    ],
)
def test_an_installation_that_cannot_be(run: CommandLine, date: str, hours: str, said: str) -> None:
    ran = run.with_engine()(*START, "--date", date, "--hours", hours)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err


def test_an_installation_of_an_unknown_engine(run: CommandLine) -> None:
    ran = run.with_engine()(
        "installation", "start", "--engine", "mian", "--date", "2024-06-01", "--hours", 1
    )
    assert ran.code == 1
    assert "did you mean 'main'?" in ran.err


def test_what_is_known_of_the_damper_may_be_added_later(run: CommandLine) -> None:
    run.with_installation()
    again = (*START, "--date", "2024-06-01", "--hours", 3120, "--json")
    told = run(*again, "--part", "X-1", "--who", "A. Example").json
    assert (told["details"]["part"], told["details"]["serial"]) == ("X-1", "")
    told = run(*again, "--serial", "77", "--made-on", "2024-01-05", "--counts-from", "made").json
    assert told["details"] == {
        "part": "X-1", "serial": "77", "made_on": "2024-01-05", "counts_from": "made",
        "who": "A. Example", "notes": "",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--made-on", "2024-06-02"], "after it was fitted"),
        (["--counts-from", "made"], "that day is missing"),
        (["--part", "two\nlines"], "write one line"),
    ],
)
def test_details_that_cannot_be_keep_the_installation_out(
    run: CommandLine, options: list[str], said: str
) -> None:
    ran = run.with_engine()(*START, "--date", "2024-06-01", "--hours", 1, *options)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err
    assert run("installation", "show", "--engine", "main", "--json").json["installations"] == []


def test_the_choices_offered_are_those_of_the_record() -> None:
    assert list(_POINTS) == list(CHECKLIST)
    assert list(_MARKS) == list(MARKS)


def test_checks_and_notes_are_kept_once_and_shown(run: CommandLine) -> None:
    run.with_installation()
    clean = ("installation", "check", "clean", "--engine", "main", "--date", "2024-06-01")
    first = run(*clean, "--person", "A. Example")
    assert (first.code, first.err) == (0, "")
    assert first.out.startswith("Kept for main, damper of 2024-06-01: check clean done, 2024-06-01")
    assert "isolate its starting" in first.out
    assert run(*clean, "--person", "A. Example").out.startswith("In the record already")
    hammer = ("installation", "check", "pulled-on", "--not-done", "--engine", "main", "--json")
    told = run(*hammer).json
    assert (told["kind"], told["duplicate"]) == ("check", False)
    assert told["date"] == dt.date.today().isoformat()
    assert run("installation", "note", "old one ashore", "--engine", "main").code == 0
    words = run("installation", "show", "--engine", "main").out
    for part in (
        f"Notes:\n  {dt.date.today()}  old one ashore",
        "\n  done      Crank nose, key and seal sleeve are clean",
        "\n  NOT done  The damper was pulled on",
        "Not noted as checked: timing mark,",
        "isolate its starting before hands go near belts",
    ):
        assert part in words
    assert words.count("timing mark") == 1


def test_a_job_is_finished_with_what_it_lacks_and_goes_on(run: CommandLine) -> None:
    run.with_installation()
    done = run("installation", "finish", "--engine", "main", "--person", "A. Example")
    assert (done.code, done.err) == (0, "")
    assert "No bolt torque is recorded." in done.out
    assert "may be added afterwards" in done.out
    assert "never proves" in done.out
    told = run("installation", "finish", "--engine", "main", "--json").json
    assert told["missing"] == told["entered"]["missing"]
    assert told["next"].startswith("take the baseline")
    torque = ("installation", "bolt", "--engine", "main", "--name", "centre", "--torque", "50 N m")
    assert run(*torque).code == 0
    (shown,) = run("installation", "show", "--engine", "main", "--json").json["installations"]
    assert "No bolt torque is recorded." in shown["finished"]["missing"]
    assert "No bolt torque is recorded." not in shown["missing"]


def test_what_is_beyond_the_limit_is_said_when_the_job_is_finished(run: CommandLine) -> None:
    limit = '[limits.bolt_torque]\nmin = 180\nunit = "N m"\nsource = "invented sheet"\n'
    run.write("engine.toml", ENGINE + limit)
    run("engine", "add", "engine.toml")
    run(*START, "--date", "2024-06-01", "--hours", 3120)
    torque = ("installation", "bolt", "--engine", "main", "--name", "centre", "--torque")
    low = run(*torque, "170 N m")
    assert "below the maker's 180 N m (invented sheet)" in low.out
    assert "Next: beyond the maker's limit: tighten it" in low.out
    finish = ("installation", "finish", "--engine", "main")
    said = "Beyond the maker's limit, by the latest reading: torque of centre"
    done = run(*finish).out
    assert done.startswith(f"{said}.\n")
    assert "Next: put it right and read again before the engine is run." in done
    assert "isolate its starting before hands go near belts" in done
    assert (
        run(*finish, "--note", "again", "--json").json["next"].startswith(f"{said}; put it right")
    )
    shown = ("installation", "show", "--engine", "main")
    assert f"{said}." in run(*shown).out
    assert run(*torque, "190 N m", "--recheck").code == 0
    assert "Beyond" not in run(*finish, "--note", "set right").out + run(*shown).out


def test_every_damper_is_shown_the_latest_last(run: CommandLine) -> None:
    assert "No installation on main yet" in run.with_engine()(
        "installation", "show", "--engine", "main"
    ).out.replace("\n", " ")
    run(*START, "--date", "2020-06-01", "--hours", 100, "--as-found", "--part", "old")
    run(*START, "--date", "2024-06-01", "--hours", 3120, "--part", "new")
    told = run("installation", "show", "--engine", "main", "--json").json["installations"]
    assert [each["details"]["part"] for each in told] == ["old", "new"]
    assert [each["until"] for each in told] == ["2024-06-01", None]
    words = run("installation", "show", "--engine", "main").out
    assert words.index("Found on the engine at 100 h, until 2024-06-01") < words.index("Fitted at")


# photos


def test_photos_are_kept_without_their_place_by_the_cameras_date(run: CommandLine) -> None:
    run.with_installation()
    tags = Image.Exif()
    tags.get_ifd(0x8769)[0x9003] = "2024:06:02 10:11:12"
    tags.get_ifd(0x8825).update({1: "N", 2: (54.0, 19.0, 22.0)})
    Image.new("RGB", (60, 40), "grey").save(run.folder / "rim.jpg", exif=tags)
    Image.new("RGB", (60, 40), "white").save(run.folder / "plain.png")
    run.write("notes.txt", "no photo")
    add = ("installation", "photo", "--engine", "main", "--caption", "dial on the rim")
    ran = run(*add, "rim.jpg", "notes.txt", "plain.png", "missing.jpg")
    assert ran.code == 1
    assert len(ran.err.splitlines()) == 2
    assert "notes.txt: no photo" in ran.err
    assert "missing.jpg: no such file" in ran.err
    assert "photo rim.jpg, 2024-06-02" in ran.out
    assert "Where it was taken is not kept." in ran.out
    told = run(*add, "rim.jpg", "--json").json["added"][0]
    assert (told["duplicate"], told["entered"]["media_type"]) == (True, "image/jpeg")
    sha256 = told["entered"]["sha256"]
    original = run.folder / "logbook" / "originals" / sha256[:2] / sha256[2:]
    with Image.open(original) as kept:
        assert kept.getexif().get_ifd(0x8825) == {}
    (shown,) = run("installation", "show", "--engine", "main", "--json").json["installations"]
    assert [each["name"] for each in shown["photos"]] == ["rim.jpg", "plain.png"]
    assert run("report", "--engine", "main", "--output", "page.html").code == 0
    assert "data:image/jpeg;base64" in (run.folder / "page.html").read_text(encoding="utf-8")


def test_a_photo_needs_an_installation_and_leaves_nothing_without(run: CommandLine) -> None:
    Image.new("RGB", (60, 40)).save(run.folder / "rim.jpg")
    ran = run.with_engine()("installation", "photo", "rim.jpg", "--engine", "main")
    assert (ran.code, ran.out) == (1, "")
    assert "had begun by" in ran.err
    assert not (run.folder / "logbook" / "originals").exists()


def test_what_was_read_is_shown_by_kind_then_by_date(run: CommandLine) -> None:
    run.with_installation()
    rim = ("installation", "runout", "--engine", "main", "--surface", "rim", "--unit", "mm")
    run(*rim, "--readings", "0,.1,.2,.1", "--date", "2024-07-01")
    bolt = ("installation", "bolt", "--engine", "main", "--torque", "50 N m")
    run(*bolt, "--date", "2024-06-01")
    run(*rim, "--readings", "0,.1,.1,.1", "--date", "2024-06-01")
    words = run("installation", "show", "--engine", "main").out
    lines = [line for line in words.splitlines() if line.endswith(":") or line[2:4] == "20"]
    assert [line.strip()[:26] for line in lines] == [
        "Run-out:", "2024-06-01  Rim run-out is", "2024-07-01  Rim run-out is", "Bolts:",
        "2024-06-01  Torque of damp", "Still missing:",
    ]  # fmt: skip
    assert words.count("These stations show at least") == 1  # what both can miss is said once


# compare


def test_two_sets_of_run_out_are_compared(run: CommandLine) -> None:
    run.with_installation()
    rim = ("installation", "runout", "--engine", "main", "--surface", "rim", "--unit", "mm")
    compare = ("installation", "compare", "--engine", "main", "--surface", "rim")
    assert "no run-out of rim is recorded" in run(*compare).err
    angles = "0,45,90,135,180,225,270,315"
    # references.md, section 6: eight stations, and the same moved by 0.05 mm towards 0 degrees
    run(*rim, "--readings", ".07,.06,.03,.01,-.01,-.04,-.05,.01", "--angles", angles,
        "--date", "2024-06-01")  # fmt: skip
    assert "recorded once" in run(*compare).err
    run(*rim, "--readings", ".12,.095,.03,-.025,-.06,-.075,-.05,.045", "--angles", angles,
        "--date", "2024-09-01")  # fmt: skip
    told = run(*compare, "--json").json
    assert told["moved"] == pytest.approx(0.05, abs=0.001)  # the readings are rounded to 5 um
    assert told["beyond"] is True
    said = run(*compare).out
    assert "2024-06-01 to 2024-09-01 the rim moved" in said.replace("\n  ", " ")
    assert "isolate its starting before hands go near belts" in said
    assert "never proves" in said
    assert "recorded is: rim" in run(*compare, "--with", "hub").err


# without installation, engine, or a place to write


@pytest.mark.parametrize(
    "command",
    [
        ("runout", "--surface", "rim", "--readings", "0,1,2", "--unit", "mm"),
        ("bolt", "--name", "1", "--torque", "50 N m"),
        ("belt", "--belt", "fan", "--stage", "as-installed", "--tension", "600 N"),
        ("mark", "--what", "index-offset", "--value", "0.8 mm"),
        ("casing", "--thicknesses", "41,41.1", "--unit", "mm"),
        ("fluid", "--viscosity-loss", "12"),
        ("check", "clean"),
        ("note", "text"),
        ("finish",),
        ("compare", "--surface", "rim"),
    ],
    ids=lambda command: command[0],
)
def test_every_command_says_what_comes_first(run: CommandLine, command: tuple[str, ...]) -> None:
    none = run("installation", *command, "--engine", "main")
    assert (none.code, none.out, len(none.err.splitlines())) == (1, "", 1)
    assert "holds no engine yet" in none.err
    none = run.with_engine()("installation", *command, "--engine", "main")
    assert (none.code, none.out, len(none.err.splitlines())) == (1, "", 1)
    assert "vibetrend installation start --engine main" in none.err
    run(*START, "--date", "2024-06-01", "--hours", 1)
    late = run("installation", *command, "--engine", "main", "--date", "9999-12-31")
    assert (late.code, late.out) == (1, "")
    assert "is in the future; correct --date" in late.err
    early = run("installation", *command, "--engine", "main", "--date", "2024-05-31")
    assert (early.code, early.out) == (1, "")
