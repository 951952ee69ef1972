"""The troubleshooting page holds every error that a person can meet, and no other.

Words of the trade and remedies have no outside source; what is quoted is held against the source
(`said_errors`), each command against the command line, and each file format against a reader.
"""

import json
import re
import shlex
from functools import cache
from itertools import takewhile
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from said_errors import HOLE, House, Site

from vibetrend.cli import cli
from vibetrend.cli.trouble import trouble
from vibetrend.logbook.schema import metadata
from vibetrend.trouble import entries, fits, matching
from vibetrend.trouble.entries import PAGE, Entry, parsed

PACKAGE = Path(__file__).parents[1] / "vibetrend"
FEWEST_LETTERS = 6  # of a quoted line; a shorter one would fit anything
ENOUGH = 20  # letters that several texts share, to be quoted as one

CHANGED = "Something in the logbook is not as it was entered"
WRONGLY = "Something was entered wrongly: mistyped, forgotten, wrong engine, or to be deleted"

# Places whose text is not to be read off the source; each with the reason. Keys are file and
# function. A new one belongs here only if nothing of its text is fixed.
OPEN = {
    "cli/asking.py need": "click's own words: Missing option",
    "cli/card.py card": "remarks on a card that is written all the same, no errors",
    "cli/logbook_remeasure.py remeasure": "why a recording keeps its older result: another's text",
    "logbook/checking.py _of_values": "names one of many columns; the likely ones have a line",
    "logbook/database.py writing": "why it may only be read: one of two texts, which others say",
    "engine/faults.py _plainly": "pydantic's own words, for a fault no model here asks for",
}
# ValueErrors that nobody sees: caught where they are raised, or a slip of the programmer.
INSIDE = {
    "logbook/cells.py checked": "part of others' messages, which say the column and what to do",
    "quantities.py to": "a slip of the caller: two dimensions mixed",
    "watch/memory.py _take": "caught: what was remembered is damaged and begun anew",
    "watch/notices.py again": "caught: a notice that is none is left out",
}


@cache
def house() -> House:
    return House(PACKAGE)


@cache
def sites() -> tuple[Site, ...]:
    return tuple(house().sites())


@cache
def faults() -> tuple[Site, ...]:
    return tuple(house().faults())


@cache
def notes() -> tuple[Site, ...]:
    return tuple(house().notes())


def lines() -> list[str]:
    return [line for entry in entries() for line in entry.seen]


def without_entry(found: list[Site], quoted: list[str]) -> list[str]:
    """Say of each place without an entry where it is and which line to write."""
    said: dict[str, str] = {}
    for site in found:
        if site.is_prefix or site.key in INSIDE:
            continue
        where = f"vibetrend/{site.file}, line {site.line}, in {site.function or 'the module'}"
        missing = {text for text in site.texts if not any(fits(line, text) for line in quoted)}
        if missing & set(site.open_texts) and site.key not in OPEN:
            said[where] = (
                f"{where}:\n  its text cannot be read off the source. Let its fixed words stand in "
                f"the call, or add {site.key!r} with the reason to OPEN in "
                f"tests/test_troubleshooting.py"
            )
        for line in in_common(sorted(missing - set(site.open_texts))):
            said.setdefault(line, f"{where}:\n  - `{line}`")
    return list(said.values())


def in_common(texts: list[str]) -> list[str]:
    """Return texts as lines of the page: as one where they begin or end alike, else each."""
    if not texts:
        return []
    head = _begin_alike(texts)
    tail = _begin_alike([text[len(head) :][::-1] for text in texts])[::-1]
    together = [texts[0]] if len(texts) == 1 else [f"{head}{HOLE}{tail}"]
    enough = len(texts) == 1 or sum(map(str.isalpha, together[0])) > ENOUGH
    return [re.sub(f"{HOLE}+", "...", line) for line in (together if enough else texts)]


def _begin_alike(texts: list[str]) -> str:
    return "".join(
        each[0] for each in takewhile(lambda e: len(set(e)) == 1, zip(*texts, strict=False))
    )


def told(missing: list[str]) -> str:
    return (
        f"Messages without an entry: {len(missing)}. Put each line given here, or its fixed "
        f"words, under 'You see:' of the entry that tells what to do, or of a new one, in "
        f"vibetrend/trouble/troubleshooting.md:\n" + "\n".join(missing)
    )


