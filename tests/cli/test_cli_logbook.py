"""engine, add, status, report: what is kept and how it is said."""

import datetime as dt
import io
from pathlib import Path

import pytest
from click.testing import CliRunner
from command_line import ENGINE, CommandLine

from vibetrend.cli import asking, cli
from vibetrend.engine import Engine

WORK = ("work", "add", "--engine", "main", "--date", "2024-10-10", "--hours", 3600)


@pytest.fixture
def run(tmp_path: Path) -> CommandLine:
    return CommandLine(tmp_path)


# engine


def test_an_engine_added_again_is_updated_or_unchanged(run: CommandLine) -> None:
    path = run.write("engine.toml", ENGINE)
    first = run("engine", "add", path)
    assert (first.code, first.err) == (0, "")
    assert first.out.startswith("Engine main: added. Next: vibetrend installation start")
    assert run("engine", "add", path).out.startswith("Engine main: unchanged.")
    run.write("engine.toml", ENGINE.replace("4000", "5000"))
    assert run("engine", "add", path).out.startswith("Engine main: updated.")
    assert run("engine", "add", path, "--json").json == {"name": "main", "result": "unchanged"}
    assert run("engine", "list", "--json").json == {"engines": ["main"]}
    assert run("engine", "show", "main", "--json").json["damper"]["renew_hours"] == 5000


def test_an_empty_logbook_says_what_comes_first(run: CommandLine) -> None:
    for command in ("engine list", "status"):
        ran = run(*command.split())
        assert (ran.code, ran.out) == (0, "No engine yet. Next: vibetrend engine new\n")
    nothing = {"engines": [], "side_by_side": [], "logbook": {"faults": []}}
    assert run("status", "--json").json == nothing
    ran = run("report")
    assert ran.code == 1
    assert "vibetrend engine new" in ran.err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "cannot be read"),
        ("cylinders = 6", "name is missing; add it"),
        ('name = "a"\ncylinders = 99', "line 2: cylinders is 99"),
        ("\x00\x01", "not valid TOML"),
    ],
)
def test_a_bad_engine_file_is_one_plain_line(
    run: CommandLine, content: str | None, said: str
) -> None:
    if content is not None:
        run.write("engine.toml", content)
    ran = run("engine", "add", "engine.toml")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("vibetrend: engine.toml: ")
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_new_engine_file_by_questions(run: CommandLine) -> None:
    asked = CliRunner()
    path = run.folder / "port.toml"
    command = ["engine", "new", "--output", str(path)]
    done = asked.invoke(cli, command, input="port\n4\n\n900\nviscous\n")
    assert done.exit_code == 0, done.output
    engine = Engine.load(path)
    assert (engine.name, engine.cylinders, engine.strokes) == ("port", 4, 4)
    assert (engine.fast_idle_rpm, engine.damper.type) == (900, "viscous")
    assert engine.damper.renew_hours is None  # the maker's figure is not made up
    assert run("engine", "add", path).code == 0
    kept = path.read_text(encoding="utf-8")
    done = asked.invoke(cli, command, input="port\n6\n\n900\nviscous\n")
    assert "choose another with --output" in str(done.exception)
    assert path.read_text(encoding="utf-8") == kept


@pytest.mark.parametrize(
    ("typed", "limit", "small"), [(["", ""], None, None), (["4.5", "0.4"], 4.5, 0.4)]
)
def test_a_person_is_asked_what_matters_and_may_leave_it_open(
    run: CommandLine,
    monkeypatch: pytest.MonkeyPatch,
    typed: list[str],
    limit: float | None,
    small: float | None,
) -> None:
    monkeypatch.setattr(asking, "is_terminal", lambda: True)
    path = run.folder / "port.toml"
    done = CliRunner().invoke(
        cli,
        [
            *("engine", "new", "--name", "port", "--cylinders", "4", "--strokes", "4"),
            *("--fast-idle-rpm", "900", "--damper", "viscous", "--output", str(path)),
        ],
        input="\n".join([*typed[:1], *(["-1"] if limit else []), *typed[1:], ""]),
    )
    assert done.exit_code == 0, done.output
    assert ("not in the range" in done.output) == (limit is not None)  # and asked again
    engine = Engine.load(path)
    assert (engine.limit_db, engine.small_velocity_mm_s) == (limit, small)
    told = path.read_text(encoding="utf-8")
    assert ("# limit_db = 6.02" in told) == (limit is None)
    assert run("engine", "add", path).code == 0


