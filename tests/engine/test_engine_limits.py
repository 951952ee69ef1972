"""A limit's ends and words. The numbers are common practice, no published source."""

from typing import Any

import pytest

from vibetrend.engine import Engine, Limit
from vibetrend.engine.limits import DIMENSIONS, GREATEST_ONLY, NAMES, Limits


@pytest.mark.parametrize(
    ("numbers", "low", "high", "words"),
    [
        ({"value": 135}, None, None, "135 lbf ft"),
        ({"value": 135, "tolerance": 5}, 130, 140, "135 ± 5 lbf ft"),
        ({"value": 135, "tolerance": 5, "max": 138}, 130, 138, "135 ± 5, at most 138 lbf ft"),
        ({"value": 135, "tolerance": 5, "min": 133}, 133, 140, "135 ± 5, at least 133 lbf ft"),
        ({"min": 130}, 130, None, "at least 130 lbf ft"),
        ({"min": 130, "max": 140}, 130, 140, "at least 130, at most 140 lbf ft"),
    ],
)
def test_ends_and_words(
    numbers: dict[str, float], low: float | None, high: float | None, words: str
) -> None:
    limit = Limit(**numbers, unit="lbf ft", source="manual")
    assert (limit.low, limit.high, limit.words) == (low, high, words)


def test_every_limit_has_a_name_and_is_a_field() -> None:
    assert set(DIMENSIONS) == set(NAMES) == set(Limits.model_fields)
    assert set(DIMENSIONS) > GREATEST_ONLY


def test_stated_limits_by_key() -> None:
    one: dict[str, Any] = {"max": 1.0, "unit": "mm", "source": "manual"}
    limits = Engine.of(
        {"name": "e", "cylinders": 4, "limits": {"face_wobble": one, "runout": {"rim": one}}}
    ).limits
    assert list(limits.stated()) == [("runout", "rim"), ("face_wobble",)]
