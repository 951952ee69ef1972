"""Results as plain values: what JSON can hold."""

import math
from typing import Any

import pandas as pd


def rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table as one dict for each row."""
    return [
        {str(key): plain(value) for key, value in row.items()}
        for row in table.to_dict(orient="records")
    ]


def plain(value: Any) -> Any:
    """Return a value that JSON can hold: NaN and infinity become None, labels and dates text."""
    if isinstance(value, dict):
        return {str(key): plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [plain(entry) for entry in value]
    if hasattr(value, "item"):  # a numpy scalar
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    return str(value)
