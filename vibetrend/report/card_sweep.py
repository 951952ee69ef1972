"""What a recording card says of slow run-ups: from where to where, how, and what to type."""

from dataclasses import dataclass

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.engine import Engine
from vibetrend.errors import EngineError
from vibetrend.report.statements import SWEPT
from vibetrend.shell import typed
from vibetrend.trend.sweeps import RUN_UP_CAUTIONS

_STEP_RPM = 10  # what a rev counter shows
_LONGEST_OPTIONS = 160  # characters that a person types off paper
_LONGEST_WHERE = 110


@dataclass(frozen=True, kw_only=True, eq=False)
class SweptCard:
    """The part of a card that is about sweeps."""

    manner: str
    start_rpm: float | None  # None where it is to be written in by hand
    end_rpm: float | None
    highest_rpm: float | None  # rated speed, which no sweep passes
    by_sound: bool
    where: str  # position and device in a person's words, where they are not the steady one's
    options: tuple[str, ...]  # to type in place of the steady one's --rpm, as words of a shell
    cautions: tuple[str, ...] = RUN_UP_CAUTIONS

    @property
    def name(self) -> str:
        """What several are called."""
        return f"{self.manner}s"

    def to_dict(self) -> dict[str, str | float | None]:
        """Return the JSON form."""
        return {"manner": self.manner, "start_rpm": self.start_rpm, "end_rpm": self.end_rpm}


def swept_series(record: EngineRecord) -> SeriesRecord | None:
    """Return the series of sweeps to go on with: not ended, recorded last; if any."""
    swept = [one for one in record.series if one.info["manner"] in SWEPT and not one.ended]
    return max(swept, key=lambda one: float(one.recordings["hours"].max()), default=None)


def swept_card(
    record: EngineRecord, steady: SeriesRecord | None, *, wanted: bool
) -> SweptCard | None:
    """Return what a card says of sweeps; None where there are none and none are wanted.

    Raises
    ------
    EngineError
        If they are wanted of a generator set, which is not swept.
    """
    series, engine = swept_series(record), record.engine
    if wanted and engine.generator is not None:
        raise EngineError(
            f"{engine.name} is a generator set: its governor holds one speed, so it makes no "
            f"run-up; leave out --run-up"
        )
    if series is None and not wanted:
        return None
    manner = "run-up" if series is None else str(series.info["manner"])
    start, end = _ends(series, engine, up=manner == "run-up")
    sound = series is None or series.info["kind"] == "sound"
    where = _where(series, steady)
    return SweptCard(
        manner=manner,
        start_rpm=start,
        end_rpm=end,
        highest_rpm=engine.rated_rpm,
        by_sound=sound,
        where=where,
        options=_options(manner, start, end, series if where else None),
    )


def _ends(
    series: SeriesRecord | None, engine: Engine, *, up: bool
) -> tuple[float | None, float | None]:
    """Return where it begins and ends as stated so far; where nobody knows, idle alone."""
    if series is not None:
        kept = series.recordings
        return _usual(series, "rpm"), _usual(series, "end_rpm") if "end_rpm" in kept else None
    return (engine.idle_rpm, None) if up else (None, engine.idle_rpm)


def _usual(series: SeriesRecord, column: str) -> float | None:
    stated = series.recordings[column].dropna()
    return float(round(stated.median() / _STEP_RPM) * _STEP_RPM) if len(stated) else None


def _where(series: SeriesRecord | None, steady: SeriesRecord | None) -> str:
    """Return where sweeps are recorded, where that is somewhere else."""
    if series is None or steady is None:
        return ""
    own, other = (
        tuple(str(one.info[name]) for name in ("position", "device", "condition"))
        for one in (series, steady)
    )
    text = "" if own == other else " · ".join(filter(None, own))
    return (
        text if len(text) <= _LONGEST_WHERE else f"{text[:_LONGEST_WHERE]} \N{HORIZONTAL ELLIPSIS}"
    )


def _options(
    manner: str, start: float | None, end: float | None, elsewhere: SeriesRecord | None
) -> tuple[str, ...]:
    words = [
        *("--manner", manner, "--rpm", "START" if start is None else f"{start:.0f}"),
        *("--end-rpm", "END" if end is None else f"{end:.0f}", "--damper-c", "DEGREES"),
    ]
    for name in ("position", "device", "condition") if elsewhere else ():
        if text := str(elsewhere.info[name]) if elsewhere else "":
            words += [f"--{name}", typed(text)]
    # What is too long to be typed stands under where they are recorded.
    return tuple(words if len(" ".join(words)) <= _LONGEST_OPTIONS else words[:8])
