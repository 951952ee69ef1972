"""Words of a command that a person copies into a shell; imports nothing of ours."""

import re
import shlex


def typed(text: object) -> str:
    """Return a text as one word of a shell: in double quotes where every shell takes those."""
    text = str(text)
    if re.fullmatch(r"[\w.,:+/-]+", text):
        return text
    if re.fullmatch(r"[\w.,:;+/()'&#°-][\w.,:;+/()'&#° -]*", text):
        return f'"{text}"'
    return shlex.quote(text)
