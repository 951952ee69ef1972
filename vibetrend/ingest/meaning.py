"""In which kind and unit a table's signals are: by what is stated, by headings, by gravity."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibetrend import units
from vibetrend.errors import ReadError
from vibetrend.ingest import quantity
from vibetrend.ingest.grid import Numbers
from vibetrend.ingest.headings import Heading, kind_of
from vibetrend.ingest.tags import Stated
from vibetrend.quoting import quoted
from vibetrend.recording import SI_UNITS, Kind

_GRAVITY = {"m/s^2": units.STANDARD_GRAVITY, "g": 1.0, "mg": 1000.0}
_GRAVITY_WITHIN = 0.1  # a phone's own offset is a few per cent


@dataclass(frozen=True)
class Meaning:
    """What the numbers of the signals stand for."""

    kind: Kind
    unit: str  # SI
    factors: tuple[float, ...]  # of each signal to `unit`
    remark: str = ""  # what had to be assumed


def meaning_of(
    heads: Sequence[Heading], values: Sequence[Numbers], wanted: Stated, *, above: str = ""
) -> Meaning:
    """Return what the signals with these headings stand for.

    A unit stated `above` the table is theirs where no heading has one.

    Raises
    ------
    ReadError
        If a hint cannot be understood or does not fit, or units contradict each other.
    """
    found = (
        _stated(heads, wanted) if wanted.unit is not None else _said(heads, values, wanted, above)
    )
    if wanted.sensitivity is not None:
        return _from_volts(found, heads, wanted)
    if found.unit == "V":
        remark = "the values are volts; state what they stand for with sensitivity, e.g. 100 mV/g"
        return replace(found, remark="; ".join(filter(None, (found.remark, remark))))
    return found


def _stated(heads: Sequence[Heading], wanted: Stated) -> Meaning:
    given = quantity.unit_of(wanted.unit or "")
    said = heads[0].kind
    fits = said is not None and said != "other" and given.si in SI_UNITS[said]
    kind = wanted.kind or (said if said and fits else kind_of(given))
    return Meaning(kind, given.si, (given.factor,) * len(heads))


def _from_volts(found: Meaning, heads: Sequence[Heading], wanted: Stated) -> Meaning:
    given = quantity.sensitivity(wanted.sensitivity or "")
    factors = found.factors
    if found.unit != "V":
        if wanted.unit is not None or any(head.known_unit for head in heads):
            raise ReadError(
                f"sensitivity turns volts into a quantity, but the values are in {found.unit}; "
                f"leave it out, or give unit V or mV"
            )
        factors = (1.0,) * len(heads)
    said = wanted.kind or (heads[0].kind if heads[0].kind != "other" else None)
    kind = said if said and given.unit.si in SI_UNITS[said] else kind_of(given.unit)
    return Meaning(kind, given.unit.si, tuple(each / given.volts_per_si for each in factors))


def _said(
    heads: Sequence[Heading], values: Sequence[Numbers], wanted: Stated, above: str
) -> Meaning:
    known = [head.known_unit for head in heads]
    stated = [unit for unit in known if unit is not None]
    if len(stated) == len(heads):
        if len({unit.si for unit in stated}) > 1:
            listed = ", ".join(quoted(head.name) for head in heads[:4])
            raise ReadError(f"{listed} have different units; choose some of them with columns")
        kind = wanted.kind or heads[0].kind or kind_of(stated[0])
        return Meaning(kind, stated[0].si, tuple(unit.factor for unit in stated))
    foreign = [head.unit for head in heads if head.unit and head.known_unit is None]
    if foreign:
        kind = wanted.kind or "other"
        remark = (
            f"unit {foreign[0][:40]!r} is not known; values are kept as they are; state what one "
            f"stands for with unit, e.g. 0.0039 g"
        )
        return Meaning(
            kind, "1" if kind == "other" else SI_UNITS[kind][0], (1.0,) * len(heads), remark
        )
    said = wanted.kind or heads[0].kind
    if above and not any(head.unit for head in heads):
        unit = units.unit(above)
        if said is None or unit.si in SI_UNITS[said]:
            remark = f"taken in {above}, the unit stated above the table"
            return Meaning(said or kind_of(unit), unit.si, (unit.factor,) * len(heads), remark)
    return _by_behaviour(heads, values, wanted)


def _by_behaviour(heads: Sequence[Heading], values: Sequence[Numbers], wanted: Stated) -> Meaning:
    same = (1.0,) * len(heads)
    said = wanted.kind or heads[0].kind
    may_be_acceleration = said == "acceleration" or (said is None and len(heads) == 3)
    if may_be_acceleration:
        means = [float(np.mean(column[np.isfinite(column)])) for column in values]
        length = float(np.linalg.norm(means))
        for name, gravity in _GRAVITY.items():
            if abs(length / gravity - 1) < _GRAVITY_WITHIN and (len(heads) == 3 or name == "m/s^2"):
                unit = units.unit(name)
                remark = (
                    f"no unit is stated; taken as acceleration in {name}, because its mean is "
                    f"gravity ({length:.3g} {name})"
                )
                return Meaning("acceleration", unit.si, (unit.factor,) * len(heads), remark)
    if said is None and all(head.axis for head in heads):
        said = "acceleration"  # columns named x, y, z from which gravity was taken out
    if said is not None:
        unit_name = SI_UNITS[said][0]
        remark = f"no unit is stated; taken as {said} in {unit_name}; state unit if it is another"
        return Meaning(said, unit_name, same, remark)
    return Meaning(
        "other", "1", same, "neither kind nor unit is stated; values are kept as they are"
    )
