"""The troubleshooting page beside this file, taken apart into its entries.

The page is for reading; its shape is kept so plain that this finds everything again::

    ## Part
    ### Heading
    You see:
    - `fixed words of a message, ... for what changes`
    Not from vibetrend itself:
    - `what another program says`
    Why: one sentence.
    What to do:
    1. A step.
    Not lost: what is safe.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

PAGE = Path(__file__).with_name("troubleshooting.md")

_SEEN, _ELSEWHERE = "You see:", "Not from vibetrend itself:"
_WHY, _STEPS, _SAFE = "Why:", "What to do:", "Not lost:"
_LABEL = re.compile(rf"({'|'.join((_SEEN, _ELSEWHERE, _WHY, _STEPS, _SAFE))}) ?(.*)")
_ITEM = re.compile(r"(?:- |\d+\. )(.*)")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One trouble and its remedy. Commands stand between backticks."""

    part: str  # of the page
    heading: str
    seen: tuple[str, ...]  # fixed words of our messages, ``...`` for what changes
    elsewhere: tuple[str, ...]  # the same of other programs
    why: str
    steps: tuple[str, ...]
    safe: str  # what is not lost, "" where nothing was in danger


@cache
def entries() -> tuple[Entry, ...]:
    """Return the entries in the page's order."""
    return tuple(parsed(PAGE.read_text(encoding="utf-8")))


def parsed(text: str) -> Iterator[Entry]:
    """Give the entries of a page."""
    for part in text.split("\n## ")[1:]:
        name, *found = part.split("\n### ")
        for one in found:
            heading, _, body = one.partition("\n")
            yield _entry(name.partition("\n")[0].strip(), heading.strip(), body)


def _entry(part: str, heading: str, body: str) -> Entry:
    under: dict[str, list[str]] = {}
    label = ""
    for line in filter(None, map(str.strip, body.splitlines())):
        if labelled := _LABEL.fullmatch(line):
            label, rest = labelled.groups()
            under[label] = [rest] if rest else []
        elif item := _ITEM.fullmatch(line):
            under[label].append(item[1])
        else:  # a line that goes on
            under[label][-1] += f" {line}"
    return Entry(
        part=part,
        heading=heading,
        seen=tuple(line.strip("`") for line in under.get(_SEEN, ())),
        elsewhere=tuple(line.strip("`") for line in under.get(_ELSEWHERE, ())),
        why=" ".join(under[_WHY]),
        steps=tuple(under[_STEPS]),
        safe=" ".join(under.get(_SAFE, ())),
    )
