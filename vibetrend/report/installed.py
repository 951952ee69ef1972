"""Whether a damper was installed right, as far as its record tells: a line of the first screen."""

from vibetrend.checkup.records import EngineRecord
from vibetrend.installation import Reading, Record
from vibetrend.quantities import ShownUnits
from vibetrend.report import measured
from vibetrend.report.fitting import is_bare, what
from vibetrend.report.statement import Statement
from vibetrend.report.words import count

_LABEL = "Installation record"
_MOST_MISSING = 2  # points told on the first screen


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
            text="Run-out, bolt torque and belt tension prove how the damper sits. Enter them "
            "with: vibetrend installation.",
        )
    now = present(found)
    for state in ("beyond", "at-limit"):
        having = [each for each in now if each.state == state]
        if having:
            told, *besides = (_short(each, shown) for each in having)
            return Statement(
                label=_LABEL,
                state=f"reading-{state}",
                words=measured.state_words(having[0]),
                text=told,
                more=(*besides, *_missing(found)),
            )
    return Statement(
        label=_LABEL,
        state="record-open" if found.missing else "record-complete",
        words="Complete" if not found.missing else "Finished" if found.finished else "Begun",
        text=_within(now),
        more=tuple(_missing(found)),
    )


def present(record: Record) -> list[Reading]:
    """Return the latest reading of each thing: one that was put right no longer counts."""
    found: dict[tuple[str, ...], Reading] = {}
    for each in record.readings:
        stage = each.stage if each.kind == "belt" else ""
        found[each.kind, each.name.casefold(), each.what, stage] = each
    return list(found.values())


def _within(now: list[Reading]) -> str:
    known = sum(each.state == "within" for each in now)
    unknown = sum(each.state == "limit-unknown" for each in now)
    said = [f"{count(known, 'reading')} within the maker's limits."] * bool(known)
    said += [f"For {count(unknown, 'reading')} {measured.UNKNOWN_LIMIT}."] * bool(unknown)
    return " ".join(said) or "No reading is entered yet."


def _missing(found: Record) -> list[str]:
    """Return the first points that are missing, and how many more there are."""
    others = len(found.missing) - _MOST_MISSING
    more = [f"{count(others, 'more point')} missing."] if others > 0 else []
    return [*found.missing[:_MOST_MISSING], *more]


def _short(reading: Reading, shown: ShownUnits) -> str:
    """Return a reading that is not within its limit in one line."""
    limit, source = measured.limit(reading.limit, shown), reading.limit and reading.limit.source
    return f"{what(reading)}: {measured.value(reading, shown)}; the maker's: {limit} ({source})."
