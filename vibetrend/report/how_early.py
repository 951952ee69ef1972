"""The picture of how early an ageing damper would be noticed: an SVG that stands by itself."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from textwrap import wrap
from typing import Any

from markupsafe import Markup

from vibetrend.report import drawing, writing

KIND = writing.Kind(name="picture", signature=b"<!-- vibetrend how early -->", option="--picture")

_WIDTH = 760  # px
_LINE, _TITLE, _TOP, _BOTTOM = 22.0, 38.0, 38.0, 36.0  # px
_NOTE, _FOOT_LETTERS = 17.0, 112  # px, letters: a line under the picture
_LEFT, _RIGHT = 24.0, 25.0  # per cent of the width, for names and for what is told at the end
_STYLE = Markup(
    "svg{font:12px system-ui,sans-serif;background:#fff}text{fill:#566270}"
    ".name{font-weight:600;fill:#1b2530}.grid{stroke:#e4e8ec}.course{fill:#8fa0b1}"
    ".dots{stroke:#1b2530;stroke-linecap:round}"
)


def how_early_picture(rows: Sequence[Mapping[str, Any]], *, title: str) -> str:
    """Return a bar of engine hours for each way of ageing and each thing that tells it.

    `rows` as `vibetrend.simulate.how_early` gives them: hours of none are infinite or None.
    """
    kinds = list(dict.fromkeys(row["ageing"] for row in rows))
    height = _TOP + len(kinds) * _TITLE + len(rows) * _LINE + _BOTTOM
    marks = _marks(max((row["hours"] for row in rows if _told(row)), default=1000.0))
    why_not = list(dict.fromkeys(row["why_not"] for row in rows if not row["unit"]))
    notes = [line for why in why_not for line in wrap(f"not seen: {why}.", _FOOT_LETTERS)]
    height += len(notes) * _NOTE
    frame = drawing.Frame(
        low_x=0, high_x=marks[-1], low_y=0, high_y=1, height=height, left=_LEFT, right=_RIGHT
    )
    ground = height - _BOTTOM - len(notes) * _NOTE
    parts = [drawing.text(1, 20, title, "name")]
    for hours in marks:
        parts.append(drawing.line(frame.x(hours), _TOP - 8, frame.x(hours), ground, "grid"))
        parts.append(drawing.text(frame.x(hours), ground + 16, f"{hours:g} h", anchor="middle"))
    y = _TOP
    for kind in kinds:
        y += _TITLE
        parts.append(drawing.text(1, y - 16, kind, "name"))
        for row in (each for each in rows if each["ageing"] == kind):
            parts += _bar(row, frame, y)
            y += _LINE
    for place, line in enumerate(notes):
        parts.append(drawing.text(1, ground + _BOTTOM + place * _NOTE, line))
    drawn = drawing.picture(parts, height=height, label=title)
    form = Markup(
        '{}\n<svg xmlns="http://www.w3.org/2000/svg" width="{}" height="{:g}"><style>{}</style>'
        "{}</svg>\n"
    )
    return str(form.format(Markup(KIND.signature.decode()), _WIDTH, height, _STYLE, drawn))


def write_picture(path: Path, picture: str) -> None:
    """Write it; an older one is replaced, no other file.

    Raises
    ------
    VibetrendError
        If it cannot be written, or another file has that name.
    """
    writing.write_all([writing.File(path=path, content=picture.encode(), kind=KIND)])


def _bar(row: Mapping[str, Any], frame: drawing.Frame, y: float) -> list[Markup]:
    name = drawing.text(_LEFT - 1.5, y + 4, row["observable"], anchor="end")
    if not _told(row):
        found = row["why_not"].partition(":")[0] if row["unit"] else "not seen"
        return [name, drawing.text(_LEFT + 0.5, y + 4, found)]
    end = frame.x(row["hours"])
    said = f"{row['hours']:g} h, {row['aged']}".replace("-", "−")
    return [
        name,
        drawing.box(_LEFT, y - 4, end, y + 4, "course"),
        drawing.dots([(end, y)], frame.height, 4),
        drawing.text(end + 1.2, y + 4, said),
    ]


def _marks(longest: float) -> list[float]:
    """Return the hours under the bars, from 0 to beyond the longest one."""
    raw = longest / 4
    power = 10 ** math.floor(math.log10(raw))
    step = next(power * each for each in (1.0, 2.0, 5.0, 10.0) if power * each >= raw)
    return [step * place for place in range(math.ceil(longest / step) + 1)]


def _told(row: Mapping[str, Any]) -> bool:
    return row["hours"] is not None and math.isfinite(row["hours"])