def test_every_error_has_an_entry() -> None:
    assert len(sites()) > 400  # the source was read
    if missing := without_entry(list(sites()), lines()):
        pytest.fail(told(missing), pytrace=False)


def test_every_doubt_about_a_recording_has_an_entry() -> None:
    if missing := without_entry(list(notes()), lines()):
        pytest.fail(told(missing), pytrace=False)
    codes = {text[1 : text.index(")")] for note in notes() for text in note.texts}
    assert {"clipped", "gaps", "engine-not-running", "speed-ambiguous"} <= codes


def test_every_fault_of_a_logbook_has_an_entry() -> None:
    assert {site.key for site in faults()} >= {
        "logbook/chain.py faults",
        "logbook/checking.py _of_rows",
        "checkup/corrected.py not_as_entered",
    }
    if missing := without_entry(list(faults()), lines()):
        pytest.fail(told(missing), pytrace=False)


def test_no_entry_quotes_what_nobody_says() -> None:
    said = [text for site in (*sites(), *notes(), *faults()) for text in site.texts]
    columns = {column.name for table in metadata.tables.values() for column in table.columns}
    said += [f"7: its {name} is 8" for name in columns]  # as `logbook check` says of any of them
    said += ["interrupted"]  # `cli/__init__.py` tells it, no error says it
    stale = [
        f"{entry.heading}: {line}"
        for entry in entries()
        for line in entry.seen
        if not any(fits(line, text) for text in said)
    ]
    if stale:
        pytest.fail(
            "Nothing in vibetrend/ says this any more; correct or delete these lines of "
            "vibetrend/trouble/troubleshooting.md:\n" + "\n".join(stale),
            pytrace=False,
        )
    assert '"interrupted"' in (PACKAGE / "cli/__init__.py").read_text(encoding="utf-8")


def test_what_is_excused_is_still_there() -> None:
    every = (*sites(), *faults())
    assert set(OPEN) | set(INSIDE) <= {site.key for site in every}
    assert not [key for key in OPEN if not any(s.key == key and s.open_texts for s in every)]


# The page itself


def test_every_entry_is_whole() -> None:
    assert len(entries()) > 100
    for entry in entries():
        assert entry.seen or entry.elsewhere, entry.heading
        assert entry.why, entry.heading
        assert entry.why.endswith("."), entry.heading
        assert entry.steps, entry.heading
        for line in (*entry.seen, *entry.elsewhere):
            letters = re.sub(r"[^a-z]", "", line.casefold())
            assert len(letters) >= FEWEST_LETTERS or line.startswith("("), line
    headings = [entry.heading for entry in entries()]
    assert len(set(headings)) == len(headings)


def test_nothing_of_the_page_is_lost_by_taking_it_apart() -> None:
    text = PAGE.read_text(encoding="utf-8")
    inside = text.split("\n## ", 1)[1]
    assert inside.count("\n### ") == len(entries())
    quoted = re.findall(r"^- `(.+)`$", inside, re.M)
    assert quoted == [line for e in entries() for line in _in_page_order(e)]
    assert len(re.findall(r"^\d+\. ", inside, re.M)) == sum(len(e.steps) for e in entries())
    assert inside.count("\nNot lost:") == sum(bool(e.safe) for e in entries())


def _in_page_order(entry: Entry) -> tuple[str, ...]:
    return (*entry.seen, *entry.elsewhere)


def test_steps_are_numbered_from_one() -> None:
    for body in PAGE.read_text(encoding="utf-8").split("\n### ")[1:]:
        numbers = [int(each) for each in re.findall(r"^(\d+)\. ", body, re.M)]
        assert numbers == list(range(1, len(numbers) + 1)), body.partition("\n")[0]


def commands() -> list[str]:
    """Return every command line that the page gives."""
    text = re.sub(r"\s+", " ", PAGE.read_text(encoding="utf-8"))
    found = re.findall(r"`((?:\.venv/bin/)?vibetrend [^`]*)`", text)
    return [each.removeprefix(".venv/bin/") for each in found if "..." not in each]


@pytest.mark.parametrize("command", sorted(set(commands())))
def test_every_command_of_the_page_exists(command: str) -> None:
    words = shlex.split(command)[1:]
    here: click.Command = cli
    while words and isinstance(here, click.Group) and not words[0].startswith("-"):
        name = words.pop(0)
        assert name in here.commands, f"{command}: no command {name}"
        here = here.commands[name]
    known = {name for each in here.params for name in (*each.opts, *each.secondary_opts)}
    known |= {"--help", "--version"}
    options = [word for word in words if word.startswith("--")]
    assert not [option for option in options if option not in known], command