# add and status


def test_a_life_in_commands(run: CommandLine) -> None:
    """Three days of three placements, then an order 5 dB up on two days: exit code 3, then 4."""
    run.with_installation()
    codes, states = [], []
    visits = [("2024-06-05", 3131), ("2024-06-06", 3135), ("2024-06-07", 3140)]
    for number, (date, hours) in enumerate([*visits, ("2024-10-01", 3500), ("2024-10-03", 3504)]):
        later = number >= len(visits)
        files = [
            run.clip(
                f"{number}{placement}.csv",
                seed=10 * number + placement,
                common_db=0.4 * (placement - 1),
                changes_db={2.5: 5.0} if later else {2.5: 0.3 * (placement - 1)},
            )
            for placement in range(3)
        ]
        ran = run(
            *("add", *files, "--engine", "main", "--rpm", 1080, "--hours", hours, "--date", date),
            *(["--json"] if later else ["--baseline", "--json"]),
        )
        assert ran.err == ""
        told = ran.json
        assert [set(each) for each in told["added"]] == [
            {"path", "recording", "duplicate", "hours", "meter_hours", "quality"}
        ] * 3
        assert not any(each["duplicate"] for each in told["added"])
        codes.append(ran.code)
        states.append(told["status"]["engines"][0]["state"])
    assert states == ["learning", "learning", "no-change-seen", "another-day", "changed"]
    assert codes == [0, 0, 0, 3, 4]

    status = run("status", "--engine", "main", "--json")
    assert status.code == 4
    assert status.json == told["status"] | {"logbook": {"faults": []}}
    words = run("status")
    assert words.code == 4
    assert "Changed" in words.out
    assert "Order 2.5" in words.out
    assert "never proves" in words.out

    fourth = run(
        *("add", run.clip("4.csv", seed=99), "--engine", "main", "--rpm", 1080, "--hours", 3505),
        *("--date", "2024-10-04", "--baseline"),
    )
    assert (fourth.code, len(fourth.err.splitlines())) == (1, 1)
    assert "is complete (2024-06-05 to 2024-06-07) and closed: leave out --baseline" in fourth.err
    assert run("status", "--json").json == status.json

    page = run.folder / "pages" / "main.html"
    ran = run("report", "--engine", "main", "--output", page)
    assert (ran.code, ran.out) == (0, f"Wrote {page}\n")
    assert "rder 2.5" in page.read_text(encoding="utf-8")
    assert run("report", "--json").json == {"path": str(Path("reports") / "engines.html")}
    assert (run.folder / "reports" / "engines.html").exists()
    assert run("report", "--output", page).code == 0  # ours may be replaced

    assert "What was recorded before is ended" in run(*WORK, "--what", "mounts").out
    ended = run("status", "--json")
    assert (ended.code, ended.json["engines"][0]["state"]) == (0, "no-baseline")
    (old,) = ended.json["engines"][0]["series"]
    assert old["ended"] == "work on 2024-10-10: mounts"
    assert old["verdict"] == status.json["engines"][0]["series"][0]["verdict"]
    assert run("status").code == 0


def test_added_twice_is_a_duplicate_and_no_error(run: CommandLine) -> None:
    run.with_installation()
    arguments = (
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3150),
        *("--date", "2024-06-10"),
    )
    first = run(*arguments, "--json").json["added"][0]
    again = run(*arguments, "--json")
    assert again.code == 0
    assert again.json["added"][0] == first | {"duplicate": True, "quality": []}
    assert "in the logbook already" in run(*arguments).flat
    (series,) = again.json["status"]["engines"][0]["series"]
    assert len(series["verdict"]["recordings"]) == 1


