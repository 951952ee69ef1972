"""What formats of typed columns share: how much they may hold, and extras that bring them."""

from vibetrend.errors import ReadError

MOST_CELLS = 20_000_000
"""Rows times columns, times included: 0.9 GB at the most until they are a recording."""


def check_size(cells: int) -> None:
    """See that so many cells can be held at once; asked before they are read.

    Raises
    ------
    ReadError
        If they are more than `MOST_CELLS`.
    """
    if cells > MOST_CELLS:
        raise too_long()


def too_long() -> ReadError:
    """Return the error for a file that holds too much."""
    return ReadError(
        f"too long to hold at once (more than {MOST_CELLS / 1e6:.0f} million values); cut out a "
        f"minute of steady running"
    )


def not_installed(what: str, extra: str) -> ReadError:
    """Return the error for a format whose library is an optional extra."""
    return ReadError(
        f"{what} needs an optional part; install it with pip install 'vibetrend[{extra}]' (from "
        f"the project's folder: .venv/bin/pip install '.[{extra}]'), or save the data as CSV"
    )
