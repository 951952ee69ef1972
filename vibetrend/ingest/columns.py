"""Which column is time and which are signals: by heading where it tells, else by behaviour."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import pandas as pd

from vibetrend import units
from vibetrend.errors import ReadError, VibetrendError
from vibetrend.ingest.headings import Heading, heading, kind_of
from vibetrend.ingest.layout import Layout
from vibetrend.ingest.tags import Stated
from vibetrend.recording import SI_UNITS, FloatArray, Kind, Note

_GRAVITY = {"m/s^2": units.STANDARD_GRAVITY, "g": 1.0, "mg": 1000.0}
_GRAVITY_WITHIN = 0.1  # a phone's own offset is a few per cent
_PREFERRED: tuple[Kind | None, ...] = (
    "acceleration", "velocity", "rotation", "pressure", "sound", "other", None,
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Roles:
    """What each used column is for."""

    time: tuple[int, ...]  # none, one, or a date and a time of day
    time_unit: str  # "" if not stated
    signals: tuple[int, ...]
    axes: tuple[str, ...]
    kind: Kind
    unit: str  # SI
    factors: tuple[float, ...]  # of each signal to `unit`
    notes: tuple[Note, ...]


def choose(layout: Layout, numbers: Mapping[int, FloatArray], wanted: Stated) -> Roles:
    """Give each column its role; `numbers` holds the columns of numbers, NaN where missing.

    Raises
    ------
    ReadError
        If a column asked for does not exist, or none holds a signal.
    """
    heads = [heading(*pair) for pair in zip(layout.names, layout.units, strict=True)]
    time = _time(layout, heads, numbers)
    candidates = [
        column
        for column in numbers
        if column not in time
        and heads[column].role in ("signal", "")
        and (heads[column].name or not _counts_rows(numbers[column]))
    ]
    notes: list[Note] = []
    if wanted.columns is not None:
        signals = _asked(wanted.columns, heads, numbers)
    else:
        signals, remark = _preferred(heads, candidates, wanted)
        notes += [Note("columns", "note", remark)] if remark else []
    if not signals:
        raise ReadError("no column holds a signal; name the columns to use with columns")
    used = [heads[column] for column in signals]
    kind, unit, factors, remark = _meaning(used, [numbers[column] for column in signals], wanted)
    if remark:
        notes.append(Note("unit-assumed", "note", remark))
    return Roles(
        time=time,
        time_unit=heads[time[0]].unit.lower() if len(time) == 1 else "",
        signals=tuple(signals),
        axes=_axes(used, signals, kind),
        kind=kind,
        unit=unit,
        factors=factors,
        notes=tuple(notes),
    )


def label(layout: Layout, column: int) -> str:
    """Return how to speak of a column to a person."""
    name = layout.names[column]
    return f"column {name!r}" if name else f"column {column + 1}"


def _time(
    layout: Layout, heads: Sequence[Heading], numbers: Mapping[int, FloatArray]
) -> tuple[int, ...]:
    written = [column for column, field in enumerate(layout.types) if field == "time"]
    dates = [column for column, field in enumerate(layout.types) if field == "date"]
    if written and dates:
        return (dates[0], written[0])
    named = [
        column for column in numbers if heads[column].role == "time" and _rises(numbers[column])
    ]
    # Of several the finest; "time" before "seconds" when they are equally fine.
    named.sort(key=lambda column: -len(np.unique(numbers[column])))
    if named:
        return (named[0],)
    if written:
        return (written[0],)
    for column, values in numbers.items():
        # A slow temperature rises too, but stands still most of the time.
        rising = heads[column].role == "" and _rises(values) and (np.diff(values) > 0).mean() > 0.5
        if rising and not _counts_rows(values):
            return (column,)
    return ()


def _rises(values: FloatArray) -> bool:
    present = values[np.isfinite(values)]
    if len(present) < 2 or not present[-1] > present[0]:
        return False
    steps = np.diff(present)
    # A signal falls in half its steps; a clock may be set back once or twice.
    return bool((steps < 0).mean() < 0.02 and (steps > 0).any())


def _counts_rows(values: FloatArray) -> bool:
    present = values[np.isfinite(values)]
    return len(present) > 1 and bool((np.diff(present) == 1).mean() > 0.99)


def _asked(
    columns: tuple[str | int, ...], heads: Sequence[Heading], numbers: Mapping[int, FloatArray]
) -> list[int]:
    names = [head.name for head in heads]
    signals = []
    for asked in columns:
        text = str(asked).strip()
        labels = [head.label for head in heads]
        if text in names:
            column = names.index(text)
        elif text in labels:
            column = labels.index(text)
        elif text.isdecimal() and 1 <= int(text) <= len(heads):
            column = int(text) - 1
        else:
            near = get_close_matches(text, names, n=1)
            known = ", ".join(names) if any(names) else f"1 to {len(heads)}"
            hint = f"did you mean {near[0]!r}?" if near else f"there are {known}"
            raise ReadError(f"column {asked!r} does not exist; {hint}")
        if column not in numbers:
            raise ReadError(f"column {asked!r} holds no numbers; choose another")
        if column in signals:
            raise ReadError(f"column {asked!r} is named twice in columns")
        signals.append(column)
    return signals


def _preferred(
    heads: Sequence[Heading], candidates: Sequence[int], wanted: Stated
) -> tuple[list[int], str]:
    """Return the columns of the kind that says most, and a remark on what is left aside."""
    signals = [column for column in candidates if heads[column].role == "signal"]
    pool = signals or list(candidates)
    kinds = {heads[column].kind for column in pool}
    if wanted.kind in kinds:
        kind = wanted.kind
    else:
        kind = next((kind for kind in _PREFERRED if kind in kinds), None)
    chosen = [column for column in pool if heads[column].kind == kind]
    remark = ""
    vectors = [column for column in chosen if not heads[column].magnitude]
    chosen = vectors or chosen
    free = [column for column in chosen if heads[column].linear]
    if free and len(free) < len(chosen):
        chosen, remark = free, "acceleration without gravity was used, not that with gravity"
    aside = [heads[column].name for column in candidates if column not in chosen]
    if aside and not remark:
        remark = (
            f"used {', '.join(heads[column].name for column in chosen)}; "
            f"not used {', '.join(aside[:6])}{' ...' if len(aside) > 6 else ''}"
        )
    return chosen, remark


def _meaning(
    heads: Sequence[Heading], values: Sequence[FloatArray], wanted: Stated
) -> tuple[Kind, str, tuple[float, ...], str]:
    """Return kind, SI unit, each column's factor to it, and what had to be assumed."""
    if wanted.unit is not None:
        try:
            given = units.unit(wanted.unit)
        except VibetrendError as error:
            raise ReadError(str(error)) from error
        said = heads[0].kind
        fits = said is not None and said != "other" and given.si in SI_UNITS[said]
        kind = wanted.kind or (said if said and fits else kind_of(given))
        return kind, given.si, (given.factor,) * len(heads), ""
    known = [head.known_unit for head in heads]
    stated = [unit for unit in known if unit is not None]
    if len(stated) == len(heads):
        if len({unit.si for unit in stated}) > 1:
            listed = ", ".join(f"{head.name!r}" for head in heads)
            raise ReadError(f"{listed} have different units; choose some of them with columns")
        kind = wanted.kind or heads[0].kind or kind_of(stated[0])
        return kind, stated[0].si, tuple(unit.factor for unit in stated), ""
    foreign = [head.unit for head in heads if head.unit and head.known_unit is None]
    if foreign:
        kind = wanted.kind or "other"
        remark = f"unit {foreign[0]!r} is not known; values are kept as they are"
        return kind, "1" if kind == "other" else SI_UNITS[kind][0], (1.0,) * len(heads), remark
    return _by_behaviour(heads, values, wanted)


