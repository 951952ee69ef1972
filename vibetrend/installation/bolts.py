"""Bolts: tightened to a torque, or to a torque and on by an angle.

A torque T stretches a bolt of diameter d with F = T / (K d); K is the friction's, which thread
locker and lubricant change (Shigley, Mechanical Engineering Design). So the same torque on another
thread is another tension, and a maker's torque holds for the treatment the maker names.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vibetrend.errors import InstallationError, VibetrendError
from vibetrend.installation.entered import Content, common, line, number, yes_no, yes_no_if
from vibetrend.installation.plausible import plausible
from vibetrend.quantities import Quantity, unit

_STAGE = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*([^\d\s].*?)\s*")
_DEGREES = unit("deg")


@dataclass(frozen=True, kw_only=True)
class Bolt:
    """One bolt, or bolts tightened alike, as tightened."""

    name: str
    new: bool | None  # False: used again; None: not noted
    sequence: int | None  # its place in the order of tightening
    stages: tuple[Quantity, ...]  # torques, and angles after them
    torque: Quantity  # the last torque
    angle: Quantity | None  # turned on after it, all in all, degrees
    treatment: str  # thread locker, lubricant, dry; empty where not noted
    recheck: bool
    remarks: tuple[str, ...] = ()  # doubts, in plain sentences


def bolt_content(
    name: str,
    *,
    new: bool | None = None,
    sequence: int | None = None,
    stages: Sequence[str] = (),
    treatment: str = "",
    recheck: bool = False,
    instrument: str = "",
    resolution: float | None = None,
    person: str = "",
    note: str = "",
) -> Content:
    """Return the content of an entry of kind ``bolt``.

    Parameters
    ----------
    stages : sequence of str
        In the order done, each with its unit: ``"50 N m"``, ``"135 lbf ft"``, ``"90 deg"``.
    resolution : float, optional
        The wrench's division, in the unit of the last torque.

    Raises
    ------
    InstallationError
        If a stage cannot be read or is none of an engine, an angle comes before any torque, or a
        value makes no sense.
    """
    if isinstance(stages, str) or not isinstance(stages, Sequence) or not stages:
        raise InstallationError(
            f"the stages of bolt {name!r} are {stages!r}; list them with units, e.g. 50 N m, 90 deg"
        )
    if _stage(stages[0]).unit.dimension != "torque":
        raise InstallationError(
            f"the first stage {stages[0]!r} is an angle, and a turn counts from a torque; put that "
            f"torque before it"
        )
    torques = [read.unit.name for read in map(_stage, stages) if read.unit.dimension == "torque"]
    return {
        "name": line(name, "the bolt's name", needed=True),
        "new": yes_no_if(new, "whether the bolt is new"),
        "sequence": _place(sequence),
        "stages": [stage.strip() for stage in stages],
        "treatment": line(treatment, "the thread's treatment"),
        "recheck": yes_no(recheck, "whether this is a re-check"),
        **common(instrument, resolution, person, note, kind="torque", unit=torques[-1]),
    }


def bolt_of(content: Content) -> Bolt:
    """Return the bolt of a checked content."""
    stages = tuple(_stage(stage) for stage in content["stages"])
    torques = [i for i, stage in enumerate(stages) if stage.unit.dimension == "torque"]
    turns = stages[torques[-1] + 1 :]
    return Bolt(
        name=content["name"],
        new=content["new"],
        sequence=content["sequence"],
        stages=stages,
        torque=stages[torques[-1]],
        angle=Quantity(sum(each.to(_DEGREES).value for each in turns), _DEGREES) if turns else None,
        treatment=content["treatment"],
        recheck=content["recheck"],
        remarks=tuple(_remarks(content, [stages[i].si for i in torques])),
    )


def _stage(text: Any) -> Quantity:
    found = _STAGE.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        raise InstallationError(
            f"stage {text!r} of the tightening cannot be read; write a number and its unit, e.g. "
            f"50 N m, 135 lbf ft or 90 deg, each stage by itself"
        )
    try:
        read = unit(found[2])
    except VibetrendError:
        read = None
    if read is None or read.dimension not in ("torque", "angle"):
        raise InstallationError(
            f"stage {text!r} of the tightening is neither a torque nor an angle; write it in N m, "
            f"kgf m, lbf ft, lbf in or deg"
        )
    value = number(float(found[1]), f"stage {text!r}", above=0)
    return Quantity(plausible(value, f"stage {text!r}", read.dimension, read.name), read)


def _place(sequence: Any) -> int | None:
    if sequence is None:
        return None
    if isinstance(sequence, bool) or not isinstance(sequence, int) or sequence < 1:
        raise InstallationError(
            f"the bolt's place in the sequence is {sequence!r}; write 1 for the first"
        )
    return sequence


def _remarks(content: Content, torques: list[float]) -> list[str]:
    said = []
    if not content["treatment"]:
        said.append(
            "Whether the thread was dry, oiled or locked is not noted: it changes what a torque "
            "does to the bolt, so this torque cannot be compared for certain with the maker's."
        )
    if torques[-1] < max(torques):
        said.append("The last torque is below an earlier stage: the bolt was loosened in between.")
    return said
