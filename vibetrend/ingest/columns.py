"""Which column is time and which are signals: by heading where it tells, else by behaviour."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.ingest import preamble, tacho
from vibetrend.ingest.grid import Numbers, Table
from vibetrend.ingest.headings import Heading, heading
from vibetrend.ingest.layout import TIME_UNITS
from vibetrend.ingest.meaning import Meaning, meaning_of
from vibetrend.ingest.tags import Stated
from vibetrend.quoting import quoted
from vibetrend.recording import Kind, Note

_LOOKED_AT = 100_000  # rows that show how a column behaves
_PREFERRED: tuple[Kind | None, ...] = (
    "acceleration", "velocity", "rotation", "pressure", "sound", "other", None,
)  # fmt: skip
_SHORTEST_COUNT = 7  # what turns back earlier may be a signal
_FRACTION = re.compile(rb":\d\d(?:[.,]\d|:\d\d[.,:]\d)|\d\.\d\d\.\d\d[.,]\d")


@dataclass(frozen=True, kw_only=True)
class Roles:
    """What each used column is for."""

    time: tuple[int, ...]  # none, one, or a date and a time of day
    time_unit: str  # "" if not stated
    fraction: int | None = None  # a column of ms, us or ns within the second of a written time
    fraction_s: float = 0.0  # its unit
    signals: tuple[int, ...]  # none where there is only a tacho
    axes: tuple[str, ...]
    meaning: Meaning
    tacho: int | None = None
    tacho_is_edges: bool = False  # the column holds times, not a signal sampled at them
    tacho_unit: str = ""  # of those times
    notes: tuple[Note, ...] = ()


def choose(table: Table, wanted: Stated) -> Roles:
    """Give each column its role.

    Raises
    ------
    ReadError
        If a column asked for does not exist, or none holds a signal.
    """
    shape = table.shape
    heads = [heading(*pair) for pair in zip(shape.names, shape.units, strict=True)]
    turning = None
    if wanted.tacho_column is not None:
        (turning,) = _asked((wanted.tacho_column,), heads, table, option="tacho_column")
    is_edges = turning is not None and _rises(table.numbers[turning], throughout=True)
    fraction = _of_the_second(heads, table)
    time = _time(heads, table, aside=(turning, fraction))
    if not time and turning is not None and is_edges:
        time = (turning,)
    candidates = [
        column
        for column, values in table.numbers.items()
        if column not in time
        and column not in (turning, fraction)
        and heads[column].role in ("signal", "")
        and (heads[column].name or not _counts_rows(values))
        and table.present(column)[:_LOOKED_AT].any()
    ]
    # What a heading calls a vibration is one, however few levels it takes.
    unsaid = [c for c in candidates if heads[c].kind in (None, "other") and not heads[c].axis]
    pulses = [column for column in unsaid if _pulses(table, column)]
    notes: list[Note] = []
    if wanted.columns is not None:
        asked = _asked(wanted.columns, heads, table, option="columns")
        signals = [column for column in asked if column != turning]
    else:
        free = [column for column in candidates if column not in pulses]
        signals, remark = _preferred(heads, free, wanted)
        notes += [Note("columns", "note", remark)] if remark else []
        if turning is None:
            notes += [_how_to_use(shape.label(column)) for column in pulses[:1]]
    if is_edges and turning in time:
        signals = []  # a table of edge times, whatever stands beside them
    if not signals and turning is None:
        raise _no_signal([shape.label(column) for column in [*pulses, *time[:1]]])
    used = [heads[column] for column in signals]
    meant = Meaning("other", "1", ())
    if signals:
        values = [table.numbers[column] for column in signals]
        meant = meaning_of(used, values, wanted, above=preamble.unit(shape))
        notes += [Note("unit-assumed", "note", meant.remark)] if meant.remark else []
    return Roles(
        time=time,
        time_unit=heads[time[0]].unit.lower() if len(time) == 1 else "",
        fraction=fraction,
        fraction_s=0.0 if fraction is None else TIME_UNITS[heads[fraction].unit.lower()],
        signals=tuple(signals),
        meaning=meant,
        axes=_axes(used, signals, meant.kind),
        tacho=turning,
        tacho_is_edges=is_edges,
        tacho_unit="" if turning is None else heads[turning].unit.lower(),
        notes=tuple(notes),
    )


def two_levels(values: Numbers) -> bool:
    """Say whether a column takes two values and no other."""
    present = values[np.isfinite(values)]
    if not len(present):
        return False
    low, high = present.min(), present.max()
    return bool(low < high and ((present == low) | (present == high)).all())


def stated_by(table: Table) -> tuple[Stated, tuple[Note, ...]]:
    """Return the tags that columns named like tags hold; of a speed that varies the median."""
    found: dict[str, float | str] = {}
    notes: tuple[Note, ...] = ()
    for column, name in enumerate(table.shape.names):
        tag = heading(name, table.shape.units[column]).tag
        if not tag or tag in found or column in table.stamps:
            continue
        if column in table.texts:
            texts = table.texts[column][table.present(column)].unique()
            if len(texts) == 1 and tag not in ("rpm", "hours"):
                found[tag] = str(texts[0]).strip()
            continue
        values = table.numbers[column]
        values = values[table.present(column) & (values > 0)]
        if not len(values):
            continue
        low, middle, high = (float(each) for each in np.quantile(values, (0, 0.5, 1)))
        if tag == "rpm" or low == high:
            found[tag] = middle if tag in ("rpm", "hours") else f"{middle:g}"
        if tag == "rpm" and low < high:
            message = (
                f"{table.shape.label(column)} varies from {low:g} to {high:g}; its median "
                f"{middle:g} was taken as rpm"
            )
            notes += (Note("tag-assumed", "note", message),)
    return Stated(**found), notes  # type: ignore[arg-type]  # texts and numbers by their keys


def _how_to_use(label: str) -> Note:
    message = f"{label} behaves as a tacho, not as a vibration, and was not used; {_STATE_IT}"
    return Note("columns", "note", message)


_STATE_IT = "to use it give tacho_column and teeth"


def _no_signal(labels: Sequence[str]) -> ReadError:
    hint = f"; {labels[0]} may hold a tacho: {_STATE_IT}" if labels else ""
    return ReadError(f"no column holds a signal; name the columns to use with columns{hint}")


def _of_the_second(heads: Sequence[Heading], table: Table) -> int | None:
    """Return the column that may hold what the written times lack: 0 to 999 ms."""
    written = [column for column, field in enumerate(table.shape.types) if field == "time"]
    if not written or any(map(_has_fraction, table.stamps[written[0]][:100])):
        return None
    for column, values in table.numbers.items():
        unit = TIME_UNITS.get(heads[column].unit.lower(), 1.0)
        if unit < 1 and values.dtype == np.int64 and len(values):
            within = values.min() >= 0 and values.max() < round(1 / unit)
            if within and (np.diff(values) < 0).any():
                return column
    return None


def _has_fraction(stamp: bytes) -> bool:
    return bool(_FRACTION.search(stamp))


def _time(
    heads: Sequence[Heading], table: Table, *, aside: tuple[int | None, ...]
) -> tuple[int, ...]:
    types, numbers = table.shape.types, table.numbers
    written = [column for column, field in enumerate(types) if field == "time"]
    dates = [column for column, field in enumerate(types) if field == "date"]
    named = [
        column
        for column in numbers
        if column not in aside and heads[column].role == "time" and _rises(numbers[column])
    ]
    if len(named) > 1:
        # Of several the finest; "time" before "seconds" when they are equally fine.
        named.sort(key=lambda column: -len(np.unique(numbers[column][:_LOOKED_AT])))
    if written:
        day = (*dates[:1], written[0])
        fine = any(map(_has_fraction, table.stamps[written[0]][:100]))
        if not named or (dates and fine):
            return day
    if named:
        return (named[0],)
    for column, values in numbers.items():
        # A slow temperature rises too, but stands still most of the time.
        rising = column not in aside and heads[column].role == "" and _rises(values)
        if rising and (np.diff(values) > 0).mean() > 0.5 and not _counts_rows(values):
            return (column,)
    return ()


def _rises(values: Numbers, *, throughout: bool = False) -> bool:
    if not throughout and len(values) > _LOOKED_AT and values[-1] > values[0]:
        values = values[:_LOOKED_AT]  # the rest is seen when the clock is read
    present = values if values.dtype == np.int64 else values[np.isfinite(values)]
    if len(present) < 2 or not present[-1] > present[0]:
        return False
    steps = np.diff(present)
    if throughout:
        return bool((steps > 0).all())
    # A signal falls in half its steps; a clock may be set back once or twice.
    return bool((steps < 0).mean() < 0.02 and (steps > 0).any())


def _counts_rows(values: Numbers) -> bool:
    present = values[np.isfinite(values)]
    if len(present) < 2:
        return False
    steps = np.diff(present)
    span = float(present.max() - present.min())
    wrapped = (steps == -span) & (span >= _SHORTEST_COUNT)  # 255 is followed by 0
    return bool(((steps == 1) | wrapped).mean() > 0.99)


def _pulses(table: Table, column: int) -> bool:
    values = table.numbers[column][:_LOOKED_AT]
    values = values[np.isfinite(values)].astype(np.float64)
    return two_levels(values) or tacho.is_pulse_train(values)


def _asked(
    columns: tuple[str | int, ...], heads: Sequence[Heading], table: Table, *, option: str
) -> list[int]:
    names, labels = [head.name for head in heads], [head.label for head in heads]
    found = []
    for asked in columns:
        text = str(asked).strip()
        if text in names:
            column = names.index(text)
        elif text in labels:
            column = labels.index(text)
        elif text.isdecimal() and len(text) < 5 and 1 <= int(text) <= len(heads):
            column = int(text) - 1
        else:
            near = get_close_matches(text, [*names, *labels], n=1)
            known = ", ".join(names) if any(names) else f"1 to {len(heads)}"
            hint = f"did you mean {quoted(near[0])}?" if near else f"there are {known[:200]}"
            raise ReadError(f"column {quoted(asked)} does not exist; {hint}")
        if column not in table.numbers:
            raise ReadError(f"column {quoted(asked)} holds no numbers; choose another")
        if column in found:
            raise ReadError(f"column {quoted(asked)} is named twice in {option}")
        found.append(column)
    return found


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
            f"used {', '.join(heads[column].name for column in chosen[:6])}"
            f"{' ...' if len(chosen) > 6 else ''}; "
            f"not used {', '.join(aside[:6])}{' ...' if len(aside) > 6 else ''}"
        )
    return chosen, remark[:300]


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
