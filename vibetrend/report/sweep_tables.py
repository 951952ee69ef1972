"""Sweeps -> rows of the tables for other uses: resonances and order curves."""

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from vibetrend.checkup.records import SeriesRecord
from vibetrend.report.columns import OF_SERIES, Meaning

COLUMNS: Mapping[str, Mapping[str, Meaning]] = {
    "resonances.csv": {
        **OF_SERIES,
        "name": ("", "the resonance; the same in all its rows"),
        "cause": ("", "crankshaft or unknown"),
        "order": ("1", "order that shows it; empty: told by all its orders together"),
        "orders_seen": ("", "orders that show it, blanks between them"),
        "speed_rpm": ("rpm", "speed at which that order peaks"),
        "frequency_hz": ("Hz", "natural frequency"),
        "standard_error_hz": ("Hz", "of the natural frequency"),
        "damping_ratio": ("1", "half of the peak's width over its speed"),
        "damping_standard_error": ("1", "of the damping ratio"),
        "height": ("see unit", "of the peak, rms"),
        "height_standard_error": ("see unit", "of the height"),
        "unit": ("", "unit of height and height_standard_error"),
        "width_rpm": ("rpm", "of the peak, where it has half its power"),
        "shift_percent": ("%", "of the frequency against the baseline"),
        "shift_standard_error": ("%", "of the shift, the damper's unknown temperature with it"),
    },
    "runup.csv": {
        **OF_SERIES,
        "of": ("", "latest (check-up) or baseline: the middle of its sweeps"),
        "order": ("1", "cycles per turn of the crankshaft"),
        "speed_rpm": ("rpm", "speed"),
        "amplitude": ("see unit", "rms, all axes together"),
        "standard_error": ("see unit", "of the amplitude"),
        "unit": ("", "unit of amplitude and standard_error"),
    },
}
"""The columns of the tables that only sweeps have, in their order."""


_OWN = {
    name: [each for each in columns if each not in OF_SERIES] for name, columns in COLUMNS.items()
}


def _rounded(value: Any) -> Any:
    """Return a number to six digits: no error of these is smaller."""
    return float(f"{value:.6g}") if isinstance(value, float) else value


def resonances(one: SeriesRecord) -> Iterator[dict[str, Any]]:
    """Yield the resonances of a series' latest sweep as measured."""
    if one.resonances is None:
        return
    for row in one.resonances.to_dict(orient="records"):
        seen = row.get("orders_seen")
        yield {
            **{name: _rounded(row.get(name)) for name in _OWN["resonances.csv"]},
            "orders_seen": " ".join(f"{order:g}" for order in seen or ()),
            "unit": one.info["unit"],
        }


def runup(one: SeriesRecord) -> Iterator[dict[str, Any]]:
    """Yield the order curves of a series, the latest check-up's and the baseline's."""
    for name, curves in (("latest", one.curves), ("baseline", one.reference_curves)):
        table = pd.DataFrame() if curves is None else curves.table
        for row in table.to_dict(orient="records"):
            assert curves is not None
            yield {
                **{column: _rounded(row.get(column)) for column in _OWN["runup.csv"]},
                "of": name,
                "unit": curves.unit,
            }
