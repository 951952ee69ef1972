"""Factors of units against NIST SP 811 (2008), appendix B, and values derived from it."""

import pytest
from numpy.testing import assert_allclose

from vibetrend.errors import VibetrendError
from vibetrend.units import unit


@pytest.mark.parametrize(
    ("text", "kind", "si", "factor"),
    [
        ("m/s^2", "acceleration", "m/s^2", 1.0),
        ("g", "acceleration", "m/s^2", 9.80665),  # B.8: acceleration of free fall, standard
        ("mg", "acceleration", "m/s^2", 9.80665e-3),
        ("ft/s^2", "acceleration", "m/s^2", 0.3048),  # B.8: foot per second squared
        ("Gal", "acceleration", "m/s^2", 0.01),  # B.8: gal
        ("mm/s^2", "acceleration", "m/s^2", 1e-3),
        ("m/s", "velocity", "m/s", 1.0),
        ("mm/s", "velocity", "m/s", 1e-3),
        ("in/s", "velocity", "m/s", 0.0254),  # B.8: inch per second
        ("rad/s", "rotation", "rad/s", 1.0),
        ("deg/s", "rotation", "rad/s", 1.745329e-2),  # B.8: degree, 7 digits printed
        ("Pa", "pressure", "Pa", 1.0),
        ("kPa", "pressure", "Pa", 1e3),
        ("bar", "pressure", "Pa", 1e5),  # B.8: bar
        ("mV", "other", "V", 1e-3),
        ("in/s^2", "acceleration", "m/s^2", 0.0254),  # B.8: inch per second squared
        ("hPa", "pressure", "Pa", 100.0),
        ("1", "sound", "1", 1.0),
    ],
)
def test_factor_to_si(text: str, kind: str, si: str, factor: float) -> None:
    found = unit(text)
    assert (found.kind, found.si) == (kind, si)
    assert_allclose(found.factor, factor, rtol=1e-6 if text == "deg/s" else 1e-15)


def test_units_agree_with_each_other() -> None:
    """references.md, section 2: 1 g = 386.08858 in/s^2, 1000 r/min = 104.719755 rad/s."""
    assert_allclose(unit("g").factor / unit("in/s").factor, 386.08858, rtol=1e-7)
    assert_allclose(unit("deg/s").factor * 6 * 1000, 104.719755, rtol=1e-8)
    assert_allclose(unit("ft/s^2").factor / unit("in/s").factor, 12, rtol=1e-15)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        *((text, "m/s^2") for text in ("m/s²", "[m/s^2]", "(m/s²)", " m / s2 ", "m/s**2")),
        *((text, "m/s^2") for text in ("m s^-2", "ms-2", "m*s^-2")),
        *((text, "g") for text in ("[g]", "G", "gn", "g0")),
        *((text, "deg/s") for text in ("°/s", "dps", "Deg/s")),
        *((text, "m/s^2") for text in ("m s⁻²", "m·s⁻²", "m/s/s", "m/sec²", "m_per_s2")),
        *((text, "m/s^2") for text in ("meters per second squared", "metre/second^2")),
        *((text, "g") for text in ("g's", "Gs", "g-force")),
        *((text, "ft/s^2") for text in ("ft/s2", "ft/s/s", "feet per second squared")),
        *((text, "deg/s") for text in ("°/sec", "degrees per second", "deg s^-1", "deg/second")),
        *((text, "rad/s") for text in ("rad s⁻¹", "rad·s⁻¹", "radians/second", "rad/sec")),
        *((text, "mm/s") for text in ("mm/sec", "mm s-1")),
        *((text, "V") for text in ("v", "Volt", "volts")),
        ("ips", "in/s"),
        ("µg", "ug"),
        ("mdps", "mdeg/s"),
        ("KPA", "kPa"),
        ("milli-g", "mg"),
        ("FS", "1"),
    ],
)
def test_spellings_people_and_loggers_use(written: str, meant: str) -> None:
    assert unit(written) == unit(meant)


@pytest.mark.parametrize("text", ["", "furlong", "m", "s", "MPa", "ms²", "m/s^3"])
def test_unknown_units_are_refused_with_those_that_are_known(text: str) -> None:
    with pytest.raises(VibetrendError, match=r"is not known; write one of m/s\^2, .*, g, ") as said:
        unit(text)
    assert repr(text) in str(said.value)
