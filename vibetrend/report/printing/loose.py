"""Each picture of the page as a page of its own, to be made a PNG file for other uses."""

import datetime as dt
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from markupsafe import Markup
from PIL.PngImagePlugin import PngInfo

from vibetrend.checkup.records import EngineRecord
from vibetrend.errors import VibetrendError
from vibetrend.quantities import ShownUnits
from vibetrend.report import curves, histories, interference, pictures, words, work, writing
from vibetrend.report import shown as in_shown
from vibetrend.report.document import STYLES, document
from vibetrend.report.facts import Fact
from vibetrend.report.fitted import turns
from vibetrend.report.groups import Group
from vibetrend.report.interference import diagram
from vibetrend.report.isolating import isolating
from vibetrend.report.parts import SeriesPart, series_part
from vibetrend.report.printing import browser
from vibetrend.trend.phrases import capital

KIND = writing.Kind(name="picture", signature=b"Software\x00vibetrend", option="--png")

_WIDE, _NARROW = 1000, 620  # px
_DPI = 96 * browser.SCALE  # a pixel of a page is 1/96 in (CSS Values 4, section 6.2)
_LONGEST_NAME = 60  # bytes of a name within a file's name
_DARK = "(prefers-color-scheme: dark)"


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """One picture with what has to be said of it wherever it goes."""

    name: str  # what of it, e.g. "1-changes"
    engine: str
    what: str  # its title
    unit: str
    series: str = ""
    texts: Sequence[str] = ()
    drawn: Markup | None = None  # a table of changes has its `group` instead
    group: Group | None = field(default=None, repr=False)
    width: int = _WIDE


@dataclass(frozen=True, kw_only=True, eq=False)
class Loose:
    """A picture as a page of its own."""

    name: str  # of its file; they sort, and no two are alike in any file system
    html: str
    width: int

    def png(self, program: Path) -> bytes:
        """Let a browser draw it and return the file."""
        found = io.BytesIO()
        made = PngInfo()
        made.add_text("Software", "vibetrend")  # by this word ours are known
        drawn = browser.to_picture(self.html, program, width=self.width)
        drawn.save(found, "PNG", pnginfo=made, dpi=(_DPI, _DPI))
        return found.getvalue()


def loose(
    engines: Sequence[EngineRecord], *, made_at: dt.datetime, shown: ShownUnits
) -> list[Loose]:
    """Return every picture of some engines; none of a series without a baseline.

    Raises
    ------
    VibetrendError
        If there is none at all.
    """
    taken: set[str] = set()
    found = [
        Loose(name=_file_name(one, taken), html=_page(one, made_at), width=one.width)
        for record in engines
        for one in _of_engine(record, shown)
    ]
    if not found:
        raise VibetrendError(
            "there is nothing to draw yet: no series is judged and no run-out is entered; add "
            "recordings first, or leave out --png"
        )
    return found


def _page(one: Picture, made_at: dt.datetime) -> str:
    html = document(
        "picture.html.j2",
        interactive=False,
        styles=(*STYLES, "picture.css"),
        title=one.what,
        one=one,
        made_at=made_at,
        pictures=pictures,
    )
    # Light, whatever this computer's own colours are.
    return html.replace(_DARK, "not all")


def _file_name(one: Picture, taken: set[str]) -> str:
    """Return a file's name and put it to those taken; file systems may not tell A from a."""
    begins = f"{writing.file_name(one.engine, longest=_LONGEST_NAME)}-{one.name}"
    name, count = f"{begins}.png", 1
    while name.casefold() in taken:
        count += 1
        name = f"{begins}-{count}.png"
    taken.add(name.casefold())
    return name


def _of_engine(record: EngineRecord, shown: ShownUnits) -> Iterator[Picture]:
    digits, done = len(str(len(record.series))), work.marks(record)
    for at, one in enumerate(record.series, start=1):
        number = f"{at:0{digits}}"
        part = series_part(in_shown.series(one, shown), number, record, done, shown)
        if part.facts:
            yield from _of_series(part, record.engine.name)
    drawn = diagram(record)
    if drawn is not None:
        yield Picture(
            name="interference",
            engine=record.engine.name,
            what="Interference diagram",
            unit="natural frequencies in Hz, over rpm",
            drawn=interference.still(drawn),
            texts=(
                "Rising lines: orders. Dashed level lines: natural frequencies of the crankshaft "
                "by its model. Grey field: the speeds it runs at. Filled discs: where an order can "
                "excite it, the larger the more. Diamonds: what was measured.",
                *(f"{one.letter}: {one.name}." for one in drawn.measured),
                *([f"By typical values: {'; '.join(drawn.typical)}."] if drawn.typical else ()),
            ),
        )
    if record.installation_record is not None:
        yield from _run_out(record, shown)


