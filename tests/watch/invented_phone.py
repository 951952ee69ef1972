"""An invented engine, and a folder that an invented phone fills. No real boat, no real reading."""

import datetime as dt
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from vibetrend.engine import Engine
from vibetrend.ingest import Statements
from vibetrend.logbook import Logbook
from vibetrend.settings import MailSettings
from vibetrend.simulate import record, write_table
from vibetrend.watch.events import Event, Kept, Remark, SetAside
from vibetrend.watch.intake import Filing, Intake
from vibetrend.watch.memory import Memory
from vibetrend.watch.messenger import Messenger
from vibetrend.watch.watcher import Watcher

ENGINE = """\
name = "main"
cylinders = 6
fast_idle_rpm = 1080
[damper]
type = "rubber"
renew_hours = 4000
renew_years = 6
"""
FITTED = dt.date(2024, 6, 1)
FITTED_HOURS = 3120.0


def clip(path: Path, *, seed: int = 1, changes_db: Mapping[float, float] | None = None) -> Path:
    """Write a short recording, each placement a little different from the others."""
    rng = np.random.default_rng([11, seed])
    changes = {order / 2: 0.4 * rng.standard_normal() for order in range(1, 25)}
    for order, change in (changes_db or {}).items():
        changes[order] += change
    recording, _ = record(
        Engine.parse(ENGINE), rpm=1080, seconds=12, rate=200, seed=seed, changes_db=changes,
        common_db=0.5 * rng.standard_normal(),
    )  # fmt: skip
    write_table(recording, path)
    return path


class Phone:
    """A folder that fills, a logbook with an engine, and a watch whose clock is ours."""

    def __init__(self, place: Path) -> None:
        self.folder = place / "phone"
        self.logbook = place / "logbook"
        self.folder.mkdir()
        self.clock = 1000.0
        self.now = dt.datetime(2025, 6, 1, 12, tzinfo=dt.UTC)
        self.run: str | None = None
        self.mail: MailSettings | None = None
        with Logbook.open(self.logbook) as book:
            book.put_engine(ENGINE, Engine.parse(ENGINE))
            book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
        self.restart()

    def restart(
        self, *, engine: str | None = "main", baseline: bool = False, **options: Any
    ) -> "Phone":
        """Begin to watch anew, as after the program was ended; returns this."""
        stated: Statements = options or {"rpm": 1080.0}  # type: ignore[assignment]  # as typed
        self.memory, self.lost = Memory.load(self.logbook, self.folder)
        self.intake = Intake(
            self.memory,
            Filing(engine=engine, baseline=baseline, options=stated),
            clock=lambda: self.clock,
        )
        self.watcher = Watcher(
            self.folder,
            self.memory,
            logbook=self.logbook,
            intake=self.intake,
            messenger=Messenger(
                self.memory, run=self.run, mail_settings=self.mail, clock=lambda: self.clock
            ),
            words=lambda record: f"{record.engine.name} is {record.status['state']}",
            clock=lambda: self.clock,
            now=lambda: self.now,
        )
        return self

    def poll(self, times: int = 1) -> list[Event]:
        """Look so many times, five seconds apart."""
        events: list[Event] = []
        for _ in range(times):
            events += self.watcher.poll()
            self.clock += 5
        return events

    def settle(self) -> list[Event]:
        """Look until all that is there was dealt with."""
        events: list[Event] = []
        for _ in range(30):
            events += self.poll()
            if self.watcher.idle:
                return events
        raise AssertionError("it never comes to rest")

    def history(self) -> list[str]:
        """Return the id of each recording in the logbook, twice if it is there twice."""
        with Logbook.open(self.logbook) as book:
            return [
                str(each)
                for series in book.series("main")
                for each in book.recordings(series.id)["recording"]
            ]

    def tags(self) -> list[dict[str, Any]]:
        """Return what the logbook holds of each recording and its series."""
        with Logbook.open(self.logbook) as book:
            return [
                {"position": series.position, "device": series.device, "codec": series.codec,
                 "manner": series.manner, "kind": series.kind} | row
                for series in book.series("main")
                for row in book.recordings(series.id).to_dict(orient="records")
            ]  # fmt: skip


def kept(events: Iterable[Event]) -> list[str]:
    return [event.added.path for event in events if isinstance(event, Kept)]


def set_aside(events: Iterable[Event]) -> dict[str, str]:
    return {event.name: event.reason for event in events if isinstance(event, SetAside)}


def remarks(events: Iterable[Event]) -> list[str]:
    return [event.code for event in events if isinstance(event, Remark)]
