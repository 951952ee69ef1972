"""Levels in the units a person wants to see; what is kept and judged never changes."""

from dataclasses import replace

from vibetrend.checkup.records import OrderSpectrum, SeriesRecord, SideBySide
from vibetrend.quantities import Quantity, ShownUnits, unit

_VELOCITIES = {name: unit(name) for name in ("m/s", "mm/s")}  # as levels are kept


def level(value: float, kept_in: str, shown: ShownUnits) -> tuple[float, str]:
    """Return an amplitude and its unit as they are shown; only velocities have a choice."""
    kept = _VELOCITIES.get(kept_in)
    if kept is None:
        return value, kept_in
    found = shown.of(Quantity(value, kept))
    return found.value, found.unit.name


def spectrum(one: OrderSpectrum | None, shown: ShownUnits) -> OrderSpectrum | None:
    """Return an order spectrum in the unit that is shown."""
    if one is None:
        return None
    factor, name = level(1.0, one.unit, shown)
    return replace(one, amplitude=factor * one.amplitude, unit=name)


def series(one: SeriesRecord, shown: ShownUnits) -> SeriesRecord:
    """Return a series whose pictures have the unit that is shown."""
    return replace(
        one, latest=spectrum(one.latest, shown), reference=spectrum(one.reference, shown)
    )


def side_by_side(found: SideBySide, shown: ShownUnits) -> SideBySide:
    """Return two like engines with every level in the unit that is shown."""
    table = found.table.copy()
    for name in ("first", "second"):
        table[name] = [
            level(value, kept_in, shown)[0]
            for value, kept_in in zip(table[name], table["unit"], strict=True)
        ]
    table["unit"] = [level(1.0, kept_in, shown)[1] for kept_in in table["unit"]]
    return replace(found, table=table, unit=level(1.0, found.unit, shown)[1])
