"""Whether a damper was installed right, as far as its record tells: a line of the first screen."""

from collections.abc import Sequence

from vibetrend.checkup.records import EngineRecord
from vibetrend.installation import Reading, Record
from vibetrend.installation.sentences import UNKNOWN
from vibetrend.quantities import ShownUnits
from vibetrend.report.fitted import measured
from vibetrend.report.fitted.fitting import is_bare, what
from vibetrend.report.statement import Statement
from vibetrend.report.words import count

_LABEL = "Installation record"


def installation(record: EngineRecord, shown: ShownUnits) -> Statement | None:
    """Return the record's line on the first screen; None where no damper is recorded at all."""
    found = record.installation_record
    if found is None:
        return None
    if is_bare(found):
        return Statement(
            label=_LABEL,
            state="record-none",
            words="Nothing entered yet",
            text="Run-out, bolt torque and belt tension show how the damper sits. Enter them "
            "with: vibetrend installation.",
        )
    now = found.latest
    for state in ("beyond", "at-limit"):
        having = [each for each in now if each.state == state]
        if having:
            told, *besides = (_short(each, shown) for each in having)
            return Statement(
                label=_LABEL,
                state=f"reading-{state}",
                words=measured.state_words(having[0]),
                text=told,
                more=(*besides, *_lacks(found)),
            )
    return Statement(
        label=_LABEL,
        state="record-open" if found.missing else "record-complete",
        words="Complete" if not found.missing else "Finished" if found.finished else "Begun",
        text=_within(now),
        more=tuple(_lacks(found)),
    )


def _within(now: Sequence[Reading]) -> str:
    known = sum(each.state == "within" for each in now)
    unknown = sum(each.state == "limit-unknown" for each in now)
    said = [f"{count(known, 'reading')} within the maker's limits."] * bool(known)
    said += [f"For {count(unknown, 'reading')} {UNKNOWN}."] * bool(unknown)
    return " ".join(said) or "No reading is entered yet."


def _lacks(found: Record) -> list[str]:
    """Return how much is missing: what it is stands in the record."""
    number = len(found.missing)
    if not number:
        return []
    return [
        f"{count(number, 'point')} of a careful record {'is' if number == 1 else 'are'} missing."
    ]


def _short(reading: Reading, shown: ShownUnits) -> str:
    """Return a reading that is not within its limit in one line."""
    limit, source = measured.limit(reading.limit, shown), reading.limit and reading.limit.source
    return f"{what(reading)}: {measured.value(reading, shown)}; the maker's: {limit} ({source})."
