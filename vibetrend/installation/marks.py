"""What is measured on a rubber damper from outside: has the ring slipped, has the element moved."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vibetrend.errors import InstallationError
from vibetrend.installation.entered import Content, common, number, one_of, unit_of, yes_no_if
from vibetrend.installation.plausible import plausible
from vibetrend.quantities import Quantity, unit

MARKS: Mapping[str, str] = MappingProxyType(
    {
        "index-offset": "Hub mark to ring mark, along the rim",
        "element-recess": "Rubber below the metal's edge",
        "face-wobble": "Wobble of the ring's face, TIR",
    }
)
MARK_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "index-offset": "index-mark offset",
        "element-recess": "element recess",
        "face-wobble": "face wobble",
    }
)


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One such measurement."""

    what: str  # a key of `MARKS`
    value: Quantity  # an offset is signed: above 0 where the ring's mark lies ahead in rotation
    end_play_held: bool | None


@dataclass(frozen=True, kw_only=True)
class MarkChange:
    """How far a measurement moved since it was first taken."""

    what: str
    first: Quantity
    latest: Quantity
    change: Quantity  # latest less first, signed, in the unit of the latest
    beyond: bool | None  # more than the two resolutions together; None where one is not noted


def mark_change(
    first: Mark, latest: Mark, resolutions: tuple[Quantity | None, Quantity | None]
) -> MarkChange:
    """Return how far a measurement moved."""
    length = latest.value.unit
    change = Quantity(latest.value.value - first.value.to(length).value, length)
    one, other = resolutions
    return MarkChange(
        what=latest.what,
        first=first.value,
        latest=latest.value,
        change=change,
        beyond=abs(change.si) > (one.si + other.si) * (1 + 1e-9) if one and other else None,
    )


def mark_content(
    what: str,
    value: float,
    unit: str,
    *,
    end_play_held: bool | None = None,
    instrument: str = "",
    resolution: float | None = None,
    person: str = "",
    note: str = "",
) -> Content:
    """Return the content of an entry of kind ``mark``.

    Parameters
    ----------
    what : str
        A key of `MARKS`.
    value, unit
        A length. An index offset above 0 means that the ring's mark lies ahead of the hub's in
        the direction of rotation; a recess below 0 that the rubber stands out.
    end_play_held : bool, optional
        Of a face wobble: whether the crank was held to one side.

    Raises
    ------
    InstallationError
        If a value makes no sense or the unit is none of length.
    """
    name = one_of(what, "what was measured", list(MARKS))
    label = MARKS[name].lower()
    read, length = number(value, label), unit_of(unit, "length", label).name
    if name == "face-wobble" and read < 0:
        raise InstallationError(
            f"the face wobble is {read:g}; a total indicator reading is never below 0"
        )
    return {
        "what": name,
        "value": plausible(read, label, "mark", length),
        "unit": length,
        "end_play_held": yes_no_if(end_play_held, "whether the crank's end play was held"),
        **common(instrument, resolution, person, note, kind="mark", unit=length),
    }


def mark_of(content: Content) -> Mark:
    """Return the measurement of a checked content."""
    return Mark(
        what=content["what"],
        value=Quantity(content["value"], unit(content["unit"], "length")),
        end_play_held=content["end_play_held"],
    )
