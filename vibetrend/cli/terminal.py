"""What a terminal can show: its width, its letters, its colours, and how far long work has come.

Nothing heavy is imported here, so that any command may use it.
"""

import codecs
import contextlib
import json
import os
import re
import shutil
import sys
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

import click

from vibetrend import shell

Item = TypeVar("Item")

_NARROWEST, _WIDEST = 40, 92
# One terminal would obey these, another would turn the rest of the line around.
# Only what sets a name apart, U+2068 and U+2069, is ours and stays.
_OBEYED = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066\u2067]")
_BLANKS = re.compile(r"[\t\n\r\f\v]")
_MADE_TO_BE_COPIED = re.compile(r"[/\\]|^[0-9a-f]{40,64}\W*$")  # a path, an address, a hash
_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:dB|%|°C?|mm|m|in|ft|k?N|lbf|Hz|rpm|h|s|k?Pa|mrad|g|±)(?![\w-]))"
    r"|(?<=±) (?=\d)|(?<=\d N) (?=m\b)|(?<=\d lbf) (?=ft\b)"
)
_HARD = "\N{NO-BREAK SPACE}"
_TONES = {
    "no-change-seen": "green", "ok": "green",
    "record-again": "yellow", "another-day": "yellow", "all-moved": "yellow", "due-soon": "yellow",
    "warning": "yellow",
    "changed": "magenta", "past-limit": "red", "reading-beyond": "red",
    "reading-at-limit": "yellow", "overdue": "red",
    "unusable": "red",
}  # fmt: skip
_PLAINER = {
    "±": "+/-", "≥": ">=", "–": "-", "·": "|", "°": "deg ", "\u2026": "...",
    "²": "2", "³": "3", "µ": "u",
    "\u2018": "'", "\u2019": "'", "\u201c": "'", "\u201d": "'", _HARD: " ",
    "\u2068": "", "\u2069": "",
}  # fmt: skip
_shown_on_stderr = False  # whether a passing line stands there: there is one terminal


# Width and letters


def columns() -> int:
    """Return how many columns may be used, 40 to 92."""
    return min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size().columns - 1))


def plain(text: str) -> str:
    """Return text on one line, in letters that stdout has.

    Control letters and marks of direction, which a terminal would obey, are written out.
    """
    return _in_its_letters(_written_out(text))


def _written_out(text: str) -> str:
    return _OBEYED.sub(lambda found: ascii(found[0])[1:-1], _BLANKS.sub(" ", text))


def _in_its_letters(text: str) -> str:
    encoding = _encoding()
    return text.encode(encoding, "plainer").decode(encoding)


def _encoding() -> str:
    return getattr(sys.stdout, "encoding", None) or "utf-8"


def width(text: str) -> int:
    """Return how many columns text takes: letters of East Asia two, accents on a letter none."""
    return sum(_width_of(letter) for letter in text)


def _width_of(letter: str) -> int:
    if letter < "\u0300":
        return 1
    if unicodedata.combining(letter) or unicodedata.category(letter) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def cell(text: str, wide: int, side: str = "<") -> str:
    """Return text as a cell of so many columns: cut where it is longer, else filled up.

    `side` is where it stands: ``<`` left, ``>`` right.
    """
    text = plain(text)
    if width(text) > wide:
        mark = plain("…")
        text = _head(text, wide - len(mark)) + mark
    fill = " " * (wide - width(text))
    return text + fill if side == "<" else fill + text


def _head(text: str, wide: int) -> str:
    """Return as much of the beginning as so many columns hold."""
    for end in range(len(text)):
        wide -= _width_of(text[end])
        if wide < 0:
            return text[:end]
    return text


def shows(letters: str) -> bool:
    """Say whether what is printed may hold these letters."""
    try:
        letters.encode(_encoding())
    except UnicodeEncodeError:
        return False
    return True


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    return "".join(_PLAINER.get(each, json.dumps(each)[1:-1]) for each in letters), error.end


# How a stream writes a letter it lacks, where `plain` was not asked: errors="plainer".
codecs.register_error("plainer", _plainer)