@pytest.mark.parametrize(
    ("kept", "asked", "said"),
    [
        ("", "--baseline", "kept without a mark and stays so: --baseline was not taken over"),
        ("--before", "--baseline", "kept with --before and stays so: --baseline was not"),
        ("--baseline", "--before", "kept with --baseline and stays so: --before was not"),
        ("--baseline", "", ""),
        ("--baseline", "--baseline", ""),
    ],
)
def test_a_mark_that_comes_too_late_is_said(
    run: CommandLine, kept: str, asked: str, said: str
) -> None:
    run.with_installation()
    arguments = (
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3120),
        *("--date", "2024-06-01"),
    )
    assert run(*arguments, *[kept] * bool(kept)).code == 0
    told = " ".join(run(*arguments, *[asked] * bool(asked)).out.split())
    assert "nothing changed" in told
    assert ("To change it: vibetrend logbook correct" in told) == bool(said)
    assert said in told
    (entry,) = run(*arguments, *[asked] * bool(asked), "--json").json["added"]
    assert said in entry.get("remark", "")
    assert ("remark" in entry) == bool(said)


def test_what_lies_before_the_installation_is_told_so(run: CommandLine) -> None:
    ran = run.with_installation()(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3110),
        *("--date", "2024-05-20"),
    )
    told = " ".join(ran.out.split())
    assert (ran.code, ran.err) == (0, "")
    assert (
        "Kept; it lies before the installation of 1 June 2024, so no verdict compares it with "
        "anything." in told
    )


@pytest.mark.parametrize("left_out", ["--rpm", "--hours"])
def test_what_was_not_stated_is_one_line(run: CommandLine, left_out: str) -> None:
    run.with_installation()
    stated = {"--rpm": "1080", "--hours": "3150", "--date": "2024-06-10"}
    del stated[left_out]
    options = [word for pair in stated.items() for word in pair]
    path = run.clip()
    ran = run("add", path, "--engine", "main", *options)
    assert ran.code == 1
    assert ran.err.startswith(f"vibetrend: {path}: no ")
    assert ran.err.endswith(f"{left_out} N\n")
    assert len(ran.err.splitlines()) == 1


def test_bad_files_do_not_keep_the_good_out(run: CommandLine) -> None:
    run.with_installation()
    ran = run(
        *("add", "gone.csv", run.write("bad.csv", "nothing"), run.clip(), "--engine", "main"),
        *("--rpm", 1080, "--hours", 3150, "--date", "2024-06-10", "--json"),
    )
    assert ran.code == 1
    assert len(ran.err.splitlines()) == 2
    assert len(ran.json["added"]) == 1


def test_a_baseline_without_an_installation_says_what_to_do(run: CommandLine) -> None:
    ran = run.with_engine()(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3150, "--baseline"),
        *("--date", "2024-06-10", "--json"),
    )
    assert ran.code == 1
    assert ran.json["added"] == []
    assert "vibetrend installation start --engine main" in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_date_in_the_future_is_refused(run: CommandLine) -> None:
    tomorrow = dt.date.today() + dt.timedelta(days=2)
    ran = run.with_installation()(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3150),
        *("--date", tomorrow),
    )
    assert ran.code == 1
    assert "is in the future; correct --date" in ran.err


def test_nothing_is_read_for_an_unknown_engine(run: CommandLine) -> None:
    ran = run("add", "gone.csv", "--engine", "nobody", "--rpm", 1080, "--hours", 1)
    assert (ran.code, ran.out) == (1, "")
    assert len(ran.err.splitlines()) == 1
    assert "engine 'nobody' is not in the logbook" in ran.err


