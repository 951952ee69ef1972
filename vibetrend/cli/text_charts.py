"""Small charts of letters: where each order stands, and how one came there.

Each state has a mark of its own and stands beside it in words; colour only repeats it. Where the
terminal lacks a letter, plain ones are used.
"""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from vibetrend.cli.terminal import cell, coloured, columns, plain, shows, width, wrapped
from vibetrend.report.facts import Fact, severity
from vibetrend.report.groups import title_of
from vibetrend.report.levels import Levels
from vibetrend.report.scales import DECIBEL, Scale, scale_of
from vibetrend.report.statements import first, place
from vibetrend.report.words import fixed

if TYPE_CHECKING:
    import pandas as pd

_FEW = 6  # rows, if no more than these have moved
_UNMOVED = 2  # rows at least that show how still the rest is
_NOTHING = 0.05  # shown as 0.0, dB or per cent
_NARROW = 48  # columns below which the head says the unit
_WIDEST_STRIP, _NARROWEST_WITH_SCATTER, _NARROWEST_STRIP = 41, 15, 7
_EIGHTHS = " ▏▎▍▌▋▊▉█"
_HEIGHTS, _PLAIN_HEIGHTS = "▁▂▃▄▅▆▇█", "_.-'"
_MARKS = {
    "changed": "●#", "past-limit": "■X", "another-day": "??", "record-again": "??",
}  # fmt: skip
_STAYED = "○o"
_BAND, _ZERO, _LIMIT = "─-", "┼+", "┊:"
_SHORT = {
    "changed": "changed", "past-limit": "past limit", "another-day": "another day",
    "record-again": "record again",
}  # fmt: skip
_KEY = {
    "changed": "changed", "past-limit": "past the limit", "another-day": "to be looked at again",
}  # fmt: skip
_KINDS = {"overall": "overall level", "driven": "driven part"}


def changes(found: Sequence[Fact], *, indent: str = "", every: bool = False) -> list[str]:
    """Return the change of each order as a place on a strip around zero, with numbers.

    Shows what moved, worst first, and the largest of the rest; `every` shows all, by order. Shows
    nothing while all there is belongs to the baseline.
    """
    known = _compared(found)
    lines: list[str] = []
    shown: list[Fact] = []
    for title in dict.fromkeys(map(title_of, known)):
        of_title = [fact for fact in known if title_of(fact) == title]
        rows = of_title if every else _telling(of_title)
        strip = _Strip(rows, indent)
        lines += [strip.head(title), *(strip.row(fact) for fact in rows)]
        shown += rows
    if left := len(known) - len(shown):
        smaller = "" if any(map(title_of, known)) else " with smaller changes"  # by change alone
        more = f"and {left} more{smaller}, none of them seen to move (vibetrend status --all)"
        lines += wrapped(more, indent=indent)
    return [*lines, *(_key(shown, indent) if shown else [])]


def _compared(found: Sequence[Fact]) -> list[Fact]:
    return [
        fact
        for fact in found
        if math.isfinite(fact.change_db) and fact.state not in ("no-baseline", "learning")
    ]


def _telling(known: Sequence[Fact]) -> list[Fact]:
    """Return what moved, worst first, and the largest of the rest.

    The crankshaft's own resonances come first, moved or not, those of unknown cause last.
    """
    largest = sorted(known, key=lambda fact: abs(fact.change_db), reverse=True)
    moved = [fact for fact in largest if fact.moved]
    moved.sort(key=lambda fact: severity(fact.state), reverse=True)
    still = [fact for fact in largest if not fact.moved]
    still.sort(key=lambda fact: not _of_crankshaft(fact))
    few = still[: max(_FEW - len(moved), _UNMOVED)]
    told = moved + ([fact for fact in few if _is_told(fact)] or few[:1])
    return sorted(told, key=place)


def _is_told(fact: Fact) -> bool:
    """Say whether its change is shown as more than 0.0, or it is shown anyway."""
    change = scale_of(fact.feature).of(fact.change_db)
    return _of_crankshaft(fact) or abs(change) >= _NOTHING


