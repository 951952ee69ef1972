"""Other people's words within ours: on one line, in letters that print, and not too long."""

LONGEST = 60  # characters


def printable(text: str) -> str:
    r"""Return text with all that does not print written out.

    Examples
    --------
    >>> print(printable("a\tb"))
    a\tb
    """
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() else ascii(each)[1:-1] for each in text)


def named(text: str) -> str:
    """Return a name as it is written; quoted where it does not print, or is long."""
    return text if text.isprintable() and 0 < len(text) <= LONGEST else quoted(text)


def quoted(value: object) -> str:
    """Return a value as Python writes it, its end left out where it is long.

    Examples
    --------
    >>> quoted("x" * 100)
    "'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx..."
    """
    text = repr(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
