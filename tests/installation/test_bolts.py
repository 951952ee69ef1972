"""Bolts: stages of torque and angle as they were written."""

import math

import pytest

from vibetrend.errors import InstallationError
from vibetrend.installation import Bolt, bolt_content
from vibetrend.installation.bolts import bolt_of
from vibetrend.quantities import unit


def bolt(*stages: str, **more: object) -> Bolt:
    return bolt_of(bolt_content("bolt 1", stages=list(stages), **more))


@pytest.mark.parametrize(
    ("written", "newton_metres"),
    [  # NIST SP 811: 1 lbf ft = 1.3558179483314004 N m
        ("50 N m", 50),
        ("50Nm", 50),
        ("135 lbf ft", 183.0354230247391),
        ("120 ft-lb", 162.69815379976805),
        ("10 kgf m", 98.0665),
        (" 16.5 lbf·ft ", 22.370996147468107),
    ],
)
def test_a_torque_is_read_with_its_unit(written: str, newton_metres: float) -> None:
    assert bolt(written).torque.si == pytest.approx(newton_metres, rel=1e-12)


def test_the_last_torque_counts_and_the_angles_after_it() -> None:
    found = bolt("40 N m", "80 N m", "60 deg", "30°")
    assert found.torque.value == 80
    assert found.angle is not None
    assert (found.angle.value, found.angle.unit) == (pytest.approx(90), unit("deg"))
    assert found.angle.si == pytest.approx(math.pi / 2)
    assert bolt("40 N m", "80 N m").angle is None
    assert bolt("40 N m", "90 deg", "100 N m").angle is None


def test_doubts_are_said() -> None:
    assert "cannot be compared for certain" in bolt("80 N m").remarks[0]
    assert bolt("80 N m", treatment="oiled").remarks == ()
    assert "loosened in between" in bolt("80 N m", "60 N m", treatment="dry").remarks[0]


@pytest.mark.parametrize(
    ("stages", "told"),
    [
        ([], "list them with units"),
        ("50 N m", "list them with units"),
        (["90 deg", "50 N m"], "a turn counts from a torque"),
        (["50"], "number and its unit"),
        (["fifty N m"], "number and its unit"),
        (["50 N m + 90 deg"], "neither a torque nor an angle"),
        (["50 N"], "neither a torque nor an angle"),
        (["0 N m"], "it must be above 0"),
        ([50], "number and its unit"),
    ],
)
def test_stages_that_cannot_be_read_are_told(stages: list[str], told: str) -> None:
    with pytest.raises(InstallationError, match=told):
        bolt_content("bolt 1", stages=stages)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"sequence": 0}, "write 1 for the first"),
        ({"sequence": True}, "write 1 for the first"),
        ({"new": "yes"}, "say yes or no"),
        ({"recheck": None}, "say yes or no"),
        ({"treatment": "oil\n"}, None),
        ({"treatment": "oil\x1b[2J"}, "control character"),
        ({"resolution": -1}, "above 0"),
    ],
)
def test_what_makes_no_sense_is_told(more: dict[str, object], told: str | None) -> None:
    if told is None:  # a line feed at the end is none of the text
        assert bolt("50 N m", **more).treatment == "oil"
        return
    with pytest.raises(InstallationError, match=told):
        bolt("50 N m", **more)


def test_a_bolt_needs_a_name() -> None:
    with pytest.raises(InstallationError, match="name is empty"):
        bolt_content(" ", stages=["50 N m"])