def test_the_options_named_in_steps_exist() -> None:
    def options(command: click.Command) -> set[str]:
        found = {name for each in command.params for name in (*each.opts, *each.secondary_opts)}
        if isinstance(command, click.Group):
            found = found.union(*(options(each) for each in command.commands.values()))
        return found

    known = options(cli) | {"--help", "--no-index", "--find-links"}  # the latter are pip's
    named = {
        option
        for entry in entries()
        for step in (entry.why, *entry.steps, entry.safe)
        for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*", step)
    }
    assert named - known == set()


# What is found


@pytest.mark.parametrize(
    ("pasted", "heading"),
    [
        (
            "vibetrend: /home/a/logbook.sqlite: the disk is full and nothing was added; free some "
            "space, then try again",
            "The disk is full",
        ),
        ("vibetrend: clip.csv: time goes backwards at\n  sample 17; sort the rows by time",
         "The file's times run backwards"),
        ("  UNUSABLE (clipped): 25 % of the samples are cut off (x at 19.6 m/s^2): record",
         "Samples are cut off: clipped or saturated"),
        ("Error: No such command 'stats'. Did you mean 'status'?",
         "There is no such command or option"),
        ("bash: vibetrend: command not found", "The command vibetrend is not found"),
        ("VIBETREND: X.CSV: NO SUCH FILE; CHECK THE PATH", "The file is not there"),
        ("disk full", "The disk is full"),
        ("clipped", "Samples are cut off: clipped or saturated"),
        ("no browser", "No browser for PDF or pictures"),
        ("damaged logbook", "The logbook is damaged"),
        ("mail", "The mail is not sent"),
        ("usb pulled", "The file may not be read, or its disk has gone"),
        ("not all is right", "The logbook is not all right, so no copy was made"),
        ("Wrong: work 3: it is not as it was entered on 2026-05-04", CHANGED),
        ("Wrong: entry 12: it was taken out after it was entered", CHANGED),
        ("Wrong: entry 12: it was not entered by this program", CHANGED),
        ("Wrong: chain: link 7 is missing", CHANGED),
        ("Wrong: work 3: its date is 'in June'", CHANGED),
        ("Wrong: recording 3: it points at a series that is missing", CHANGED),
        ("Wrong: database: row 7 missing from index recording_label", CHANGED),
        ("Something in this logbook is not as it was entered (2): chain: link 4 is missing. What "
         "rests on it cannot be trusted: vibetrend logbook check", CHANGED),
        ("Wrong: original 3f2a91bc55e0 is no longer what was kept",
         "An original is damaged or missing"),
        ("Wrong: original 3f2a91bc55e0 cannot be read (No such file or directory)",
         "An original is damaged or missing"),
        ("Wrong: no entry has the hash af21: entries were changed since it was written down, or "
         "this is another logbook, or a copy from before that page",
         "The hash on a page is not in this logbook"),
        ("mistyped", WRONGLY),
        ("typing error", WRONGLY),
        ("wrong year", WRONGLY),
        ("wrong position", WRONGLY),
        ("wrong engine", WRONGLY),
        ("forgot baseline", WRONGLY),
        ("undo", WRONGLY),
        ("delete", WRONGLY),
    ],
)  # fmt: skip
def test_the_entry_that_fits_comes_first(pasted: str, heading: str) -> None:
    assert matching(pasted)[0].heading == heading


def test_each_error_finds_its_entry() -> None:
    """A message as it is printed, what changes filled in, leads to an entry that quotes it."""
    for site in sites():
        if site.is_prefix or site.key in INSIDE:
            continue
        for text in site.texts:
            quoting = {entry for entry in entries() for line in entry.seen if fits(line, text)}
            found = matching("vibetrend: " + text.replace(HOLE, "7")) if quoting else []
            assert not quoting or quoting & set(found), text


def test_words_that_nobody_wrote_find_nothing() -> None:
    assert matching("xylophone") == []
    assert matching("") == []


def test_a_quoted_line_fits_only_in_its_order() -> None:
    assert fits("a ... c", "a b c")
    assert fits("a ... c", "A\n  b  C")
    assert not fits("a ... c", "c b a")
    assert not fits("not there", "there")


# The command


