"""Which entries fit what a person saw, or a few words of it."""

import math
import re
from functools import cache, lru_cache

from vibetrend.trouble.entries import Entry, entries

_MOST = 3  # more would be a list to search through, not an answer
_NEAR = 0.5  # share of the best one's score from which another is shown too
_IN_HEADING, _IN_SEEN, _IN_BODY = 4.0, 2.0, 1.0
_LITTLE = frozenset(
    ("a", "an", "and", "are", "as", "at", "be", "but", "by", "can", "cannot", "do", "for", "from",
     "has", "have", "how", "i", "if", "in", "is", "it", "its", "my", "no", "not", "of", "on", "one",
     "or", "so", "that", "the", "there", "this", "to", "vibetrend", "was", "what", "when", "which",
     "why", "with", "you")
)  # fmt: skip


def matching(text: str) -> list[Entry]:
    """Return the entries that fit a pasted message, else those that fit its words, best first."""
    quoted = {
        entry: max((_fixed(line) for line in (*entry.seen, *entry.elsewhere) if fits(line, text)),
                   default=0)
        for entry in entries()
    }  # fmt: skip
    longest = max(quoted.values())
    if longest:
        # A short line, such as "no such file", may be part of a message with its own entry.
        good = [entry for entry, fixed in quoted.items() if fixed >= _NEAR * longest]
        return sorted(good, key=lambda entry: -quoted[entry])[:_MOST]
    return _by_words(set(_words(text)) - _LITTLE)


def fits(line: str, text: str) -> bool:
    """Say whether a text holds the fixed words of a quoted line, in their order."""
    at, text = 0, _smoothed(text)
    for words in _fixed_words(line):
        found = text.find(words, at)
        if found < 0:
            return False
        at = found + len(words)
    return True


@cache
def _fixed_words(line: str) -> tuple[str, ...]:
    # Where a message was copied from its middle, its marks at both ends are missing.
    return tuple(filter(None, (_smoothed(part).strip(" :;,.") for part in line.split("..."))))


def _by_words(asked: set[str]) -> list[Entry]:
    places = {
        entry: (
            (_IN_HEADING, set(_words(entry.heading))),
            (_IN_SEEN, set(_words(" ".join((*entry.seen, *entry.elsewhere))))),
            (_IN_BODY, set(_words(" ".join((entry.part, entry.why, *entry.steps, entry.safe))))),
        )
        for entry in entries()
    }
    scores = dict.fromkeys(places, 0.0)
    for word in asked:
        # "clip" finds "clipped"; a word that stands everywhere tells little.
        best = {
            entry: max(
                (weight for weight, words in where if any(w.startswith(word) for w in words)),
                default=0.0,
            )
            for entry, where in places.items()
        }
        among = sum(weight > 0 for weight in best.values())
        for entry, weight in best.items():
            scores[entry] += weight * math.log(1 + len(best) / among) if among else 0.0
    top = max(scores.values(), default=0.0)
    good = [entry for entry, score in scores.items() if top > 0 and score >= _NEAR * top]
    return sorted(good, key=lambda entry: -scores[entry])[:_MOST]


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+(?:[-.'][^\W_]+)*", text.casefold())


def _fixed(line: str) -> int:
    return sum(map(str.isalnum, line))


@lru_cache
def _smoothed(text: str) -> str:
    """Return text as it is compared: one blank between words, no difference of capitals."""
    return " ".join(text.split()).casefold()
