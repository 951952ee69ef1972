"""The resonances that a sweep showed, as a reader sees them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Any

import pandas as pd
from markupsafe import Markup

from vibetrend.report.numbers import Column, Row, Table, plus_minus
from vibetrend.report.words import number

CAUSES = {"crankshaft": "the crankshaft's own", "unknown": "cause unknown"}


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A resonance as one order shows it; `order` is NaN for all of its orders together."""

    order: float
    speed_rpm: float
    frequency_hz: float
    frequency_error_hz: float
    damping: float  # ratio
    damping_error: float
    height: float  # rms, in the unit of the curves
    height_error: float
    shift_percent: float  # of the frequency against the baseline; NaN without one
    shift_error: float


@dataclass(frozen=True, kw_only=True)
class Resonance:
    """One natural frequency that a sweep passed."""

    letter: str  # in pictures with little room
    name: str
    cause: str  # "crankshaft" or "unknown"
    together: Seen  # of all its orders, or of the only one
    by_order: tuple[Seen, ...]  # each order that shows it, by speed

    @property
    def of_crankshaft(self) -> bool:
        """Whether it counts as the crankshaft's own."""
        return self.cause == "crankshaft"

    @property
    def mark(self) -> str:
        """How a picture names it, short enough for a phone: ``A crankshaft``."""
        return f"{self.letter} {'crankshaft' if self.of_crankshaft else 'unknown'}"

    @property
    def orders(self) -> str:
        """The orders that show it, e.g. ``4.5, 6``."""
        return ", ".join(f"{one.order:g}" for one in sorted(self.by_order, key=lambda s: s.order))

    def speed_in(self, order: float) -> float:
        """Return the speed at which an order passes it, rpm; NaN where that order shows none."""
        return next((one.speed_rpm for one in self.by_order if one.order == order), math.nan)


def resonances(table: pd.DataFrame | None) -> list[Resonance]:
    """Return the resonances of a sweep's table: the crankshaft's first, then by frequency."""
    if table is None or table.empty:
        return []
    found = []
    for name, rows in table.groupby("name", sort=False):
        records = rows.to_dict("records")
        by_order = [_seen(row) for row in records if _number(row, "order") > 0]
        joint = [_seen(row) for row in records if math.isnan(_number(row, "order"))]
        together = joint[0] if joint else max(by_order, key=lambda one: one.height)
        if not by_order:
            by_order = [
                _at(together, float(order)) for order in _listed(records[0].get("orders_seen"))
            ]
        by_order.sort(key=lambda one: one.speed_rpm)
        found.append((str(name), str(records[0]["cause"]), together, tuple(by_order)))
    found.sort(key=lambda each: (each[1] != "crankshaft", each[2].frequency_hz))
    return [
        Resonance(
            letter=ascii_uppercase[place % 26], name=name, cause=cause, together=together,
            by_order=by_order,
        )
        for place, (name, cause, together, by_order) in enumerate(found)
    ]  # fmt: skip


def _seen(row: Mapping[Any, Any]) -> Seen:
    return Seen(
        order=_number(row, "order"),
        speed_rpm=_number(row, "speed_rpm"),
        frequency_hz=_number(row, "frequency_hz"),
        frequency_error_hz=_number(row, "standard_error_hz"),
        damping=_number(row, "damping_ratio"),
        damping_error=_number(row, "damping_standard_error"),
        height=_number(row, "height"),
        height_error=_number(row, "height_standard_error"),
        shift_percent=_number(row, "shift_percent"),
        shift_error=_number(row, "shift_standard_error"),
    )


def _at(together: Seen, order: float) -> Seen:
    """Return an order of which nothing but the joint fit is told."""
    none = math.nan
    return Seen(
        order=order, speed_rpm=60 * together.frequency_hz / order,
        frequency_hz=together.frequency_hz, frequency_error_hz=together.frequency_error_hz,
        damping=none, damping_error=none, height=none, height_error=none, shift_percent=none,
        shift_error=none,
    )  # fmt: skip


def _number(row: Mapping[Any, Any], name: str) -> float:
    value = row.get(name)
    return math.nan if value is None else float(value)


def _listed(value: object) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else ()


def table_of(found: Sequence[Resonance], unit: str, against: str = "") -> Table:
    """Return the resonances as a table, each by all its orders; see `by_orders` for the rest.

    Parameters
    ----------
    unit : str
        Of the heights.
    against : str
        What the shifts are told against; empty for no shifts.
    """
    columns = _columns(unit)
    if against:
        columns.append(Column(name=f"Frequency against {against}", unit="%"))
    rows = []
    for one in found:
        cells, seen = _cells(one.together), one.together
        if against:
            cells.append(plus_minus(seen.shift_percent, seen.shift_error, sign=True))
        rows.append(Row(name=one.name, cells=tuple(cells), tag=one.letter, words=_what(one)))
    return Table(first="Resonance", columns=tuple(columns), rows=tuple(rows), last="What it is")


def by_orders(found: Sequence[Resonance], unit: str) -> list[tuple[str, Table]]:
    """Return for each resonance that several orders show its name and their table, by speed.

    A shift is not among it: it is told by all orders together.
    """
    columns = (Column(name="Speed", unit="rpm"), *_columns(unit))
    tables = []
    for one in (each for each in found if len(each.by_order) > 1):
        rows = tuple(
            Row(name=f"{each.order:g}", cells=(number(each.speed_rpm), *_cells(each)))
            for each in one.by_order
        )
        tables.append((one.name, Table(first="Order", columns=columns, rows=rows)))
    return tables


def _what(one: Resonance) -> str:
    cause = CAUSES.get(one.cause, CAUSES["unknown"])
    if len(one.by_order) == 1:
        return f"{cause}, in order {one.orders} at {one.by_order[0].speed_rpm:.0f} rpm"
    return f"{cause}, in orders {one.orders}" if one.by_order else cause


def _columns(unit: str) -> list[Column]:
    return [
        Column(name="Natural frequency", unit="Hz"),
        Column(name="Damping ratio"),
        Column(name="Height", unit=f"{unit} rms"),
    ]


def _cells(seen: Seen) -> list[Markup]:
    return [
        plus_minus(seen.frequency_hz, seen.frequency_error_hz),
        plus_minus(seen.damping, seen.damping_error),
        plus_minus(seen.height, seen.height_error),
    ]
