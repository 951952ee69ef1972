"""Readings off an instrument and the maker's limits as text, in the units that are shown."""

from vibetrend.engine import Limit
from vibetrend.installation import Reading, digits
from vibetrend.installation.sentences import UNKNOWN, step
from vibetrend.quantities import Quantity, ShownUnits, Unit, unit
from vibetrend.report.isolating import isolated
from vibetrend.report.words import fixed
from vibetrend.trend.phrases import capital

STATE_WORDS = {
    "within": "Within the limit",
    "at-limit": "At the limit",
    "beyond": "Beyond the limit",
    "limit-unknown": "Limit not known",
    "information": "For information",
}


def state_words(reading: Reading) -> str:
    """Return where a reading stands, and on which side of the limit."""
    if reading.state == "beyond" and reading.side:
        return f"{capital(reading.side)} the limit"
    return STATE_WORDS[reading.state]


def value(reading: Reading, shown: ShownUnits) -> str:
    """Return what is held against the limit, with the digits that it was read to."""
    if reading.quantity is None:
        return "–"
    return digits.told(reading.quantity, shown, step(reading))


def as_read(reading: Reading, shown: ShownUnits) -> str:
    """Return the value in the unit it was entered in; empty where that one is shown anyway."""
    found = reading.quantity
    if found is None or shown.of(found).unit == found.unit:
        return ""
    return digits.with_unit(_places(found.value, step(reading)), found.unit)


def _places(value: float, known_to: Quantity | None) -> str:
    return f"{value:.6g}" if known_to is None else plain(value, digits.decimals(known_to.value))


def plain(number: float, places: int, *, sign: bool = False) -> str:
    """Return a number with a true minus; what rounds to zero has no sign."""
    return fixed(number, places, sign=sign).replace("-", "−")


def limit(one: Limit | None, shown: ShownUnits) -> str:
    """Return a limit in words."""
    if one is None:
        return UNKNOWN
    written = unit(one.unit)
    wanted = shown.of(Quantity(1.0, written)).unit
    return _limit(one, written.factor / wanted.factor, wanted)


def source(one: Limit | None, shown: ShownUnits, *, later: bool) -> str:
    """Return where a limit stands written, and how, where another unit is shown."""
    if one is None:
        return ""
    written = unit(one.unit)
    changed = shown.of(Quantity(1.0, written)).unit != written
    said = [f"{_limit(one, 1.0, written)} as written"] if changed else []
    said += [isolated(one.source), *(["written into the engine file later"] if later else [])]
    return "; ".join(said)


def _limit(one: Limit, factor: float, of: Unit) -> str:
    def told(number: float) -> str:
        # As it is written, or three digits of what was converted.
        return f"{number:g}" if factor == 1 else f"{factor * number:.3g}"

    if one.value is not None and one.tolerance is not None:
        value = told(one.value)
        around = f"{factor * one.tolerance:.{len(value.partition('.')[2])}f}"
        if factor == 1:
            around = told(one.tolerance)
        return digits.with_unit(f"{value} ± {around}", of)
    low, high = one.low, one.high
    if low is not None and high is not None:
        return digits.with_unit(f"{told(low)} to {told(high)}", of)
    if high is not None:
        return digits.with_unit(f"at most {told(high)}", of)
    if low is not None:
        return digits.with_unit(f"at least {told(low)}", of)
    return "–" if one.value is None else digits.with_unit(told(one.value), of)