def test_status_json_by_contract(run: CommandLine) -> None:
    """design.md, section 4, and what work, another phone and a damper before add to it."""
    run.with_installation()
    run(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3150, "--json"),
        *("--date", "2024-06-10", "--position", "casting", "--device", "phone"),
    )
    ran = run("status", "--json")
    (engine,) = ran.json["engines"]
    assert {
        *("name", "state", "hours", "next_recording_hours", "renewal", "work", "series"),
    } <= set(engine)
    renewal = {key: engine["renewal"][key] for key in ("state", "due_date", "due_hours", "first")}
    assert renewal == {"state": "ok", "due_date": None, "due_hours": 7120.0, "first": "hours"}
    (series,) = engine["series"]
    promised = {
        *("id", "position", "device", "kind", "condition", "manner", "speed_rpm", "baseline"),
        "verdict",
    }
    further = {"unit", "codec", "epoch", "ended", "carried", "follows", "after_work", "before"}
    assert set(series) == promised | further
    assert (series["position"], series["device"], series["kind"], series["manner"]) == (
        *("casting", "phone", "acceleration", "steady"),
    )
    assert series["baseline"] == "after-installation"
    assert (engine["state"], ran.code) == ("no-baseline", 0)


def test_a_recording_of_the_damper_before_needs_no_installation(run: CommandLine) -> None:
    ran = run.with_engine()(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 3110, "--before"),
        *("--date", "2024-05-30"),
    )
    assert (ran.code, ran.err) == (0, "")
    assert "Kept as the damper before: not judged" in ran.out
    (engine,) = run("status", "--json").json["engines"]
    assert (engine["state"], engine["series"]) == ("no-baseline", [])


def test_renewal_overdue_is_exit_code_4(run: CommandLine) -> None:
    run.with_installation()
    ran = run(
        *("add", run.clip(), "--engine", "main", "--rpm", 1080, "--hours", 7121),
        *("--date", "2025-06-10"),
    )
    assert ran.code == 4
    assert run("status").code == 4


# the logbook's place


def test_the_option_goes_before_the_environment(run: CommandLine) -> None:
    run.with_engine()
    other = run.folder / "other"
    assert run("engine", "list", "--logbook", other).out.startswith("No engine yet")
    assert (other / "logbook.sqlite").exists()
    assert run("engine", "list").out == "main\n"


def test_a_logbook_that_is_none(run: CommandLine) -> None:
    (run.folder / "logbook").mkdir()
    (run.folder / "logbook" / "logbook.sqlite").write_bytes(b"no database, but rather long" * 99)
    ran = run("status")
    assert (ran.code, ran.out, len(ran.err.splitlines())) == (1, "", 1)
    blocked = run.write("blocked", "a file")
    assert run("status", "--logbook", blocked).code == 2  # no folder: wrong usage
    run.environment["VIBETREND_LOGBOOK"] = str(blocked)
    ran = run("status")
    assert (ran.code, len(ran.err.splitlines())) == (1, 1)


def test_a_foreign_file_is_never_replaced(run: CommandLine) -> None:
    run.with_engine()
    foreign = run.write("letter.html", "<p>to the surveyor</p>")
    ran = run("report", "--output", foreign)
    assert (ran.code, len(ran.err.splitlines())) == (1, 1)
    assert foreign.read_text(encoding="utf-8") == "<p>to the surveyor</p>"


def test_a_page_that_cannot_be_written_is_one_line(run: CommandLine) -> None:
    run.with_engine()
    run.write("blocked", "a file")
    ran = run("report", "--output", "blocked/page.html")
    assert (ran.code, len(ran.err.splitlines())) == (1, 1)


def test_a_table_without_times_can_be_reported(run: CommandLine) -> None:
    lines = io.StringIO(run.clip().read_text(encoding="utf-8")).readlines()[1:]
    path = run.write("bare.csv", "".join(line.split(",", 1)[1] for line in lines))
    run.with_installation()
    ran = run(
        *("add", path, "--engine", "main", "--rpm", 1080, "--hours", 3150, "--rate", 200),
        *("--unit", "m/s^2", "--kind", "acceleration", "--date", "2024-06-10"),
    )
    assert (ran.code, ran.err) == (0, "")
    assert run("report", "--output", "page.html").err == ""
