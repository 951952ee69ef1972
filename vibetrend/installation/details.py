"""The damper itself: part, serial, when it was made, who fitted it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from vibetrend.errors import InstallationError
from vibetrend.installation.entered import Content, day, line, one_of

CountsFrom = Literal["made", "fitted"]


@dataclass(frozen=True, kw_only=True)
class Details:
    """What is known of the damper; empty or None where it was not noted."""

    part: str = ""
    serial: str = ""
    made_on: dt.date | None = None
    counts_from: CountsFrom = "fitted"  # the maker's years: rubber ages on the shelf
    who: str = ""
    notes: str = ""


def details_content(
    *,
    part: str = "",
    serial: str = "",
    made_on: dt.date | str | None = None,
    counts_from: str | None = None,
    who: str = "",
    notes: str = "",
    fitted_on: dt.date | None = None,
    today: dt.date | None = None,
) -> Content:
    """Return the content of an entry of kind ``details``.

    Parameters
    ----------
    made_on : date or ISO text, optional
        Day the damper was made.
    counts_from : str, optional
        ``"made"`` or ``"fitted"``: from when the maker's years count; fitted where not stated.
    fitted_on, today : date, optional
        `made_on` must not lie after either. They are not kept.

    Raises
    ------
    InstallationError
        If a value makes no sense, or years shall count from an unknown day.
    """
    made = day(made_on, "the day it was made")
    fitted_on, today = day(fitted_on, "the day it was fitted"), day(today, "today")
    if made is not None and today is not None and made > today:
        raise InstallationError(f"the damper was made on {made}, in the future; correct --made-on")
    if made is not None and fitted_on is not None and made > fitted_on:
        raise InstallationError(
            f"the damper was made on {made}, after it was fitted on {fitted_on}; correct --made-on "
            f"or --date"
        )
    if counts_from is not None:
        one_of(counts_from, "what the years count from", ("made", "fitted"))
    if counts_from == "made" and made is None:
        raise InstallationError(
            "the years shall count from the day the damper was made, but that day is missing; "
            "state it with --made-on, or let them count from fitted"
        )
    return {
        "part": line(part, "the part number"),
        "serial": line(serial, "the serial number"),
        "made_on": None if made is None else made.isoformat(),
        "counts_from": counts_from,
        "who": line(who, "who fitted it"),
        "notes": line(notes, "the notes"),
    }


def details_of(contents: Iterable[Content]) -> Details:
    """Return what is known from checked contents, in the order entered: what is said last counts.

    What a later one leaves empty stays as it was.
    """
    found: Content = {}
    for content in contents:
        found |= {key: value for key, value in content.items() if value}
    return Details(**{**found, "made_on": day(found.get("made_on"), "the day it was made")})
