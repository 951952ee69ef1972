"""Levels in the units a person wants to see; what is kept and judged never changes."""

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from vibetrend.checkup.records import (
    OrderSpectrum,
    RecordingRecord,
    SeriesRecord,
    SideBySide,
    SweepCurves,
)
from vibetrend.quantities import Quantity, ShownUnits, unit

_OF_CURVES = ("amplitude", "standard_error", "floor")
_OF_RESONANCES = ("height", "height_standard_error")
_SHARE = "of full scale"
_VELOCITIES = {name: unit(name) for name in ("m/s", "mm/s")}  # as levels are kept


def level(value: float, kept_in: str, shown: ShownUnits) -> tuple[float, str]:
    """Return an amplitude and its unit as they are shown; only velocities have a choice."""
    kept = _VELOCITIES.get(kept_in)
    if kept is None:
        return value, kept_in
    found = shown.of(Quantity(value, kept))
    return found.value, found.unit.name


def unit_words(name: str, kind: str) -> str:
    """Return a unit as a reader knows it: a plain number is a share of full scale, or unknown."""
    if name == "1":
        return _SHARE if kind == "sound" else "own unit"
    return name.replace("^2", "²")


def rms_words(unit: str) -> str:
    """Return a unit of amplitudes as it follows the word: ``in m/s² rms``.

    Examples
    --------
    >>> rms_words("of full scale")
    'as a share of full scale (rms)'
    """
    return "as a share of full scale (rms)" if unit == _SHARE else f"in {unit} rms"


def spectrum(one: OrderSpectrum | None, kind: str, shown: ShownUnits) -> OrderSpectrum | None:
    """Return an order spectrum in the unit that is shown; `kind` is what was recorded."""
    if one is None:
        return None
    factor, name = level(1.0, one.unit, shown)
    return replace(one, amplitude=factor * one.amplitude, unit=unit_words(name, kind))


def curves(one: SweepCurves | None, kind: str, shown: ShownUnits) -> SweepCurves | None:
    """Return order curves in the unit that is shown."""
    if one is None:
        return None
    factor, name = level(1.0, one.unit, shown)
    return replace(one, table=_times(one.table, _OF_CURVES, factor), unit=unit_words(name, kind))


def resonances(one: pd.DataFrame | None, unit: str, shown: ShownUnits) -> pd.DataFrame | None:
    """Return resonances with their heights, which are kept in `unit`, in the unit shown."""
    return None if one is None else _times(one, _OF_RESONANCES, level(1.0, unit, shown)[0])


def _times(table: pd.DataFrame, columns: Iterable[str], factor: float) -> pd.DataFrame:
    there = [name for name in columns if name in table]
    return table.assign(**{name: factor * table[name].astype(float) for name in there})


def series(one: SeriesRecord, shown: ShownUnits) -> SeriesRecord:
    """Return a series whose pictures have the unit that is shown."""
    kind = one.info["kind"]
    latest, reference = (spectrum(each, kind, shown) for each in (one.latest, one.reference))
    over, under = (curves(each, kind, shown) for each in (one.curves, one.reference_curves))
    return replace(
        one,
        latest=latest,
        reference=reference,
        curves=over,
        reference_curves=under,
        resonances=resonances(one.resonances, one.info["unit"], shown),
    )


def side_by_side(found: SideBySide, shown: ShownUnits) -> SideBySide:
    """Return two like engines with every level in the unit that is shown."""
    table = found.table.copy()
    for name in ("first", "second"):
        table[name] = [
            level(value, kept_in, shown)[0]
            for value, kept_in in zip(table[name], table["unit"], strict=True)
        ]

    def named(kept_in: str) -> str:
        return unit_words(level(1.0, kept_in, shown)[1], found.info["kind"])

    table["unit"] = table["unit"].map(named)
    return replace(found, table=table, unit=named(found.unit))


def recording(one: RecordingRecord, shown: ShownUnits) -> RecordingRecord:
    """Return a recording whose pictures have the unit that is shown."""
    kind = one.measurement.recording.kind
    seen, found = one.trace, one.spectrum
    if seen is not None:
        factor, name = level(1.0, seen.unit, shown)
        cut = tuple((axis, piece, factor * value) for axis, piece, value in seen.cut)
        low, high = factor * seen.low, factor * seen.high
        seen = replace(seen, low=low, high=high, cut=cut, unit=unit_words(name, kind))
    if found is not None:
        factor, name = level(1.0, found.unit, shown)
        amplitude = factor * found.amplitude
        found = replace(found, amplitude=amplitude, unit=unit_words(name, kind))
    return replace(one, trace=seen, spectrum=found)