def _of_series(part: SeriesPart, engine: str) -> Iterator[Picture]:
    record, level, marks = part.record, part.levels, part.marks
    legend = [f"{one.letter}: {one.name}." for one in marks]
    baseline = words.baseline_name(record)
    series = words.series_name(record.info)
    if part.ended_by:
        series += f" · ended by work: {part.ended_by.name}"

    def picture(name: str, what: str, unit: str, drawn: Markup, *texts: str) -> Picture:
        return Picture(
            name=f"{part.id}-{name}", engine=engine, series=series, what=what, unit=unit,
            drawn=drawn, texts=texts,
        )  # fmt: skip

    for group in part.groups:
        of = f" {group.title.lower()}" if group.title else ""
        yield Picture(
            name=f"{part.id}-changes{of.replace(' ', '-')}",
            engine=engine,
            series=series,
            what=f"{group.title or 'Change of each order'} against {baseline}",
            unit=f"change against {baseline} in {group.scale.unit}",
            group=group,
            texts=() if group.title else (
                "What all orders did together is taken out of these changes.",
            ),
        )  # fmt: skip
    # What most needs looking at, and all others that moved.
    for fact in part.with_history[:1] + [each for each in part.with_history[1:] if each.moved]:
        yield picture(
            f"history-{_feature(fact)}",
            f"History of {fact.name}",
            f"change against {baseline} in {part.group_of(fact).scale.unit}, over engine hours",
            histories.large_history(fact, level, part.group_of(fact).reach, marks),
            f"Small points are recordings, the line joins check-ups, crosses were left out. Grey "
            f"band: usual scatter. Thick piece at zero: the baseline's check-ups."
            f"{'' if part.sweep else ' What all orders did together is taken out.'}",
            *legend,
        )
    if part.sweep is not None:
        for curve in part.sweep.curves:
            yield picture(
                f"curve-order-{curve.order:04.1f}",
                f"{capital(curve.name)} against speed",
                f"amplitude in {curve.unit} rms, over rpm",
                curves.still(curve),
                f"Line: {part.sweep.latest}, thin uprights: its standard error."
                f"{f' Grey line: {part.sweep.reference}.' * bool(part.sweep.reference)}",
                *(f"{one.letter}: {one.name}." for one, _ in curve.critical),
            )
        return
    if drawn := histories.together_history(level, marks):
        yield picture(
            "together", "Everything together", "what all orders did together in dB, over engine "
            "hours", drawn, "Points are recordings, the line joins check-ups, crosses were left "
            "out.", *legend,
        )  # fmt: skip
    if drawn := pictures.checkup_map(part.facts, level):
        yield picture(
            "map",
            "All orders at all check-ups",
            f"change against {baseline} in dB, engine hours of the check-ups",
            drawn,
            "Each row an order, each column a check-up. Discs are rises, rings are falls; their "
            "area grows with the change; grey ones lie inside the usual scatter. What all orders "
            "did together is taken out.",
        )
    if record.latest is not None:
        under = record.reference
        said = f"Dots: {record.latest.label}."
        yield picture(
            "spectrum",
            f"Latest order spectrum{f' over {baseline}' if under else ''}",
            f"amplitude in {record.latest.unit} rms on a scale of decades, over order",
            pictures.spectrum(record.latest, under),
            f"{said} Grey rings: {under.label}." if under else said,
        )


def _feature(fact: Fact) -> str:
    """Return a feature's part of a file's name, e.g. ``order-04.5``, so that they sort."""
    if fact.feature == "order":
        return f"order-{fact.order:04.1f}"
    return writing.file_name(fact.feature.replace(":", "").replace(" ", "-"), longest=_LONGEST_NAME)


def _run_out(record: EngineRecord, shown: ShownUnits) -> Iterator[Picture]:
    kept = record.installation_record
    assert kept is not None
    apart: Callable[[str], str] = isolating(each.name for each in kept.readings)
    for one in turns.surfaces(kept, shown, apart):
        yield Picture(
            name=f"run-out-{writing.file_name(one.name, longest=_LONGEST_NAME)}",
            engine=record.engine.name,
            what=apart(f"Run-out of the {one.name}"),
            unit=f"readings in {shown.length.name}, {words.date(one.latest.date)}",
            drawn=one.drawn,
            texts=(
                *one.texts,
                one.key,
                "Dots: the readings at their stations. Thick line: the circle fitted to them. "
                "Straight arrow: towards the high side. Triangle at 12 o'clock: the mark. Curved "
                "arrow: the way the crank turns and angles count.",
            ),
            width=_NARROW,
        )
