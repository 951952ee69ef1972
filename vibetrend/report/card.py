"""The recording card: one page to hang in the engine room, the same recording every time."""

import base64
import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.engine import Engine
from vibetrend.engine.recording_speed import conflict_words, recording_speed
from vibetrend.errors import VibetrendError
from vibetrend.report.card_sweep import SweptCard, swept_card, swept_series
from vibetrend.report.document import CARD, Paper, document
from vibetrend.report.due import clock, next_recording, renewal
from vibetrend.report.isolating import isolated
from vibetrend.report.link import Link
from vibetrend.report.statement import Statement
from vibetrend.report.words import circumstances, date, series_name
from vibetrend.shell import typed
from vibetrend.trend.gate import SPEED_BAND, WARM_BAND_C
from vibetrend.trend.phrases import capital

PHOTO_SIDE = 1200  # pixels: 80 mm of paper at 300 to the inch, and some to look closer on a screen
LONGEST_PLACE = 120  # characters: what fits beside the picture

_QUIET = {"other_engine": "off", "alternator_load": "low", "shore_power": "off"}
_LONGEST_COMMAND = 260  # characters that a person types rather than points back at the card
_CROWDED = 350  # characters of names and places on a card that tells of sweeps as well
_LONGEST_WORDS = 100  # characters shown of a position, device or condition
_SMALLER = ((24, "large"), (60, "middle"), (160, "small"))
_WITHOUT_LINK = (
    "no QR code: give the page's address with --link, or once as link in the table [card] of "
    "settings.toml."
)


@dataclass(frozen=True, kw_only=True)
class Big:
    """One of the three things read at arm's length."""

    label: str
    value: str  # empty where it is to be written in by hand
    unit: str
    note: str


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step of a check-up: its few strong words, and the rest of the sentence."""

    strong: str
    rest: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Card:
    """What a card says."""

    engine: str
    vee: bool
    made_on: dt.date
    paper: Paper
    renewal: Statement
    series: dict[str, Any] | None  # what it was taken from: `SeriesRecord.info`
    same: dict[str, str]  # its position, device and condition as shown; empty where not known
    speed_rpm: float | None
    speed: Big
    warm: Big
    next: Big
    by_sound: bool
    spot: str  # the place in a person's words; empty where there is none
    photo: str  # a data address; empty without one
    steps: tuple[Step, ...]
    sweep: SweptCard | None
    command: tuple[str, ...]  # what to type afterwards, as words of a shell
    words_left_out: bool  # of position, device and condition: too long to be typed off a card
    baseline_open: bool
    link: Link | None
    remarks: tuple[str, ...]  # what the person who makes the card should know

    @property
    def crowded(self) -> bool:
        """Whether everything has to be smaller to stay on one page: much to say, and sweeps too."""
        if self.sweep is None:
            return False
        own = (self.engine, self.spot, *self.same.values(), self.sweep.where, self.next.note)
        address = self.link.url if self.link else ""
        overdue = self.renewal.state == "renewal-overdue"
        return overdue or sum(map(len, (*own, address, *self.command))) > _CROWDED

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        told = self.series or {}
        return {
            "engine": self.engine,
            "paper": self.paper,
            "series": told.get("id"),
            "speed_rpm": self.speed_rpm,
            **{name: told.get(name) for name in ("position", "device", "condition")},
            "renewal": self.renewal.state.removeprefix("renewal-"),
            "sweep": self.sweep and self.sweep.to_dict(),
            "photo": bool(self.photo),
            "link": self.link and self.link.url,
            "remarks": list(self.remarks),
        }


def card(
    record: EngineRecord,
    *,
    made_on: dt.date,
    paper: Paper = "A4",
    photo: bytes = b"",
    place: str = "",
    link: Link | None = None,
    run_up: bool = False,
) -> Card:
    """Return what an engine's card says.

    Parameters
    ----------
    made_on : date
        The clock.
    photo : bytes
        A JPEG picture of the spot; a sketch stands in for it.
    place : str
        The spot in a person's words; else the position of the series.
    run_up : bool
        Say how a run-up is made, although none was recorded.

    Raises
    ------
    VibetrendError
        If the place is too long to be read beside the picture, or a run-up is wanted of a
        generator set.
    """
    place = " ".join(place.split())
    if len(place) > LONGEST_PLACE:
        raise VibetrendError(
            f"the place has {len(place)} characters; shorten it to {LONGEST_PLACE} at most"
        )
    series = _series(record)
    info = None if series is None else series.info
    usual = {} if series is None else _usual(series)
    due = renewal(record, made_on)
    rpm = record.engine.usual_rpm if info is None else info["speed_rpm"]
    swept = swept_card(record, series, wanted=run_up)
    # A steady recording beside sweeps alone is made where they are made.
    told = info if (shown := series or swept_series(record)) is None else shown.info
    command, left_out = _command(record.engine.name, told)
    return Card(
        engine=record.engine.name,
        vee=record.engine.layout == "vee",
        made_on=made_on,
        paper=paper,
        renewal=replace(due, text=" ".join([due.text, *clock(record)])),
        series=told,
        same={name: _shortened(text) for name, text in _words(told).items()},
        speed_rpm=rpm,
        speed=_speed(rpm, record.engine, known=info is not None),
        warm=_warm(series),
        next=_next(record, made_on),
        by_sound=told is not None and told["kind"] == "sound",
        spot=place or _shortened(_words(told)["position"]),
        photo="data:image/jpeg;base64," + base64.b64encode(photo).decode("ascii") if photo else "",
        steps=_steps(record.engine, told, usual),
        sweep=swept,
        command=command,
        words_left_out=left_out,
        baseline_open=record.status["state"] in ("no-baseline", "learning"),
        link=link,
        remarks=tuple(_remarks(record, info, told, link)),
    )


def html(one: Card) -> str:
    """Return a card as one self-contained HTML text without any script."""
    return document(
        "card.html.j2",
        kind=CARD,
        interactive=False,
        styles=("card.css", f"card_{one.paper.lower()}.css"),
        title=f"Recording card: {isolated(one.engine)}",
        card=one,
        size=size,
    )


def size(text: str) -> str:
    """Return how large a text is shown, by its length: a long one must fit as well."""
    return next((name for longest, name in _SMALLER if len(text) <= longest), "tiny")


# What is always to be the same


def _series(record: EngineRecord) -> SeriesRecord | None:
    """Return the series to go on with: not ended, with a baseline, recorded last; if any."""
    steady = [one for one in record.series if one.info["manner"] == "steady"]
    return max(steady, key=_how_much_to_go_on_with, default=None)


def _how_much_to_go_on_with(one: SeriesRecord) -> tuple[bool, bool, float]:
    kept = one.recordings
    return not one.ended, bool(kept["baseline"].any()), float(kept["hours"].max())


def _words(info: dict[str, Any] | None) -> dict[str, str]:
    """Return position, device and condition; empty where nothing was recorded."""
    return {name: str(info[name]) if info else "" for name in ("position", "device", "condition")}


def _shortened(text: str) -> str:
    if len(text) <= _LONGEST_WORDS:
        return text
    return f"{text[: _LONGEST_WORDS - 2]} \N{HORIZONTAL ELLIPSIS}"


def _usual(series: SeriesRecord) -> dict[str, Any]:
    """Return the circumstances that half of the baseline or more state: the judge's rule."""
    stated = _of_baseline(series)
    found = {}
    for name in sorted({name for each in stated for name in each}):
        values = sorted(str(each[name]) for each in stated if name in each)
        usual = max(values, key=values.count)
        if 2 * values.count(usual) >= len(stated):
            found[name] = usual
    return found


