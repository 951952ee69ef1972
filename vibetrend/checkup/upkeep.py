"""What an engine's hours and its installation record say: its dampers, and when one is due."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from vibetrend import hour_meter
from vibetrend.checkup.dampers import record
from vibetrend.checkup.records import KnownHours, PastInstallation
from vibetrend.engine import Damper, Engine
from vibetrend.installation import Record
from vibetrend.installation.renewal import Renewal, clock_doubt, renewal
from vibetrend.installation.use import Reached, Use, use
from vibetrend.logbook import Installation, Logbook

UNREADABLE = (
    "An entry of the installation record cannot be read; if it tells the damper's age, that is not "
    "counted here. What the record still lacks names the entry."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Upkeep:
    """One engine's hours, its dampers and when the present one is due."""

    hours: float | None  # true engine hours last known; None where none are
    hours_date: dt.date | None
    meter_hours: float | None  # what the hour meter shows at these
    log: tuple[KnownHours, ...]
    latest_day: dt.date | None  # of anything that was entered
    today: dt.date  # or the latest day, where that has not come yet
    use: Use | None
    record: Record | None  # of the present installation
    earlier: tuple[PastInstallation, ...]
    renewal: Renewal

    @property
    def meter_offset(self) -> float:
        """True hours less what the hour meter shows."""
        if self.hours is None or self.meter_hours is None:
            return 0.0
        return self.hours - self.meter_hours

    def reached(self, hours: float | None) -> Reached | None:
        """Return when hours are reached, today if they are; None where nothing tells."""
        if hours is None or self.hours is None:
            return None
        if hours <= self.hours:
            return Reached(middle=self.today, early=self.today, late=self.today)
        return None if self.use is None else self.use.when(hours)

    def to_dict(self) -> dict[str, Any]:
        """Return what ``status --json`` says of it beside the renewal."""
        return {
            "hours_date": self.hours_date and self.hours_date.isoformat(),
            "meter_hours": self.meter_hours,
            "installation": self.record and self.record.to_dict(),
            "earlier_installations": [
                each.record.to_dict()
                | {"until": each.until.isoformat(), "until_hours": each.until_hours}
                for each in self.earlier
            ],
        }


def upkeep(
    logbook: Logbook, engine: Engine, installations: Sequence[Installation], *, today: dt.date
) -> Upkeep:
    """Return an engine's upkeep.

    Parameters
    ----------
    engine
        As its present file describes it: limits and intervals that were missing when a damper
        was fitted may have been written in since.
    installations
        Of that engine, earliest first.
    """
    log = tuple(
        KnownHours(date=each.date, hours=each.hours, meter_hours=each.meter_hours, what=each.what)
        for each in logbook.known_hours(engine.name)
    )
    days = [each.date for each in log]
    days += [each.date for one in installations for each in logbook.entries(engine.name, one.id)]
    latest_day = max(days, default=None)
    now = max(today, latest_day or today)
    last = max(log, key=lambda each: (each.hours, each.date), default=None)
    used = use([(each.date, each.hours) for each in log], now)
    records = [record(logbook, each, engine) for each in installations]
    present = records[-1] if records else None
    changes = logbook.meter_changes(engine.name)
    due = (
        Renewal(state="unknown", due_date=None, due_hours=None, first=None, use=used)
        if present is None or last is None
        else _renewal(
            present,
            _intervals(installations[-1].engine.damper, engine.damper),
            last=last,
            used=used,
            today=now,
        )
    )
    return Upkeep(
        hours=None if last is None else last.hours,
        hours_date=None if last is None else last.date,
        meter_hours=None if last is None else hour_meter.shown_hours(changes, now, last.hours),
        log=log,
        latest_day=latest_day,
        today=now,
        use=used,
        record=present,
        earlier=tuple(
            PastInstallation(
                date=ended.date,
                hours=ended.hours,
                as_found=ended.as_found,
                until=after.date,
                until_hours=after.hours,
                record=ended,
            )
            for ended, after in pairwise(records)
        ),
        renewal=replace(due, remarks=(*clock_doubt(today, now), *due.remarks)),
    )


def _renewal(
    present: Record, damper: Damper, *, last: KnownHours, used: Use | None, today: dt.date
) -> Renewal:
    found = renewal(
        damper,
        fitted_date=present.date,
        fitted_hours=present.hours,
        today=today,
        hours=last.hours,
        hours_date=last.date,
        as_found=present.as_found,
        made_on=present.details.made_on,
        counts_from=present.details.counts_from,
        use=used,
    )
    if not present.unreadable:
        return found
    return replace(found, remarks=(UNREADABLE, *found.remarks))


def _intervals(frozen: Damper, described: Damper) -> Damper:
    """Return the maker's intervals: as they were at the fitting, else as written in since."""
    return frozen.model_copy(
        update={
            name: getattr(described, name)
            for name in ("renew_hours", "renew_years")
            if getattr(frozen, name) is None
        }
    )
