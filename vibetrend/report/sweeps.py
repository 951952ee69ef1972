"""A series of sweeps as its section shows it: order curves and resonances."""

from dataclasses import dataclass

from markupsafe import Markup

from vibetrend.checkup.records import SeriesRecord
from vibetrend.report import curves
from vibetrend.report.curves import OrderCurve
from vibetrend.report.document import as_json
from vibetrend.report.numbers import Table
from vibetrend.report.resonances import Resonance, by_orders, resonances, table_of
from vibetrend.report.statements import SWEPT
from vibetrend.report.words import baseline_name


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """What sweeps showed."""

    manner: str
    curves: list[OrderCurve]  # the most telling order first
    latest: str  # what the curves are, in words
    reference: str  # what lies under them; "" for nothing
    found: list[Resonance]
    table: Table  # of the resonances
    by_order: list[tuple[str, Table]]  # of each that several orders show

    @property
    def data(self) -> Markup:
        """The choices of the chart of order curves."""
        return as_json([curves.figure(one, self.latest, self.reference) for one in self.curves])

    @property
    def numbers(self) -> Table:
        """The amplitudes that the curves draw."""
        return curves.table(self.curves, "latest", "baseline")

    @property
    def of_crankshaft(self) -> list[Resonance]:
        """Those that count as the crankshaft's own."""
        return [one for one in self.found if one.of_crankshaft]


def is_sweep(record: SeriesRecord) -> bool:
    """Return whether a series is of sweeps."""
    return record.info["manner"] in SWEPT


def sweep(record: SeriesRecord, *, firing: float | None = None) -> Sweep | None:
    """Return a series of sweeps as it is shown; None for a steady one."""
    if not is_sweep(record):
        return None
    found = resonances(record.resonances)
    unit = "" if record.curves is None else record.curves.unit
    shifted = any(one.together.shift_percent == one.together.shift_percent for one in found)
    return Sweep(
        manner=record.info["manner"],
        curves=curves.order_curves(record.curves, record.reference_curves, found, firing=firing),
        latest="" if record.curves is None else record.curves.label,
        reference="" if record.reference_curves is None else record.reference_curves.label,
        found=found,
        table=table_of(found, unit, baseline_name(record) if shifted else ""),
        by_order=by_orders(found, unit),
    )
