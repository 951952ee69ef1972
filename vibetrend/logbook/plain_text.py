"""Texts as they are kept: one plain line of what people write, JSON of values."""

import json
import re
from typing import Any

from vibetrend.errors import LogbookError

LONGEST = 500  # characters

# No line feed, no terminal escape, nothing that turns the direction of writing, no half character.
_NOT_PLAIN = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def plain_line(text: str, what: str) -> str:
    """Return a text that is one plain line.

    Raises
    ------
    LogbookError
        If it holds control characters or is too long; `what` names it.
    """
    if odd := _NOT_PLAIN.search(text):
        raise LogbookError(
            f"{what} holds the control character {odd[0]!a}; write it as one plain line"
        )
    if len(text) > LONGEST:
        raise LogbookError(f"{what} has {len(text)} characters; shorten it to {LONGEST} at most")
    return text


def as_json(value: Any) -> str:
    """Return the text that is kept of a value; equal values give equal text."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True)
