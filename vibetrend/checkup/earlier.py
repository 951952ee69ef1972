"""What only page and tables need: the series of the dampers before, as their history stands.

Nothing rests on them: no state, no advice, and no verdict on them is kept.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.checkup.series import series_record
from vibetrend.checkup.standing import ended
from vibetrend.logbook import Installation, Logbook


def with_earlier(logbook: Logbook, engines: Sequence[EngineRecord]) -> list[EngineRecord]:
    """Return the records with the series of each engine's dampers before, the latest first."""
    return [replace(each, earlier_series=tuple(_earlier(logbook, each))) for each in engines]


def _earlier(logbook: Logbook, of: EngineRecord) -> Iterator[SeriesRecord]:
    name = of.engine.name
    every, work = logbook.series(name), logbook.work(name)
    pairs = list(pairwise(logbook.installations(name)))
    for (one, after), damper in reversed(list(zip(pairs, of.earlier_installations, strict=True))):
        done = [each for each in work if each.installation_id == one.id]
        own = [each for each in every if each.installation == one]
        for each in sorted(own, key=lambda each: each.epoch, reverse=True):
            recordings = logbook.recordings(each.id)
            made = recordings.loc[~recordings["before"]]
            if len(made):
                said = "; ".join(filter(None, (ended(each, done), _renewed(after))))
                yield series_record(logbook, each, made, ended=said, damper=damper)


def _renewed(after: Installation) -> str:
    what = "another damper was found" if after.as_found else "the damper was renewed"
    return f"{what} on {after.date} at {after.hours:.0f} h"
