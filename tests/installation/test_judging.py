"""Readings held against limits, in whatever units the two were written."""

import pytest

from vibetrend.engine import Limit
from vibetrend.installation.judging import Judgement, judged
from vibetrend.quantities import Quantity, unit


def limit(one: str, **ends: float) -> Limit:
    return Limit(unit=one, source="an invented manual", **ends)


def read(value: float, one: str) -> Quantity:
    return Quantity(value, unit(one))


# Common practice, no source: run-out within 0.060 in, pulley within 0.002 in, bolt 135 lbf ft,
# belt not below 105 lbf.


@pytest.mark.parametrize(
    ("value", "one", "state"),
    [
        (1.524, "mm", "within"),  # 0.060 in exactly, written otherwise
        (60, "thou", "within"),
        (1524, "um", "within"),
        (0.1 + 0.2, "mm", "within"),
        (1.5241, "mm", "beyond"),
        (60.001, "thou", "beyond"),
    ],
)
def test_exactly_on_a_limit_is_within_in_any_unit(value: float, one: str, state: str) -> None:
    assert judged(read(value, one), limit("in", max=0.060)).state == state


@pytest.mark.parametrize(
    ("value", "found"),
    [
        (50, Judgement("within")),
        (58.9, Judgement("within")),
        (59.5, Judgement("at-limit")),
        (60, Judgement("at-limit")),
        (60.9, Judgement("at-limit", "above")),
        (61, Judgement("beyond", "above")),
    ],
)
def test_nearer_than_the_resolution_is_too_close_to_tell(value: float, found: Judgement) -> None:
    assert judged(read(value, "thou"), limit("in", max=0.06), resolution=read(1, "thou")) == found


@pytest.mark.parametrize(
    ("value", "one", "ends", "state"),
    [
        # US Army TM 9-2320-312-24-2 gives both: 2.03 mm (0.080 in)
        (0.080, "in", {"max": 2.03}, "within"),
        (80, "thou", {"max": 2.03}, "within"),
        (81, "thou", {"max": 2.03}, "beyond"),
        (0.0801, "in", {"max": 2.03}, "beyond"),
        (2.032, "mm", {"max": 2.03}, "beyond"),  # in one unit there is nothing to round
        # a diesel maker's manual: 1.59 mm (1/16 in), 3.18 mm (1/8 in)
        (0.0625, "in", {"max": 1.59}, "within"),
        (0.125, "in", {"max": 3.18}, "within"),
        (0.126, "in", {"max": 3.18}, "beyond"),
    ],
)
def test_the_same_figure_rounded_in_another_unit_is_on_the_limit(
    value: float, one: str, ends: dict[str, float], state: str
) -> None:
    assert judged(read(value, one), limit("mm", **ends)).state == state


def test_the_same_figure_on_the_lower_side_and_as_a_value() -> None:
    least = limit("N m", min=190)  # 140 lbf ft is 189.8 N m
    assert judged(read(140, "lbf ft"), least) == Judgement("within")
    assert judged(read(139, "lbf ft"), least) == Judgement("beyond", "below")
    assert judged(read(140, "lbf ft"), limit("N m", value=190)) == Judgement("within")
    rough = read(1, "lbf ft")
    assert judged(read(140, "lbf ft"), least, resolution=rough) == Judgement("at-limit")
    assert judged(read(139.5, "lbf ft"), least, resolution=rough) == Judgement("at-limit", "below")


def test_a_resolution_in_another_unit() -> None:
    near = judged(read(1.53, "mm"), limit("in", max=0.06), resolution=read(1, "thou"))
    assert near.state == "at-limit"


def test_two_standard_errors_count_where_they_are_more() -> None:
    belt, least = read(480, "N"), limit("lbf", min=105)  # 467.06 N
    assert judged(belt, least, standard_error=read(5, "N")).state == "within"
    assert judged(belt, least, standard_error=read(7, "N")).state == "at-limit"
    assert judged(read(450, "N"), least, standard_error=read(7, "N")) == Judgement(
        "beyond", "below"
    )


@pytest.mark.parametrize(
    ("value", "found"),
    [
        (183, Judgement("within")),
        (176.3, Judgement("within")),  # 130 lbf ft is 176.256 N m
        (176.2, Judgement("beyond", "below")),
        (189.9, Judgement("beyond", "above")),  # 140 lbf ft is 189.8145 N m
    ],
)
def test_a_tolerance_reaches_to_both_sides(value: float, found: Judgement) -> None:
    assert judged(read(value, "N m"), limit("lbf ft", value=135, tolerance=5)) == found


@pytest.mark.parametrize(
    ("value", "resolution", "found"),
    [
        (135, None, Judgement("within")),
        (134, None, Judgement("beyond", "below")),
        (137, None, Judgement("beyond", "above")),
        (137, 5, Judgement("within")),
        (128, 5, Judgement("beyond", "below")),
    ],
)
def test_a_value_without_tolerance_is_reached_within_the_resolution(
    value: float, resolution: float | None, found: Judgement
) -> None:
    step = None if resolution is None else read(resolution, "lbf ft")
    assert judged(read(value, "lbf ft"), limit("lbf ft", value=135), resolution=step) == found


def test_a_value_beside_an_end_is_judged_by_the_end() -> None:
    """A maker's workshop manual: used belt 355 N, tighten again below 250 N."""
    used = limit("N", value=355, min=250)
    assert judged(read(300, "N"), used).state == "within"
    assert judged(read(249, "N"), used) == Judgement("beyond", "below")


def test_without_a_limit_it_is_unknown() -> None:
    assert judged(read(1, "mm"), None).state == "limit-unknown"
