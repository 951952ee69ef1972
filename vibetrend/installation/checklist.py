"""What was checked with the eyes and hands when the damper went on."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from vibetrend.installation.entered import Content, line, one_of, yes_no

CHECKLIST: Mapping[str, str] = MappingProxyType(
    {
        "clean": "Crank nose, key and seal sleeve are clean, free of burrs and not worn.",
        "pulled-on": "The damper was pulled on with the proper tool; no hammer was used.",
        "timing-mark": "The timing mark was checked against top dead centre.",
        "ring-mark": "A mark across ring and hub was made or noted.",
        "clearance": "There is clearance all round when the crank is turned by hand.",
        "warm-recheck": "Bolts, belts and run-out were looked at again after the first warm run.",
    }
)

BRIEFLY: Mapping[str, str] = MappingProxyType(
    {
        "clean": "nose, key and seal sleeve clean",
        "pulled-on": "pulled on with no hammer",
        "timing-mark": "timing mark",
        "ring-mark": "mark across ring and hub",
        "clearance": "clearance all round",
        "warm-recheck": "looked at again after the first warm run",
    }
)
"""The same points, to be named in a row."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """One point of the list; `done` is None where nothing was noted."""

    item: str
    sentence: str
    done: bool | None = None
    date: dt.date | None = None
    person: str = ""
    note: str = ""


def check_content(item: str, done: bool = True, note: str = "", person: str = "") -> Content:
    """Return the content of an entry of kind ``check``; `item` is a key of `CHECKLIST`.

    Raises
    ------
    InstallationError
        If the item is not on the list.
    """
    return {
        "item": one_of(item, "the point of the checklist", list(CHECKLIST)),
        "done": yes_no(done, f"whether {item} is done"),
        "note": line(note, "the note"),
        "person": line(person, "the person"),
    }


def checks_of(
    answers: Sequence[tuple[dt.date, Content]], *, damper: str, as_found: bool
) -> tuple[Check, ...]:
    """Return every point that applies, and those answered beside; the last answer counts.

    Parameters
    ----------
    answers : sequence of (date, content)
        By date, then as they were entered.
    damper : str
        Its type: a viscous one has no ring and hub to mark.
    as_found : bool
        It was there before: nobody can say how it went on.
    """
    last = {content["item"]: (date, content) for date, content in answers}
    left_out = _WHEN_FITTED if as_found else frozenset()
    if damper == "viscous":
        left_out |= {"ring-mark"}
    found = []
    for item, sentence in CHECKLIST.items():
        if item in last:
            date, content = last[item]
            found.append(Check(sentence=sentence, date=date, **content))
        elif item not in left_out:
            found.append(Check(item=item, sentence=sentence))
    return tuple(found)


_WHEN_FITTED = frozenset({"clean", "pulled-on", "warm-recheck"})
