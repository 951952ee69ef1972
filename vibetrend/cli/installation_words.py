"""The installation record in plain words: what was kept, how it stands, what is next."""

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from vibetrend.cli.terminal import titled, wrapped
from vibetrend.quantities import ShownUnits
from vibetrend.report.isolating import isolated
from vibetrend.trend.advice import CAUTIONS

if TYPE_CHECKING:
    from vibetrend.checkup.installing import Kept
    from vibetrend.installation import Moved, Record
    from vibetrend.logbook import Installation

ISOLATE, _, STANDS_ABOVE = CAUTIONS
_BY_HAND = ("runout", "bolt", "belt", "mark", "casing", "fluid", "check")
_BEYOND = {
    "runout": "look for dirt, burrs and a mistake in reading, put it right and read again",
    "bolt": "tighten it as the maker says, and enter it again",
    "belt": "set it as the maker says, and read again",
}


def kept_words(kept: "Kept", shown: ShownUnits) -> str:
    """Return what was kept, how it stands against the maker's limit, and what is next."""
    lines = wrapped(_what(kept))
    for each in said_of(kept, shown):
        lines += wrapped(each, indent="  ", hanging="  ")
    for remark in kept.remarks:
        lines += wrapped(f"Mind: {remark}", indent="  ")
    lines += ["", *wrapped(f"Next: {next_step(kept)}")]
    if kept.entry.kind in _BY_HAND:
        lines += wrapped(ISOLATE)
    return "\n".join(lines)


def _what(kept: "Kept") -> str:
    entry = kept.entry
    whose = f"for {kept.engine}, damper of {kept.record.date}"
    named = f"{_named(entry.kind, entry.content)}, {entry.date}"
    if entry.duplicate:
        return f"In the record already {whose}: {named}; nothing changed."
    return f"Kept {whose}: {named}."


def _named(kind: str, content: dict[str, object]) -> str:
    match kind:
        case "runout":
            return f"run-out of {content['surface']}"
        case "bolt":
            return f"torque of {content['name']}"
        case "belt":
            return f"belt {content['belt']}"
        case "mark":
            return str(content["what"]).replace("-", " ")
        case "check":
            return f"check {content['item']} {'done' if content['done'] else 'NOT done'}"
        case "photo":
            return f"photo {content['name']}"
        case "fluid":
            return "fluid sample"
        case "finish":
            return "the job is closed"
        case _:
            return kind


def said_of(kept: "Kept", shown: ShownUnits) -> list[str]:
    """Return the sentences that an entry's readings say, and what its belt kept of its tension."""
    from vibetrend.installation import drop_sentence, mark_change_sentence, sentence

    said = [sentence(each, shown) for each in kept.readings]
    names = {each.name.casefold() for each in kept.readings}
    if kept.entry.kind == "belt" and kept.entry.content["stage"] == "after-run-in":
        said += [
            drop_sentence(each, shown)
            for each in kept.record.belt_drops
            if each.belt.casefold() in names
        ]
    if kept.entry.kind == "mark":
        said += [
            mark_change_sentence(each, shown)
            for each in kept.record.marks_moved
            if each.what in names
        ]
    return said


def next_step(kept: "Kept") -> str:
    """Return what is to be done next, in a sentence or two."""
    kind, record = kept.entry.kind, kept.record
    if any(each.state == "beyond" for each in kept.readings):
        what = _BEYOND.get(kind, "find out why, and ask the maker")
        return f"beyond the maker's limit: {what} before the engine is run."
    if kind == "finish" or not record.missing:
        if record.beyond:
            return f"{_beyond(record)[:-1]}; {_PUT_RIGHT}"
        return _after_the_job(record) if kind == "finish" else _CLOSE
    if kind == "belt" and record.belts_settled is False:
        return (
            "run it in as the maker says, re-tension it, and enter that with --stage "
            "after-run-in; a baseline is best begun after it."
        )
    lacks = f"the record still lacks {_count(record.missing)}"
    if record.finished is not None:
        return f"{lacks}."
    return f"{lacks}, as vibetrend installation show lists; first: {record.missing[0]}"


_CLOSE = "nothing is missing; close the job: vibetrend installation finish"
_PUT_RIGHT = "put it right and read again before the engine is run."


def _beyond(record: "Record") -> str:
    return f"Beyond the maker's limit, by the latest reading: {', '.join(record.beyond)}."


def _after_the_job(record: "Record") -> str:
    if record.belts_settled is False:
        return "when the belt is re-tensioned after run-in, enter that, then take the baseline."
    return (
        "take the baseline: three days of three placements each, phone off and on in "
        "between, added with --baseline."
    )


def finish_words(kept: "Kept") -> str:
    """Return that a job is closed, and what its record lacks; first what is beyond a limit."""
    record = kept.record
    lines = [*wrapped(_beyond(record)), ""] if record.beyond else []
    lines += wrapped(_what(kept))
    if record.missing:
        lines += wrapped(f"It lacks {_count(record.missing)}, which may be added afterwards:")
        for each in record.missing:
            lines += wrapped(f"- {each}", indent="  ")
    else:
        lines += ["Nothing is missing."]
    following = _PUT_RIGHT if record.beyond else next_step(kept)
    lines += ["", *wrapped(f"Next: {following}")]
    return "\n".join([*lines, *wrapped(ISOLATE), *wrapped(STANDS_ABOVE)])


