"""Run-out of each surface as the page shows it: the picture, and what it says in words."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from vibetrend.installation import Reading, Record, RunOut, digits, moved_sentence, sentence
from vibetrend.installation.sentences import step
from vibetrend.quantities import Quantity, ShownUnits, Unit, unit
from vibetrend.report.fitted import measured, polar
from vibetrend.report.words import date, with_dates


@dataclass(frozen=True, kw_only=True, eq=False)
class Surface:
    """One surface: its first and its latest readings over each other."""

    name: str
    latest: Reading
    state: str  # of the latest readings, e.g. "reading-within"
    words: str
    drawn: Markup
    texts: tuple[str, ...]  # the latest readings in words, and what moved since the first
    key: str  # how the picture is drawn


def surfaces(record: Record, shown: ShownUnits, apart: Callable[[str], str]) -> list[Surface]:
    """Return the surfaces of a record in the order in which they were first read.

    What `apart` makes of a sentence has the names in it set apart.
    """
    sets: dict[str, list[tuple[Reading, RunOut]]] = {}
    for each in record.readings:
        if isinstance(each.details, RunOut):
            found = each.details.to(shown.length.name)
            sets.setdefault(each.name.casefold(), []).append((each, found))
    return [_surface(each, record, shown, apart) for each in sets.values()]


def _surface(
    sets: list[tuple[Reading, RunOut]],
    record: Record,
    shown: ShownUnits,
    apart: Callable[[str], str],
) -> Surface:
    latest, now = sets[-1]
    name = latest.name
    turns = [_turn(*each, shown.length) for each in [*sets[:1], *sets[-1:]][-len(sets) :]]
    limit = None
    if latest.limit is not None and latest.limit.high is not None:
        limit = Quantity(latest.limit.high, unit(latest.limit.unit)).to(shown.length).value
    scale = polar.scale(turns, limit)
    texts = [sentence(latest, shown)]
    texts += [
        with_dates(moved_sentence(each, shown))
        for each in record.moved
        if each.name.casefold() == name.casefold()
    ]
    texts = [apart(each) for each in texts]
    label = f"Run-out of the {name}, readings around the turn: {' '.join(texts)}"
    return Surface(
        name=name,
        latest=latest,
        state=f"reading-{latest.state}",
        words=measured.state_words(latest),
        drawn=polar.polar(turns, scale, limit=limit, label=label),
        texts=tuple(texts),
        key=_key(turns, scale, now, limit, shown.length),
    )


def _turn(reading: Reading, found: RunOut, length: Unit) -> polar.Turn:
    known_to = step(reading)
    places = digits.decimals(known_to.to(length).value) if known_to else 3
    doubt = 2 * found.angle_standard_error_deg
    return polar.Turn(
        when=date(reading.date),
        angles_deg=found.angles,
        deviation=tuple(each - found.mean for each in found.readings),
        labels=tuple(measured.plain(each, places, sign=True) for each in found.readings),
        eccentricity=found.eccentricity,
        high_deg=0.0 if math.isnan(found.angle_deg) else found.angle_deg,
        high_error_deg=doubt if found.is_eccentric else math.inf,
    )


def _key(
    turns: list[polar.Turn],
    scale: polar.Scale,
    now: RunOut,
    limit: float | None,
    length: Unit,
) -> str:
    """Say how exaggerated the picture is and what its colours stand for."""
    rings = digits.with_unit(f"{scale.ring:g}", length)
    said = [f"Exaggerated: from ring to ring {rings}."]
    if now.diameter is not None:
        times = scale.times(now.diameter.to(length).value)
        said = [f"Exaggerated about {_round(times)} times: from ring to ring {rings}."]
    *earlier, latest = turns
    if latest.stands_out:
        said.append(f"High side at about {clock(latest.high_deg)}.")
    if earlier:
        said.append(f"Filled and full: {latest.when}. Rings and dashed: {earlier[0].when}.")
    if limit is not None:
        near = polar.shows_limit(scale, limit)
        said.append("Grey band: as wide as the limit." if near else
                    "The limit is wider than the picture.")  # fmt: skip
    return " ".join(said)


def _round(times: float) -> str:
    """Return one digit: 200, 3000."""
    step = 10.0 ** math.floor(math.log10(times))
    return f"{step * round(times / step):.0f}"


def clock(angle_deg: float) -> str:
    """Return a direction on a clock face with the mark at 12: ``half past 1``."""
    halves = round(angle_deg / 15) % 24
    hour = halves // 2 or 12
    return f"half past {hour}" if halves % 2 else f"{hour} o'clock"
