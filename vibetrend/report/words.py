"""Numbers with honest digits, states in plain words, and sentences about one feature."""

import datetime as dt
import math
import re
from typing import Any

from markupsafe import Markup

from vibetrend.checkup.records import OrderSpectrum, SeriesRecord
from vibetrend.report.facts import Fact
from vibetrend.report.isolating import isolated
from vibetrend.trend import phrases, resonance
from vibetrend.trend.evidence import GRADUAL, SUDDEN

STATE_WORDS = {
    "no-baseline": "No baseline yet",
    "learning": "Baseline not complete",
    "no-change-seen": "No change seen",
    "record-again": "Record again now",
    "another-day": "Look again on another day",
    "all-moved": "Many orders moved at once",
    "changed": "Changed",
    "past-limit": "Past the limit",
}
RENEWAL_WORDS = {
    "unknown": "Not known",
    "ok": "Not due yet",
    "due-soon": "Due soon",
    "overdue": "Overdue",
}
NOTHING = "–"


# Numbers


def series_name(info: dict[str, Any]) -> str:
    """Return what sets a series apart, e.g. ``front cover · phone · acceleration``."""
    names = ("position", "device", "kind", "condition")
    parts = [isolated(str(info.get(name) or "")) for name in names]
    speed = info.get("speed_rpm")
    manner = str(info.get("manner") or "steady")
    ran = manner if speed is None else f"{manner} at {speed:.0f} rpm"
    return " · ".join(part for part in (*parts, ran) if part)


def baseline_name(series: SeriesRecord) -> str:
    """Return what a series is compared with, so that a damper as found is named as that."""
    if series.info["baseline"] != "as-found":
        return "the baseline"
    return f"the as-found baseline{_of_day(series)}"


def baseline_caution(series: SeriesRecord) -> str:
    """Return what a baseline on a damper as found cannot say; empty for a new damper."""
    if series.info["baseline"] != "as-found":
        return ""
    return (
        f"As-found baseline{_of_day(series)}: the damper was already there, so this shows "
        f"change since then only."
    )


def _of_day(series: SeriesRecord) -> str:
    days = series.recordings.loc[series.recordings["baseline"].astype(bool), "date"]
    return "" if days.empty else f" of {date(days.min())}"


_CIRCUMSTANCES = {
    "coolant_c": "coolant {:g} °C",
    "damper_c": "damper {:g} °C",
    "room_c": "engine room {:g} °C",
    "other_engine": "other engine {}",
    "alternator_load": "alternator load {}",
    "lying": "{}",
    "shore_power": "shore power {}",
    "automatic_gain": "automatic gain {}",
}


def circumstances(stated: dict[str, Any]) -> str:
    """Return what was stated beside the tags, e.g. ``coolant 82 °C, shore power off``."""
    return ", ".join(
        form.format(stated[name]) for name, form in _CIRCUMSTANCES.items() if name in stated
    )


def number(value: Any, digits: int = 0, *, sign: bool = False) -> Markup:
    """Return a number for a table; its full value stays readable in the ``value`` attribute.

    NaN and None give a dash, infinity ``never``. The minus is the plain one: a copied table keeps
    its signs in a spreadsheet.
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return Markup(NOTHING)
    if math.isinf(value):
        return Markup("never")
    form = Markup('<data value="{}">{}</data>')
    return form.format(repr(float(value)), fixed(float(value), digits, sign=sign))


def share(percent: float) -> Markup:
    """Return a chance in per cent for a table: no forecast knows certainty; NaN gives a dash."""
    if math.isnan(percent):
        return Markup(NOTHING)
    told = "<1" if percent < 1 else ">99" if percent > 99 else fixed(percent, 0)
    return Markup('<data class="share" value="{}">{}</data>').format(repr(float(percent)), told)


def rounded(value: Any, digits: int = 0, *, sign: bool = False) -> str:
    """Return a number as text alone, for wide tables whose full values nobody needs."""
    if value is None or not math.isfinite(value):
        return NOTHING
    return fixed(float(value), digits, sign=sign)


def fixed(value: float, digits: int, *, sign: bool = False) -> str:
    """Return a number with fixed digits; what rounds to zero has no sign."""
    text = f"{value:+z.{digits}f}" if sign else f"{value:z.{digits}f}"
    return text.removeprefix("+") if float(text) == 0 else text


def significant(value: Any) -> Markup:
    """Return a number with three significant digits, for amplitudes of any size."""
    return Markup('<data value="{}">{:#.3g}</data>').format(repr(float(value)), float(value))


def three_digits(value: float) -> str:
    """Return a number with three significant digits as text alone, without powers of ten."""
    if math.isnan(value):
        return NOTHING
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:#.3g}".removesuffix(".")


def peaks(spectrum: OrderSpectrum, most: int = 60) -> list[tuple[float, float]]:
    """Return order and amplitude of the largest values, by order; a table needs no curve."""
    rows = zip(spectrum.order.tolist(), spectrum.amplitude.tolist(), strict=True)
    return sorted(sorted(rows, key=lambda row: row[1], reverse=True)[:most])


def beside(
    latest: OrderSpectrum, reference: OrderSpectrum | None
) -> list[tuple[float, float, float | None]]:
    """Return order, amplitude and the reference's amplitude, by order; None where it has none."""
    under = {} if reference is None else dict(
        zip(reference.order.tolist(), reference.amplitude.tolist(), strict=True)
    )  # fmt: skip
    return [(order, level, under.get(order)) for order, level in peaks(latest)]


def hours(value: float) -> str:
    """Return whole engine hours with their unit."""
    return f"{value:.0f}\N{NO-BREAK SPACE}h"


