"""What the page of one sweep has instead of orders and lines: map, order curves, resonances."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from vibetrend.checkup.records import RecordingRecord, SweepCurves
from vibetrend.quantities import ShownUnits
from vibetrend.recording import FloatArray
from vibetrend.report import curves, figures, interference, pictures, shown
from vibetrend.report.curves import OrderCurve
from vibetrend.report.document import as_json
from vibetrend.report.interference import Diagram
from vibetrend.report.numbers import Column, Row, Table
from vibetrend.report.pictures import Along
from vibetrend.report.recording.charts import Chart
from vibetrend.report.resonances import Resonance, by_orders, resonances, table_of
from vibetrend.report.statements import SWEPT
from vibetrend.report.words import number

if TYPE_CHECKING:  # only the types
    from vibetrend.orders import Measurement, Speed

_DEEP_DB = 60.0
_MAP_HEIGHT = 320.0
_BANDS, _SPEEDS = 24, 10  # of the map's table
_ALONG = 6  # orders drawn over the picture of frequencies


@dataclass(frozen=True, kw_only=True, eq=False)
class SweepView:
    """One sweep as the template shows it."""

    manner: str
    label: str
    curves: list[OrderCurve]  # the most telling order first
    chart: Chart | None  # of these
    map: Chart | None  # levels over speed and order
    found: list[Resonance]
    table: Table  # of the resonances
    by_order: list[tuple[str, Table]]  # of each that several orders show
    diagram: Diagram | None


def is_sweep(measured: "Measurement") -> bool:
    """Return whether the speed was swept."""
    return measured.recording.manner in SWEPT


def sweep_view(record: RecordingRecord, units: ShownUnits) -> SweepView | None:
    """Return what a sweep showed; None for a steady recording."""
    measured = record.measurement
    if not is_sweep(measured):
        return None
    recording = measured.recording
    kept_in = _unit(measured)
    shown_as = shown.resonances(measured.resonances, kept_in, units)
    found = resonances(shown_as)
    label = f"this {recording.manner}"
    drawn = _curves(record, found, label, units)
    unit = drawn[0].unit if drawn else shown.unit_words(kept_in, recording.kind)
    shifted = any(one.together.shift_percent == one.together.shift_percent for one in found)
    chart = Chart(
        still=curves.still(drawn[0]),
        data=as_json([curves.figure(one, label, "") for one in drawn]),
        numbers=curves.table(drawn, label, ""),
    ) if drawn else None  # fmt: skip
    model = record.interference
    return SweepView(
        manner=recording.manner,
        label=label,
        curves=drawn,
        chart=chart,
        map=_map(record),
        found=found,
        table=table_of(found, unit, "the baseline" if shifted else ""),
        by_order=by_orders(found, unit),
        diagram=None if model is None else interference.diagram_of(model, found),
    )


def _unit(measured: "Measurement") -> str:
    """Return the unit of the curves: of tooth times alone they are those of the crank's speed."""
    return "rad/s" if measured.recording.samples is None else measured.recording.unit


def _curves(
    record: RecordingRecord, found: list[Resonance], label: str, units: ShownUnits
) -> list[OrderCurve]:
    measured, engine = record.measurement, record.engine
    if measured.runup.empty:
        return []
    kept = SweepCurves(table=measured.runup, unit=_unit(measured), label=label)
    firing = None if engine is None else engine.firing_order_number
    return curves.order_curves(
        shown.curves(kept, measured.recording.kind, units), None, found, firing=firing
    )


# Levels over speed and order


def _map(record: RecordingRecord) -> Chart | None:
    found = record.order_map
    if found is None:
        return None
    rpm, level = _evenly(found.speed_rpm, found.level_db)
    level = np.maximum(level - np.nanmax(level), -_DEEP_DB)
    level = np.nan_to_num(level, nan=-_DEEP_DB)
    return Chart(
        still=pictures.level_map(
            rpm, found.place, level, units=("rpm", ""), label="level over speed and order",
            height=_MAP_HEIGHT,
        ),
        data=as_json([{
            "label": "order map",
            **figures.level_map(
                rpm, found.place, level, names=("speed, rpm", "order"),
                hover="%{x:.0f} rpm, order %{y:.2f}: %{z:.0f} dB",
            ),
        }]),
        numbers=_map_table(rpm, found.place, level),
    )  # fmt: skip


def _evenly(rpm: FloatArray, level_db: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return levels at speeds as far from each other as the nearest of the given ones."""
    step = float(np.diff(rpm).min())
    even = np.linspace(rpm[0], rpm[-1], max(2, min(round((rpm[-1] - rpm[0]) / step) + 1, 400)))
    nearest = np.abs(rpm[None, :] - even[:, None]).argmin(axis=1)
    return even, level_db[:, nearest]


def _map_table(rpm: FloatArray, order: FloatArray, level_db: FloatArray) -> Table:
    """Return the strongest level in bands of order and spans of speed."""
    spans = np.array_split(np.arange(len(rpm)), _SPEEDS)
    rows = [
        Row(
            name=f"{order[band[0]]:.2f} to {order[band[-1]]:.2f}",
            cells=tuple(number(float(level_db[np.ix_(band, span)].max())) for span in spans),
        )
        for band in np.array_split(np.arange(len(order)), _BANDS)
        if band.size
    ]
    columns = tuple(
        Column(name=f"{rpm[span[0]]:.0f} to {rpm[span[-1]]:.0f} rpm", unit="dB") for span in spans
    )
    return Table(first="Order", columns=columns, rows=tuple(rows))


# Orders over the picture of frequencies


def along(view: SweepView | None, speed: "Speed", begins_s: float) -> list[Along]:
    """Return the strongest orders as they follow the speed; none without a track."""
    if view is None or speed.method == "tag":
        return []
    strongest = sorted(view.curves, key=lambda one: one.peak[0], reverse=True)[:_ALONG]
    time = speed.track["time_s"].to_numpy(float) - begins_s
    rpm = speed.track["rpm"].to_numpy(float)
    return [
        Along(name=f"{one.order:g}", x=time, y=one.order * rpm / 60)
        for one in sorted(strongest, key=lambda one: one.order)
    ]