def _of_baseline(series: SeriesRecord) -> list[dict[str, Any]]:
    """Return what each recording of the baseline states of the circumstances."""
    kept = series.recordings
    if "circumstances" not in kept:
        return []
    return [each or {} for each in kept.loc[kept["baseline"].astype(bool), "circumstances"]]


def _speed(rpm: float | None, engine: Engine, *, known: bool) -> Big:
    label = "Speed to set"
    if rpm is None:
        return Big(label=label, value="", unit="rpm", note="The same fast idle every time.")
    step = 10 if rpm >= 400 else 1  # what a rev counter shows
    low = step * math.ceil(rpm * (1 - SPEED_BAND) / step)
    high = step * math.floor(rpm * (1 + SPEED_BAND) / step)
    if engine.generator is not None:
        note = "Its governed speed, unloaded, breaker open."
    elif known:
        note = f"As always: {low} to {high} on the gauge can be compared."
    else:
        note = f"The same every time, from {low} to {high} on the gauge."
    return Big(label=label, value=f"{rpm:.0f}", unit="rpm", note=note)


def _warm(series: SeriesRecord | None) -> Big:
    label = "Warm-up"
    stated = [] if series is None else [each.get("coolant_c") for each in _of_baseline(series)]
    known = [float(each) for each in stated if each is not None]
    if not known:
        note = "Thermostat open. Write the coolant's temperature down."
        return Big(label=label, value="Warm", unit="", note=note)
    low, high = min(known), max(known)
    value = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    note = (
        f"Coolant as at the baseline: {low - WARM_BAND_C:.0f} to {high + WARM_BAND_C:.0f} °C can "
        f"be compared."
    )
    return Big(label=label, value=value, unit="°C", note=note)


