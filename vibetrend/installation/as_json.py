"""The record as plain values that JSON can hold."""

import datetime as dt
import math
from dataclasses import fields, is_dataclass
from typing import Any

from vibetrend.engine import Limit
from vibetrend.quantities import Quantity, Unit


def as_json(value: Any) -> Any:
    """Return a value as JSON has it: NaN is None, a quantity its number and unit, a date text."""
    if isinstance(value, Quantity):
        return {"value": as_json(value.value), "unit": value.unit.name}
    if isinstance(value, Unit):
        return value.name
    if isinstance(value, Limit):
        return value.model_dump()
    if is_dataclass(value):
        return {each.name: as_json(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, list | tuple):
        return [as_json(each) for each in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dt.date):
        return value.isoformat()
    return value