def _of_crankshaft(fact: Fact) -> bool:
    return place(fact) < 0


class _Strip:
    """The columns of a chart: name, strip, change, usual scatter, state; on one scale."""

    def __init__(self, rows: Sequence[Fact], indent: str) -> None:
        self.indent = indent
        self.scale = scale_of(rows[0].feature)
        reach = (
            max(abs(self.scale.of(f.change_db)), f.limit_db, self.scale.of(_or_zero(f.band_db)))
            for f in rows
        )
        # The limit of a doubled amplitude, 6.02 dB, is 6 on a strip.
        self.span = max(math.ceil(max(e for e in reach if math.isfinite(e)) - 0.05), 1)
        room = columns() - len(indent)
        self.unit = f" {self.scale.unit}" if room >= _NARROW else ""
        names = (width(fact.shortest) for fact in rows)
        self.name = min(max(len("order"), *names), 16 if self.unit else 8)
        self.change = max(len("change"), *(len(self._change(fact)) for fact in rows))
        scatter = max(len("scatter"), *(len(_scatter(fact)) for fact in rows))
        states = max(len(_state(fact)) for fact in rows)
        room -= self.name + 2 + 2 + self.change + (2 + states if states else 0)
        self.scatter = scatter if room - 2 - scatter >= _NARROWEST_WITH_SCATTER else 0
        room -= 2 + scatter if self.scatter else 0
        self.half = (max(min(room, _WIDEST_STRIP), _NARROWEST_STRIP) - 1) // 2

    def head(self, title: str) -> str:
        ends = f"{-self.span}", f"+{self.span}"
        scale = f"{ends[0]:<{self.half}}0{ends[1]:>{self.half}}"
        change = "change" if self.unit else self.scale.unit
        first = "" if title else "order"
        line = f"{self.indent}{first:>{self.name}}  {scale}  {change:>{self.change}}"
        line += f"  {'scatter':>{self.scatter}}" if self.scatter else ""
        return f"{self.indent}{title}:\n{line}" if title else line

    def row(self, fact: Fact) -> str:
        line = f"{self.indent}{cell(fact.shortest, self.name, '>')}  {self._places(fact)}"
        line += f"  {self._change(fact):>{self.change}}"
        if self.scatter:
            line += f"  {_scatter(fact):>{self.scatter}}"
        return f"{line}  {coloured(_state(fact), fact.state)}".rstrip()

    def _change(self, fact: Fact) -> str:
        more = "≥" if fact.at_least else ""
        return f"{plain(more)}{fixed(self.scale.of(fact.change_db), 1, sign=True)}{self.unit}"

    def _places(self, fact: Fact) -> str:
        strip = [" "] * (2 * self.half + 1)
        band = self._place(_or_zero(fact.band_db)) - self.half
        for column in range(self.half - band, self.half + band + 1):
            strip[column] = _letter(_BAND)
        strip[self.half] = _letter(_ZERO)
        if math.isfinite(fact.limit_db):
            strip[self._place(fact.limit_db)] = _letter(_LIMIT)
        strip[self._place(fact.change_db)] = coloured(_mark(fact), fact.state)
        return "".join(strip)

    def _place(self, db: float) -> int:
        share = min(max(self.scale.of(db) / self.span, -1.0), 1.0)
        return self.half + round(share * self.half)


def _key(rows: Sequence[Fact], indent: str) -> list[str]:
    """Return what the marks mean, those that are there, and the names that are no orders."""
    states = {"another-day" if fact.state == "record-again" else fact.state for fact in rows}
    told = [f"{_letter(_MARKS[state])} {words}" for state, words in _KEY.items() if state in states]
    if states - set(_KEY):
        told.append(f"{_letter(_STAYED)} no change seen")
    told.append(f"{_letter(_BAND) * 2} twice the usual scatter")
    if any(math.isfinite(fact.limit_db) for fact in rows):
        told.append(f"{_letter(_LIMIT)} limit")
    hard = "\N{NO-BREAK SPACE}"  # no mark is parted from its words
    told = [each.replace(" ", hard) + hard for each in told]
    marks = wrapped(" ".join(told), indent=indent, hanging=indent)
    kinds = []
    for kind, words in _KINDS.items():
        names = [fact.short for fact in rows if fact.feature.startswith(f"{kind}:")]
        kinds += [f"{', '.join(names)}: {words}{'s' if len(names) > 1 else ''}"] if names else []
    return [*map(str.rstrip, marks), *wrapped("; ".join(kinds), indent=indent)]


