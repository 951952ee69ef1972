"""Units of instruments.

NIST Special Publication 811, appendix B, is where the factors are given: those in lb, in and ft
follow exactly from 1 in = 25.4 mm, 1 lb = 0.45359237 kg and g = 9.80665 m/s^2.
"""

import math

import pytest

from vibetrend.errors import VibetrendError
from vibetrend.quantities import Dimension, Quantity, ShownUnits, unit


@pytest.mark.parametrize(
    ("value", "name", "si"),
    [
        (1, "in", 0.0254),
        (1, "thou", 2.54e-5),
        (60, "0.001 in", 1.524e-3),
        (1, "lbf", 4.4482216152605),
        (1, "kgf", 9.80665),
        (1, "lbf ft", 1.3558179483314004),
        (1, "lbf in", 0.1129848290276167),
        (1, "kgf m", 9.80665),
        (1, "lb/ft", 1.4881639435695538),
        (1, "in/s", 0.0254),
        (180, "deg", math.pi),
        (1, "cSt", 1e-6),
        (50, "%", 0.5),
        # references.md, section 0, rows 10 and 11: 75 lbf are 333.62 N; a bolt of 135 lbf ft
        (75, "lbf", 333.616621),
        (135, "lbf ft", 183.0354230),
        (140, "lbf", 622.7510261),
    ],
)
def test_si_values(value: float, name: str, si: float) -> None:
    assert Quantity(value, unit(name)).si == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "texts"),
    [
        ("mm", ("mm", "MM", "millimetres", "Millimeter")),
        ("um", ("um", "µm", "μm", "micron")),
        ("thou", ("thou", "mil", "0.001 in", "0.001in", '0.001"', "1/1000 in")),
        ("in", ("in", "in.", "inch", '"', "″")),
        ("N m", ("N m", "Nm", "N·m", "N*m", "N-m", "newton metres")),
        ("lbf ft", ("lbf ft", "ft-lb", "ft.lbf", "lb-ft", "foot-pounds", "ft lbs", "lbf·ft")),
        ("lbf in", ("lbf in", "in-lb", "in.lbs")),
        ("kgf m", ("kgf m", "kgm", "mkg", "kpm")),
        ("lbf", ("lbf", "lb", "lbs", "pounds")),
        ("kN", ("kN", "kn")),
        ("deg", ("deg", "°", "degrees")),
        ("%", ("%", "percent")),
    ],
)
def test_a_unit_has_many_spellings(name: str, texts: tuple[str, ...]) -> None:
    assert {unit(text).name for text in texts} == {name}


@pytest.mark.parametrize(
    ("text", "dimension", "said"),
    [
        ("furlong", "length", r"unit 'furlong' is no unit of length known here; write one of mm,"),
        ("lbf", "torque", r"unit 'lbf' is no unit of torque known here; write one of N m, kgf m"),
        ("", "force", r"unit '' is no unit of force"),
        ("x" * 90, None, r"unit 'x{40}' is no unit of an instrument"),
    ],
)
def test_what_is_no_unit_of_that_kind(text: str, dimension: Dimension | None, said: str) -> None:
    with pytest.raises(VibetrendError, match=said):
        unit(text, dimension)


def test_there_and_back() -> None:
    torque = Quantity(135.0, unit("lbf ft"))
    assert torque.to(unit("N m")).to(unit("lbf ft")).value == pytest.approx(135, rel=1e-15)
    with pytest.raises(ValueError, match="mm is no unit of torque"):
        torque.to(unit("mm"))


def test_shown_as_wanted() -> None:
    shown = ShownUnits(length=unit("thou"), torque=unit("lbf ft"))
    assert shown.of(Quantity(1.524, unit("mm"))).value == pytest.approx(60)
    assert shown.of(Quantity(1.0, unit("N m"))).unit.name == "lbf ft"
    assert shown.of(Quantity(105.0, unit("lbf"))).unit.name == "N"
    assert shown.of(Quantity(90.0, unit("deg"))) == Quantity(90.0, unit("deg"))  # no choice