def wrapped(text: str, *, indent: str = "", hanging: str | None = None) -> list[str]:
    """Return text as lines that fit the terminal, 40 to 92 columns.

    A path or a hash stays whole however long it is, so that it can be copied; a number stays with
    its unit.
    """
    most = columns()
    lines: list[str] = []
    line = start = indent
    later = indent + "  " if hanging is None else hanging
    text = _TOGETHER.sub(_HARD, _written_out(text))
    for word in filter(None, text.split(" ")):
        for part in _parts(_in_its_letters(word), most - width(later)):
            spaced = part if line == start else f" {part}"
            if line != start and width(line + spaced) > most:
                lines.append(line)
                line, spaced = later, part
                start = later
            line += spaced
    lines += [line] if line != start else []
    return [each.replace(_HARD, " ") for each in lines]


def tell(text: str, *, indent: str = "", hanging: str | None = None, err: bool = False) -> None:
    """Print text as lines that fit the terminal; `err`: on stderr, what is not the result."""
    click.echo("\n".join(wrapped(text, indent=indent, hanging=hanging)), err=err)


def complain(error: object) -> None:
    """Say on stderr what is wrong, on a line of its own."""
    cleared()
    click.echo(f"vibetrend: {plain(str(error))}", err=True)


def typed(text: object) -> str:
    """Return a text as one word of a shell; `wrapped` keeps it on one line where that is possible.

    In what is printed as it is, such as an error, `shell.typed` does.
    """
    return shell.typed(text).replace(" ", _HARD)


def _parts(word: str, most: int) -> list[str]:
    """Return a word in pieces of at most so many columns, if it may be cut at all."""
    most = max(most, 2)  # a letter has to fit
    if width(word) <= most or _MADE_TO_BE_COPIED.search(word):
        return [word]
    parts = []
    while word:
        parts.append(_head(word, most))
        word = word[len(parts[-1]) :]
    return parts


# Colour


def colour() -> bool:
    """Say whether what is printed may be coloured.

    NO_COLOR (https://no-color.org) counts first, then FORCE_COLOR, then what stdout is.
    """
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR", "0") not in ("", "0"):
        return True
    return _terminal(sys.stdout)


def coloured(text: str, state: str) -> str:
    """Return text in the tone of a state; the text has to say the state by itself."""
    tone = _TONES.get(state.removeprefix("renewal-"))
    return click.style(text, fg=tone) if text and tone and colour() else text


def toned(lines: list[str], words: str, state: str) -> list[str]:
    """Return lines with these words of the first one in the tone of a state."""
    return [line.replace(words, coloured(words, state), 1) for line in lines[:1]] + lines[1:]


def titled(text: str) -> list[str]:
    """Return a heading with a rule below it, bold where there is colour."""
    lines = wrapped(text, hanging="")
    rule = "-" * max(map(width, lines), default=0)
    return [*(click.style(line, bold=True) if colour() else line for line in lines), rule]


def _terminal(stream: object) -> bool:
    isatty = getattr(stream, "isatty", None)
    return isatty is not None and isatty() and os.environ.get("TERM") != "dumb"


# Progress


def following(
    items: Sequence[Item], doing: str, name: Callable[[Item], str] = str, *, quiet: bool = False
) -> Iterator[Item]:
    """Yield the items and say on stderr, at a terminal only, which one is being worked on.

    The line is "measuring 3 of 12: idle.csv"; it is gone at the end, after an error and after
    Ctrl-C. Who prints or asks in between calls `cleared` before. `quiet` says nothing.
    """
    try:
        for at, item in enumerate(items, start=1):
            _say("" if quiet else f"{doing} {at} of {len(items)}: {name(item)}")
            yield item
    finally:
        cleared()


@contextlib.contextmanager
def saying(text: str, *, quiet: bool = False) -> Iterator[None]:
    """Say on stderr, at a terminal only, what is being done meanwhile; `quiet` says nothing."""
    try:
        _say("" if quiet else text)
        yield
    finally:
        cleared()


def _say(text: str) -> None:
    global _shown_on_stderr
    if not text or not _terminal(sys.stderr):
        return
    cleared()
    # The last column stays free, and a line that wraps could not be taken back.
    most = shutil.get_terminal_size().columns - 1
    _shown_on_stderr = True  # before it is: Ctrl-C may come in between
    click.echo(cell(text, most).rstrip(), nl=False, err=True)


def cleared() -> None:
    """Take the passing line away, if there is one."""
    global _shown_on_stderr
    if _shown_on_stderr:
        click.echo("\r\x1b[K", nl=False, err=True, color=True)  # no colour, but an escape
        _shown_on_stderr = False
