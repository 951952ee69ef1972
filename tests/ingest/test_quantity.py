"""Numbers with units against NIST SP 811 (2008), appendix B, and what is no such number."""

import pytest
from numpy.testing import assert_allclose

from vibetrend.errors import ReadError
from vibetrend.ingest.quantity import sensitivity, unit_of


@pytest.mark.parametrize(
    ("text", "si", "factor"),
    [
        ("g", "m/s^2", 9.80665),
        ("0.0039 g", "m/s^2", 0.0039 * 9.80665),
        ("0,0039 g", "m/s^2", 0.0039 * 9.80665),
        ("3.9e-3g", "m/s^2", 0.0039 * 9.80665),
        (" 61 µg ", "m/s^2", 61e-6 * 9.80665),
        ("8.75 mdps", "rad/s", 8.75e-3 * 1.745329e-2),  # B.8: degree, 7 digits printed
        ("0.5 mm/s", "m/s", 0.0005),
        ("1", "1", 1.0),
    ],
)
def test_what_one_count_stands_for(text: str, si: str, factor: float) -> None:
    found = unit_of(text)
    assert found.si == si
    assert_allclose(found.factor, factor, rtol=1e-6)


@pytest.mark.parametrize(
    ("text", "si", "volts_per_si"),
    [
        ("100 mV/g", "m/s^2", 0.1 / 9.80665),
        ("10.2 mV/(m/s^2)", "m/s^2", 0.0102),
        ("10,2 mV/m/s²", "m/s^2", 0.0102),
        ("10.2mV per ms-2", "m/s^2", 0.0102),
        ("50 mV/Pa", "Pa", 0.05),
        ("4 mV/(mm/s)", "m/s", 4.0),
        ("100 mV/(in/s)", "m/s", 0.1 / 0.0254),
        ("0.001 V/(deg/s)", "rad/s", 0.001 / 1.745329e-2),
    ],
)
def test_volts_for_a_unit(text: str, si: str, volts_per_si: float) -> None:
    found = sensitivity(text)
    assert found.unit.si == si
    assert_allclose(found.volts_per_si, volts_per_si, rtol=1e-6)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("0.5", "names no unit"),
        ("", "names no unit"),
        ("0 g", "number above 0"),
        ("-1 g", "number above 0"),
        ("1e999 g", "number above 0"),
        ("3 furlongs", "not known; write one of"),
    ],
)
def test_what_is_no_unit_is_said(text: str, message: str) -> None:
    with pytest.raises(ReadError, match=message):
        unit_of(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("100", "write e.g. '100 mV/g'"),
        ("mV/g", "write e.g. '100 mV/g'"),
        ("100 mV", "write e.g. '100 mV/g'"),
        ("100 g/mV", "write e.g. '100 mV/g'"),
        ("0 mV/g", "number above 0"),
        ("100 mV/V", "into no quantity"),
        ("100 mV/furlong", "not known; write one of"),
    ],
)
def test_what_is_no_sensitivity_is_said(text: str, message: str) -> None:
    with pytest.raises(ReadError, match=message):
        sensitivity(text)
