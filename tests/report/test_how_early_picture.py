"""The picture of how early: read back as XML."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

from vibetrend.errors import VibetrendError
from vibetrend.report.how_early import how_early_picture, write_picture

SVG = "{http://www.w3.org/2000/svg}"


def row(ageing: str, observable: str, hours: float | None, aged: float | None) -> dict[str, Any]:
    return {"ageing": ageing, "observable": observable, "hours": hours, "unit": "dB",
            "aged": "" if aged is None else f"stiffness {aged:+.0f} %",
            "why_not": "" if hours else "not noticed: it changes by less than 0.5 dB"}  # fmt: skip


ROWS = [
    row("rubber hardening", "critical speed", 1000.0, 5.0),
    row("rubber hardening", "an order at fast idle", None, None),
    row("rubber softening", "critical speed", 4000.0, -20.0),
]


def test_bars_are_as_long_as_the_hours() -> None:
    drawn = ET.fromstring(how_early_picture(ROWS, title="A & B"))
    bars = [box for box in drawn.iter(f"{SVG}rect") if box.get("class") == "course"]
    widths = [float(box.get("width", "").rstrip("%")) for box in bars]
    assert len(widths) == 2
    assert widths[1] / widths[0] == pytest.approx(4, rel=1e-3)
    said = [text.text for text in drawn.iter(f"{SVG}text")]
    assert said[0] == "A & B"
    for part in ("1000 h, stiffness +5 %", "4000 h, stiffness −20 %", "not noticed"):
        assert said.count(part) == 1
    assert said.count("rubber softening") == 1


def test_nothing_noticed_is_a_picture_too() -> None:
    drawn = how_early_picture(ROWS[1:2], title="nothing")
    assert "not noticed" in drawn
    assert not re.search(r"nan|inf", drawn)


def test_the_axis_goes_beyond_the_longest_bar() -> None:
    drawn = ET.fromstring(how_early_picture([row("a", "b", 8000.0, 5.0)], title="t"))
    said = [text.text for text in drawn.iter(f"{SVG}text")]
    assert "8000 h" in said
    (bar,) = [box for box in drawn.iter(f"{SVG}rect") if box.get("class") == "course"]
    marks = [float(str(each.get("x1")).rstrip("%")) for each in drawn.iter(f"{SVG}line")]
    assert float(bar.get("x", "0").rstrip("%")) + float(bar.get("width", "0").rstrip("%")) <= (
        max(marks) + 0.1
    )


def test_what_cannot_be_seen_is_not_said_to_be_unnoticed() -> None:
    unseen = row("a", "critical speed", None, None) | {"unit": "", "why_not": "too few samples"}
    late = row("a", "width", None, None) | {"why_not": "not within 4000 h: that takes damping +9 %"}
    drawn = how_early_picture([unseen, late], title="t")
    assert ">not seen<" in drawn
    assert "not seen: too few samples." in drawn
    assert ">not within 4000 h<" in drawn
    assert "not noticed" not in drawn


def test_only_an_older_picture_is_replaced(tmp_path: Path) -> None:
    place = tmp_path / "early.svg"
    for title in ("one", "two"):
        write_picture(place, how_early_picture(ROWS, title=title))
    assert ">two<" in place.read_text(encoding="utf-8")
    place.write_text("mine", encoding="utf-8")
    with pytest.raises(VibetrendError, match="is left alone; choose another --picture"):
        write_picture(place, how_early_picture(ROWS, title="three"))