def _by_behaviour(
    heads: Sequence[Heading], values: Sequence[FloatArray], wanted: Stated
) -> tuple[Kind, str, tuple[float, ...], str]:
    same = (1.0,) * len(heads)
    said = wanted.kind or heads[0].kind
    may_be_acceleration = said == "acceleration" or (said is None and len(heads) == 3)
    if may_be_acceleration:
        length = float(np.linalg.norm([np.nanmean(column) for column in values]))
        for name, gravity in _GRAVITY.items():
            if abs(length / gravity - 1) < _GRAVITY_WITHIN and (len(heads) == 3 or name == "m/s^2"):
                unit = units.unit(name)
                factors = (unit.factor,) * len(heads)
                return (
                    "acceleration",
                    unit.si,
                    factors,
                    f"no unit is stated; taken as acceleration in {name}, because its mean is "
                    f"gravity ({length:.3g} {name})",
                )
    if said is None and all(head.axis for head in heads):
        said = "acceleration"  # columns named x, y, z from which gravity was taken out
    if said is not None:
        unit_name = SI_UNITS[said][0]
        assumed = f"no unit is stated; taken as {said} in {unit_name}; state unit if it is another"
        return said, unit_name, same, assumed
    return "other", "1", same, "neither kind nor unit is stated; values are kept as they are"


def _axes(heads: Sequence[Heading], columns: Sequence[int], kind: Kind) -> tuple[str, ...]:
    letters = [head.axis for head in heads]
    if all(letters) and len(set(letters)) == len(letters):
        return tuple(letters)
    if not any(head.name for head in heads):
        if kind == "acceleration" and len(heads) == 3:
            return ("x", "y", "z")
        return tuple(f"column {column + 1}" for column in columns)
    names = [
        head.label or head.name or f"column {column + 1}"
        for head, column in zip(heads, columns, strict=True)
    ]
    if len(set(names)) < len(names):
        return tuple(f"column {column + 1}" for column in columns)
    return tuple(names)


def stated_by(layout: Layout, frame: pd.DataFrame) -> Stated:
    """Return the tags that columns named like tags hold, where they hold one value throughout."""
    numbers: dict[str, float] = {}
    texts: dict[str, str] = {}
    for column, name in enumerate(layout.names):
        tag = heading(name, layout.units[column]).tag
        present = frame[column].dropna().unique()
        if not tag or len(present) != 1:
            continue
        if tag not in ("rpm", "hours"):
            texts[tag] = str(present[0])
        elif isinstance(present[0], int | float | np.number) and present[0] > 0:
            numbers[tag] = float(present[0])
    return Stated(
        rpm=numbers.get("rpm"),
        hours=numbers.get("hours"),
        position=texts.get("position"),
        device=texts.get("device"),
        condition=texts.get("condition"),
    )