def _next(record: EngineRecord, made_on: dt.date) -> Big:
    """Return when to record next; how often, where nothing tells."""
    label, often = "Next check-up", "Then every few hundred hours."
    due = next_recording(record, made_on)
    if due is None:
        return Big(label=label, value="", unit="h", note=often)
    hours, reached = record.status["hours"], record.next_recording
    said = due.text
    if hours is not None and record.status["next_recording_hours"] > hours:
        # From the hours last known it would be wrong as soon as the engine has run again.
        day = reached.middle if reached is not None else None
        said = f"Around {date(day)} by the use so far." if day and day > made_on else ""
    note = " ".join(each for each in (said, *due.more, often) if each)
    return Big(label=label, value=due.words, unit="", note=note)


def _steps(engine: Engine, info: dict[str, Any] | None, usual: dict[str, Any]) -> tuple[Step, ...]:
    sound = info is not None and info["kind"] == "sound"
    quiet = _QUIET | ({"automatic_gain": "off"} if sound else {}) | usual
    quiet = {name: value for name, value in quiet.items() if not name.endswith("_c")}
    charger = "" if quiet["shore_power"] == "on" else " and charger"
    if engine.generator is None:
        first = Step(strong="Warm engine, out of gear,", rest="guards on, someone at the controls.")
    else:
        first = Step(strong="Warm engine, breaker open,", rest="guards on.")
    gain = "" if info is not None else " For sound: automatic gain off."
    what = "Recorder" if sound else "Phone"
    spot = "on its stand" if sound else "flat and tight"
    again = "Recorder away and back:" if sound else "Phone off and on again:"
    way = "the same way round" if sound else "the same edge up"
    return (
        first,
        Step(strong=f"{capital(circumstances(quiet))}.", rest=f"Pumps{charger} off too.{gain}"),
        Step(strong="Set the speed,", rest="let it settle, read the rpm."),
        Step(strong=f"{what} {spot},", rest=f"{way}."),
        Step(strong="Hands away,", rest="stand back, record 60 seconds."),
        Step(strong=again, rest="three recordings."),
        Step(strong="Write down", rest="date, meter hours, rpm, coolant."),
    )


# Afterwards


def _command(name: str, info: dict[str, Any] | None) -> tuple[tuple[str, ...], bool]:
    """Return what to type, and whether position, device and condition are too long for that."""
    ending = "wav" if info is not None and info["kind"] == "sound" else "csv"
    words = [
        *("vibetrend", "add", *(f"{n}.{ending}" for n in (1, 2, 3)), "--engine", typed(name)),
        *("--rpm", "RPM", "--hours", "HOURS"),
    ]
    more = [
        word for what, text in _words(info).items() if text for word in (f"--{what}", typed(text))
    ]
    if len(" ".join([*words, *more])) > _LONGEST_COMMAND:
        return tuple(words), bool(more)
    return (*words, *more), False


def _remarks(
    record: EngineRecord,
    info: dict[str, Any] | None,
    told: dict[str, Any] | None,
    link: Link | None,
) -> Sequence[str]:
    """Return them; `info` is of the steady series shown, `told` of that or else of the sweeps."""
    said = []
    if link is None:
        said.append(_WITHOUT_LINK)
    elif link.of_a_file:
        said.append("the QR code leads to a file: only a device that holds that file opens it.")
    if info is None:
        speed = recording_speed(record.engine)
        if speed.conflicts and not speed.governed:
            wrong = "; ".join(conflict_words(speed.conflicts))
            better = f"; better is {speed.rpm:g} rpm" if speed.rpm != speed.present_rpm else ""
            said.append(f"at fast idle {wrong}{better}. See: vibetrend engine show")
    if told is None:
        said.append(
            "no recording yet: position, device and condition are left blank to be filled in."
        )
        return said
    for what, text in _words(told).items():
        if len(text) > _LONGEST_WORDS:
            said.append(
                f"the {what} has {len(text)} characters; the card shows the first, vibetrend "
                f"status all."
            )
    if told["ended"]:
        said.append(
            f"the series shown was ended by {told['ended']}; go on in the same way, with a new "
            f"baseline."
        )
    swept = swept_series(record)
    shown = {told["id"]} | ({swept.info["id"]} if swept else set())
    others = [one for one in record.series if not one.ended and one.info["id"] not in shown]
    if others:
        named = "; ".join(series_name(one.info) for one in others)
        said.append(f"the card shows {series_name(told)}. Not on it: {named}.")
    return said