def history(fact: Fact, levels: Levels, *, indent: str = "") -> list[str]:
    """Return the change of one order at each check-up as a row of small columns.

    They reach from its usual scatter to its limit, so that what is only scatter looks small.
    """
    _, visits = levels.of(fact.feature, fact.order)
    reach = (_or_zero(fact.band_db), fact.limit_db)
    scale = scale_of(fact.feature)
    return _course(fact.name, visits.rename(columns={"change_db": "db"}), reach, indent, scale)


def history_together(levels: Levels, *, indent: str = "") -> list[str]:
    """Return what all orders did together at each check-up as a row of small columns."""
    visits = levels.together_visits.rename(columns={"together_db": "db"})
    return _course("all orders together", visits, (0.0, math.nan), indent, DECIBEL)


def _course(
    name: str, visits: "pd.DataFrame", reach: tuple[float, float], indent: str, scale: Scale
) -> list[str]:
    """Return a heading and a row of `visits` (hours, db); `reach`: half the band, the limit."""
    if len(visits) < 3:
        return []
    shown = visits.iloc[-(columns() - len(indent)) :]
    changes, (first, *_, end) = shown["db"].tolist(), shown["hours"]
    band, limit = reach
    low, high = min(*changes, -band), max(*changes, band, _or_zero(limit))
    heights = _HEIGHTS if shows(_HEIGHTS) else _PLAIN_HEIGHTS
    steps = [round((value - low) / ((high - low) or 1.0) * (len(heights) - 1)) for value in changes]
    last = "" if len(shown) == len(visits) else "last "
    full = "; full height is the limit" if high == limit else ""
    if all(abs(scale.of(change)) < _NOTHING for change in changes):
        return []  # a course of nothing
    least = fixed(scale.of(min(changes)), 1, sign=True)
    greatest = scale.words(max(changes))
    text = (
        f"The {last}{len(shown)} check-ups of {name}, {first:.0f} to {end:.0f} h, between {least} "
        f"and {greatest}{full}:"
    )
    course = "".join(heights[step] for step in steps)
    return [*wrapped(text, indent=indent), f"{indent}{course}"]


def featured(found: Sequence[Fact]) -> Fact | None:
    """Return what moved most clearly; where nothing did, what stands farthest from zero.

    Of resonances the crankshaft's own come first, and of these the frequency.
    """
    known = _compared(found)
    moved = [fact for fact in known if fact.moved]
    if moved:
        return min(moved, key=first)
    frequency = [f for f in known if _of_crankshaft(f) and f.short.endswith("frequency")]
    return max(frequency or known, key=lambda fact: abs(fact.change_db), default=None)


def bar(share: float, wide: int) -> str:
    """Return a bar of at most so many columns for a share of 0 to 1."""
    if not shows(_EIGHTHS):
        return "#" * round(share * wide)
    eighths = round(share * wide * 8)
    return _EIGHTHS[8] * (eighths // 8) + _EIGHTHS[eighths % 8].strip()


def _letter(pair: str) -> str:
    """Return the first of two letters, or the plain one where the terminal lacks some."""
    return pair[0] if shows("●■○─┼┊") else pair[1]


def _mark(fact: Fact) -> str:
    return _letter(_MARKS.get(fact.state, _STAYED))


def _state(fact: Fact) -> str:
    return _SHORT.get(fact.state, "")


def _scatter(fact: Fact) -> str:
    known = math.isfinite(fact.scatter_db)
    told = scale_of(fact.feature).words(fact.scatter_db, sign=False)
    return plain(f"±{told}") if known else "not known"


def _or_zero(value: float) -> float:
    return value if math.isfinite(value) else 0.0
