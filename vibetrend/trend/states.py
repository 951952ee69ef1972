"""The states a verdict can have, in plain words, mildest first."""

from collections.abc import Iterable

_SENTENCES = {
    "no-baseline": "There is no baseline yet, so there is nothing to compare with.",
    "learning": "The baseline is not complete yet.",
    "no-change-seen": "No change from the baseline is seen.",
    "record-again": "A recording looks wrong: take it again now.",
    "another-day": "Something may have moved: take another check-up on another day.",
    "all-moved": "All orders moved alike: look at the phone, its spot and the mounts first.",
    "changed": "A change from the baseline is confirmed on a second day.",
    "past-limit": "A rise beyond the limit is confirmed.",
}

STATES = tuple(_SENTENCES)
"""Every state, mildest first."""


def worst(states: Iterable[str]) -> str:
    """Return the worst of some states; of none, ``"no-baseline"``."""
    return max(states, key=STATES.index, default=STATES[0])


def sentence(state: str) -> str:
    """Return what a state means, as one sentence for a person."""
    return _SENTENCES[state]