def compared_words(moved: "Moved", shown: ShownUnits) -> str:
    """Return what moved between two sets of run-out."""
    from vibetrend.installation import moved_sentence

    return "\n".join(
        [*wrapped(moved_sentence(moved, shown)), "", *wrapped(ISOLATE), *wrapped(STANDS_ABOVE)]
    )


def record_words(
    name: str, every: "Sequence[tuple[Installation, Record]]", shown: ShownUnits
) -> str:
    """Return the record of every damper an engine had, the latest last."""
    blocks = ["\n".join(_damper(name, one, record, shown)) for one, record in every]
    return "\n\n".join([*blocks, "\n".join([*wrapped(ISOLATE), *wrapped(STANDS_ABOVE)])])


def _damper(name: str, one: "Installation", record: "Record", shown: ShownUnits) -> list[str]:
    title = f"{isolated(name)}: damper of {record.date}"
    since = f"{'Found on the engine' if record.as_found else 'Fitted'} at {hours_words(one)}"
    until = "" if one.until is None else f", until {one.until} ({one.until_hours:g} h in all)"
    lines = [*titled(title), *wrapped(f"{since}{until}.")]
    lines += [line for each in _details(record) for line in wrapped(each)]
    lines += wrapped(_beyond(record)) if record.beyond else []
    for kind, heading in _HEADINGS.items():
        lines += _listed(heading, _of_kind(kind, record, shown), column=_DATE)
    notes = [_dated(each.date, each.text) for each in record.notes]
    photos = [_dated(each.date, f"{each.name}. {each.caption}") for each in record.photos]
    lines += _listed("Notes", notes, column=_DATE)
    lines += _listed("Photos", photos, column=_DATE)
    lines += _listed("Checked", _checked(record), column=_ANSWER)
    lines += _listed("Still missing", [("", each) for each in record.missing])
    if record.finished is not None:
        who = f" by {record.finished.person}" if record.finished.person else ""
        lines += ["", *wrapped(f"Finished on {record.finished.date}{who}. {record.finished.note}")]
    return lines


_DATE, _ANSWER = 10, 8  # letters of a date, and of "NOT done"
_HEADINGS = {
    "runout": "Run-out",
    "bolt": "Bolts",
    "belt": "Belts",
    "mark": "Rubber damper",
    "casing": "Casing",
    "fluid": "Fluid",
}


def _of_kind(kind: str, record: "Record", shown: ShownUnits) -> list[tuple[str, str]]:
    """Return the readings of a kind by date, then what changed; a doubt they share is said once."""
    from vibetrend.installation import (
        RunOut,
        drop_sentence,
        mark_change_sentence,
        moved_sentence,
        sentence,
    )

    told: set[str] = set()

    def once(text: str, doubts: Iterable[str]) -> str:
        for each in doubts:
            text = text.replace(f" {each}", "") if each in told else text
            told.add(each)
        return text

    said = []
    for each in record.readings:
        if each.kind == kind:
            doubts = [each.details.missed.sentence] if isinstance(each.details, RunOut) else []
            said.append(_dated(each.date, once(sentence(each, shown), doubts)))
    changed = []
    match kind:
        case "runout":
            changed = [once(moved_sentence(m, shown), m.change.caveats) for m in record.moved]
        case "belt":
            changed = [drop_sentence(each, shown) for each in record.belt_drops]
        case "mark":
            changed = [mark_change_sentence(each, shown) for each in record.marks_moved]
    return said + [_dated(None, each) for each in changed]


def _checked(record: "Record") -> list[tuple[str, str]]:
    """Return the points that were answered; the others are among what is missing."""
    answers = {True: "done", False: "NOT done"}
    return [
        (answers[each.done], f"{each.sentence} {each.note}")
        for each in record.checks
        if each.done is not None
    ]


def _dated(date: dt.date | None, text: str) -> tuple[str, str]:
    return "" if date is None else date.isoformat(), text


def _details(record: "Record") -> list[str]:
    known = record.details
    facts = {
        "part": known.part,
        "serial": known.serial,
        "made on": known.made_on and str(known.made_on),
        "years count from": known.made_on and f"the day it was {known.counts_from}",
        "by": known.who,
    }
    said = "; ".join(f"{name} {fact}" for name, fact in facts.items() if fact)
    return [each for each in (f"{said}." if said else "", known.notes) if each]


def _listed(title: str, items: Sequence[tuple[str, str]], *, column: int = 0) -> list[str]:
    """Return items below a title, their text behind a first column of so many letters."""
    if not items:
        return []
    lines = ["", f"{title}:"]
    for first, text in items:
        indent = f"  {first:{column}}  " if column else "  "
        lines += wrapped(text, indent=indent, hanging=" " * (column + 4))
    return lines


def hours_words(one: "Installation") -> str:
    """Return the hours a damper was fitted at, as the person read them."""
    from vibetrend.logbook.hours import in_words

    return in_words(one.hours, one.meter_hours)


def _count(missing: Sequence[str]) -> str:
    return f"{len(missing)} thing{'s' if len(missing) != 1 else ''}"