def _run(*words: str, columns: int = 80) -> tuple[int, str]:
    ran = CliRunner().invoke(trouble, words, env={"COLUMNS": str(columns), "NO_COLOR": "1"})
    return ran.exit_code, ran.output


def test_the_command_lists_every_heading() -> None:
    code, said = _run()
    assert code == 0
    plain = " ".join(said.split())
    assert [entry.heading for entry in entries() if entry.heading not in plain] == []


@pytest.mark.parametrize("columns", [40, 80, 200])
def test_the_command_prints_an_entry_that_fits_the_terminal(columns: int) -> None:
    code, said = _run("the", "disk", "is", "full", columns=columns)
    assert code == 0
    assert said.startswith("The disk is full\n---")
    assert max(map(len, said.splitlines())) <= max(40, min(92, columns - 1))
    for part in ("Why: ", "What to do:", "  1. ", "Not lost: "):
        assert part in said
    assert "`" not in said


def test_a_command_to_copy_stays_on_one_line() -> None:
    command = "vibetrend installation start --engine main --date 2026-05-01 --hours 3120"
    assert command in _run("no installation on main had begun by 2026-05-01; start it")[1]


def test_json_holds_all_of_an_entry() -> None:
    code, said = _run("--json", "no browser")
    found = json.loads(said)
    assert code == 0
    assert found[0]["heading"] == "No browser for PDF or pictures"
    assert set(found[0]) == {"part", "heading", "seen", "elsewhere", "why", "steps", "safe"}


def test_words_that_fit_nothing_are_told() -> None:
    code, said = _run("xylophone")
    assert code == 1
    assert "Nothing on the page fits these words." in said
    assert _run("--json", "xylophone") == (1, "[]\n")


# What other programs say: those that can be asked here


@pytest.mark.parametrize(
    "words",
    [
        ["stats"],
        ["status", "--al"],
        ["add", "x.csv"],
        ["measure"],
        ["measure", "x.csv", "--rpm"],
        ["measure", "x.csv", "--rpm", "fast"],
        ["measure", "x.csv", "--poles", "few"],
        ["measure", "x.csv", "--manner", "slow"],
        ["simulate", "--seed", "-1"],
        ["status", "extra"],
        ["status", "--logbook", __file__],
    ],
)
def test_what_click_says_has_an_entry(words: list[str]) -> None:
    said = CliRunner().invoke(cli, words).output
    assert any(
        fits(line, said) for entry in matching(said) for line in (*entry.seen, *entry.elsewhere)
    ), said


# The rules themselves: each must be able to fail

PLANTED = '''
from vibetrend.errors import VibetrendError

_WHERE = "in the bilge"

class BilgeError(VibetrendError):
    """Planted."""

def known(path):
    raise VibetrendError(f"{path}: no such file; check the path")

def new(path, wet):
    words = "is wet" if wet else "is dry"
    raise BilgeError(f"{path}: the planted pump {_WHERE} {words}; look at it")

def helped(name):
    raise _made("stuck")

def _made(why):
    return BilgeError(f"the planted valve is {why}; turn it")

def passed_on(path, error):
    try:
        pass
    except VibetrendError as error:
        raise VibetrendError(f"{path}: {error}") from error

def unreadable(rows):
    raise BilgeError(rows[0])
'''


@pytest.fixture
def planted(tmp_path: Path) -> list[str]:
    (tmp_path / "errors.py").write_text("class VibetrendError(ValueError):\n    pass\n")
    (tmp_path / "bilge.py").write_text(PLANTED)
    return without_entry(House(tmp_path).sites(), lines())


def test_an_error_without_an_entry_is_found(planted: list[str]) -> None:
    said = "\n".join(planted)
    assert (
        "vibetrend/bilge.py, line 14, in new:\n  - `...: the planted pump in the bilge is" in said
    )
    assert "- `the planted valve is stuck; turn it`" in said


def test_a_text_that_cannot_be_read_is_found(planted: list[str]) -> None:
    assert (
        len([each for each in planted if "add 'bilge.py unreadable' with the reason" in each]) == 1
    )


def test_nothing_else_is_blamed(planted: list[str]) -> None:
    assert not [each for each in planted if "in known" in each or "in passed_on" in each]
    assert len(planted) == 3


def test_a_page_that_lacks_its_steps_cannot_be_taken_apart() -> None:
    with pytest.raises(KeyError):
        list(parsed("\n## Part\n### Heading\nYou see:\n- `words`\nWhy: so.\n"))