def about(value: float) -> str:
    """Return hours ahead with two digits, rounded down: no forecast knows more."""
    return phrases.ahead(value).replace(" ", "\N{NO-BREAK SPACE}")


def _two_digits(value: float) -> int:
    step = 10 ** max(math.floor(math.log10(value)) - 1, 0) if value >= 1 else 1
    return step * math.floor(value / step)


def ahead(value: float, renewal_in_hours: float) -> Markup:
    """Return hours ahead for a table: two digits, and none beyond the damper's renewal."""
    if math.isnan(value):
        return Markup(NOTHING)
    if math.isinf(value):
        return Markup("never")
    told = "renewal" if value > renewal_in_hours else _two_digits(value)
    return Markup('<data class="ahead" value="{}">{}</data>').format(repr(float(value)), told)


def factor(change_db: float) -> str:
    """Return a change in dB as plain words, e.g. ``1.5 times``."""
    return f"{phrases.two_digits(10 ** (change_db / 20))} times"


def date(value: Any) -> str:
    """Return a date as 3 November 2026; what is no date as it is."""
    if isinstance(value, str):
        try:
            value = dt.date.fromisoformat(value[:10])
        except ValueError:
            return str(value)
    if not isinstance(value, dt.date) or value != value:  # NaT differs from itself
        return NOTHING
    return f"{value.day} {value:%B %Y}"


def with_dates(text: str) -> str:
    """Return a sentence of another room with its dates as 3 November 2026."""
    return re.sub(r"\b\d{4}-\d\d-\d\d\b", lambda found: date(found[0]), text)


# Sentences about one feature


def moved(fact: Fact) -> str:
    """Return which way and how far, e.g. ``order 4.5 is up 3.4 dB, 1.5 times its baseline``."""
    up = fact.change_db >= 0
    if resonance.is_resonance(fact.feature):
        return resonance.has_moved(
            fact.feature, fact.order, fact.change_db, rose=up, error_db=fact.change_error_db
        )
    way = "up" if up else "down"
    size = f"{'at least ' * fact.at_least}{abs(fact.change_db):.1f} dB"
    return f"{fact.name} is {way} {size}, {factor(fact.change_db)} its baseline"


def beyond(fact: Fact) -> str:
    """Return how the change compares with the usual scatter."""
    if math.isnan(fact.scatter_db) or fact.scatter_db <= 0:
        return "its usual scatter is not known yet"
    times = abs(fact.change_db) / fact.scatter_db
    scatter = resonance.scatter(fact.feature, fact.scatter_db)
    return f"{phrases.two_digits(times)} times its usual scatter of {scatter}"


def since(fact: Fact) -> str:
    """Return when it began and how it goes on; empty where the verdict does not say."""
    if not math.isfinite(fact.since_hours):
        return ""
    said = f"It left its level at about {_joined(phrases.at(fact.since_hours))}"
    way = "ris" if fact.change_db >= 0 else "fall"
    if math.isnan(fact.steady_share):
        return f"{said}; it is too early to say whether it goes on {way}ing."
    if fact.steady_share < SUDDEN:
        return f"{said}, in a jump."
    if fact.steady_share > GRADUAL:
        slope = f"{phrases.two_digits(abs(fact.slope_db_per_1000h))} dB"
        if resonance.in_percent(fact.feature):
            percent = resonance.percent_of(fact.slope_db_per_1000h)
            slope = f"{phrases.two_digits(abs(percent))} %"
        said += f" and {way}{'es' if way == 'ris' else 's'} by {slope} per {hours(1000)}"
    return f"{said}."


def until_limit(fact: Fact) -> str:
    """Return the hours to the limit, the early end first; empty where none can be told.

    Nothing is told of the time beyond the damper's renewal.
    """
    low, middle, high = fact.hours_to_limit_low, fact.hours_to_limit, fact.hours_to_limit_high
    if math.isnan(low) or math.isnan(fact.steady_share) or fact.state != "changed" or fact.ended:
        return ""
    limit = f"The limit of {fact.limit_db:+.1f} dB"
    if math.isinf(low):
        return f"{limit} is not in sight."
    due = _due(fact)
    if fact.renewal_in_hours <= 0:
        return f"No hours to the limit are told: the damper was due at {due}."
    if low >= fact.renewal_in_hours:
        return f"{limit} is not expected before the damper is due at {due}."
    left = math.inf if math.isnan(fact.renewal_in_hours) else fact.renewal_in_hours
    when = phrases.when_reached(low, middle, high, left=left, due=due)
    text = f"{limit} could be reached {_joined(when)}."
    if math.isfinite(fact.probability_never):
        text += f" Chance that it is never reached: {phrases.percent(fact.probability_never)}."
    return text


def _due(fact: Fact) -> str:
    """Return the hours of the renewal; those expected of a date are told to ten."""
    if fact.renewal_by_date:
        return f"about {hours(round(fact.renewal_hours, -1))}"
    return hours(fact.renewal_hours)


def _joined(text: str) -> str:
    """Return text whose hours stay on one line with their unit."""
    return re.sub(r"(?<=\d) h\b", "\N{NO-BREAK SPACE}h", text)


def smallness(fact: Fact) -> str:
    """Return that what moved does not matter, where the engine file says so."""
    return f"{phrases.capital(fact.name)} is small in absolute terms." if fact.small else ""


def count(number_of: int, thing: str) -> str:
    """Return e.g. ``3 check-ups``."""
    return f"{number_of} {thing}" + ("" if number_of == 1 else "s")
