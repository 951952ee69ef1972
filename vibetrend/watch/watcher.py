"""Watching: what has arrived is added, what that changed is told."""

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Literal

from vibetrend.checkup.records import EngineRecord
from vibetrend.checkup.standing import standing
from vibetrend.errors import LogbookError, ReadError, VibetrendError
from vibetrend.logbook import Logbook
from vibetrend.watch import folder as folders
from vibetrend.watch.defaults import read_defaults
from vibetrend.watch.events import Changed, Event, Kept, Remark, Stands
from vibetrend.watch.folder import Arrival
from vibetrend.watch.intake import Intake
from vibetrend.watch.memory import Memory
from vibetrend.watch.messenger import Messenger
from vibetrend.watch.notices import Notice, Standing
from vibetrend.watch.patience import Retry

_SAVE_SECONDS = 5.0  # between savings while many files are added
_BATCH_POLLS = 12  # a verdict waits this long for what is still arriving


class Watcher:
    """One folder being watched for one logbook; `poll` it again and again."""

    def __init__(
        self,
        folder: Path,
        memory: Memory,
        *,
        logbook: Path,
        intake: Intake,
        messenger: Messenger,
        words: Callable[[EngineRecord], str],
        clock: Callable[[], float],
        now: Callable[[], dt.datetime],
    ) -> None:
        """Prepare to watch; nothing is looked at yet.

        Parameters
        ----------
        words : callable
            Says where an engine stands, for the text of a notice.
        clock : callable
            Seconds that never run back.
        now : callable
            The local time with its zone.
        """
        self.folder = folder
        self.blocked = False  # whether folder or logbook cannot be used just now
        self.idle = False  # whether all that is there was dealt with
        self.records: list[EngineRecord] = []  # as last judged
        self._memory = memory
        self._logbook = logbook
        self._intake = intake
        self._messenger = messenger
        self._words = words
        self._clock = clock
        self._now = now
        self._retry = Retry(clock, first_seconds=60.0, longest_seconds=3600.0)
        self._said: dict[str, str] = {}  # by what stands in the way: how it was told
        self._saved_at = clock()
        self._engines = set(memory.told)
        self._filed: set[int] = set()  # series added to since the last verdict
        self._owed: Literal["start", "batch", "day"] | None = "start"  # why a verdict is due
        self._owed_polls = 0
        self._judged_on: dt.date | None = None

    def start(self) -> None:
        """See that watching can work at all.

        Raises
        ------
        VibetrendError
            If the folder was never there, its folder file is wrong, or no engine or an unknown
            one is stated.
        """
        try:
            found = folders.look_into(self.folder)
        except OSError as error:
            if self._memory.files:
                return  # it has been there; `poll` says that it is not now
            raise folders.unreadable(self.folder, error) from error
        own = self.folder / folders.DEFAULTS
        stated = read_defaults([own] if own.is_file() else [])
        engine = self._intake.filing.engine or stated.engine
        if engine is not None:
            with Logbook.open(self._logbook) as book:
                book.engine(engine)
            self._engines.add(engine)
        elif not found.defaults:
            raise ReadError(
                f'{self.folder}: no engine is stated; write engine = "NAME" into {own}, or add '
                f"--engine NAME"
            )

    def poll(self) -> Iterator[Event]:
        """Look once, add what has arrived, judge, tell; yields what is worth saying."""
        self.blocked = False
        try:
            found = folders.look_into(self.folder)
        except OSError as error:
            self.blocked = True
            yield from self._in_the_way(
                "folder-gone", f"{folders.unreadable(self.folder, error)}; watching goes on"
            )
        else:
            yield from self._cleared("folder-gone", "folder-back", f"{self.folder}: back again")
            for reason in found.left_out.values():
                yield from self._in_the_way(reason, reason, code="left-out")
            yield from self._intake.late_side_files(found.arrivals)
            yield from self._add(self._intake.arrived(found.arrivals))
        if self._judged_on not in (None, self._now().date()):
            self._owed = self._owed or "day"
        self._owed_polls += 1
        more = self._intake.arriving and self._owed_polls < _BATCH_POLLS
        if self._owed and not (self._owed == "batch" and more):
            yield from self._judge()
        yield from self._messenger.deliver()
        yield from self._save()
        self.idle = not self._intake.arriving and self._owed is None and not self.blocked

    def _add(self, arrived: list[Arrival]) -> Iterator[Event]:
        if not arrived:
            return
        if not self._retry.due("logbook"):
            self.blocked = True
            return
        try:
            with Logbook.open(self._logbook) as book:
                for arrival in arrived:
                    for event in self._intake.add(book, arrival, today=self._now().date()):
                        if isinstance(event, Kept):
                            self._owe(event)
                        yield event
                    if self._clock() - self._saved_at > _SAVE_SECONDS:
                        yield from self._save()
        except LogbookError as error:
            yield from self._no_logbook(error)
        else:
            yield from self._logbook_works()

    def _owe(self, kept: Kept) -> None:
        """Take note that a verdict is due."""
        self._engines.add(kept.engine)
        if kept.added.measurement is not None:
            self._filed.add(kept.added.kept.series_id)
        if self._owed is None:
            self._owed, self._owed_polls = "batch", 0

    def _judge(self) -> Iterator[Event]:
        if not self._retry.due("logbook"):
            self.blocked = True
            return
        now = self._now()
        try:
            with Logbook.open(self._logbook) as book:
                names = [name for name in book.engine_names() if name in self._engines]
                self.records = standing(book, names, today=now.date()) if names else []
        except VibetrendError as error:
            yield from self._no_logbook(error)
            return
        yield from self._logbook_works()
        owed, filed = self._owed, frozenset(self._filed)
        self._owed = None
        self._filed.clear()
        self._judged_on = now.date()
        notices = [
            notice for record in self.records if (notice := self._notice(record, now)) is not None
        ]
        yield from self._save()  # before anything is told, so that nothing is told twice
        if self.records and (owed != "day" or notices):
            yield Stands(self.records, filed)
        for notice in notices:
            yield Changed(notice)

    def _notice(self, record: EngineRecord, now: dt.datetime) -> Notice | None:
        """Take notice of where an engine stands; return what is to be told of it."""
        name, stands = record.engine.name, Standing.of(record)
        before = self._memory.told.get(name)
        self._memory.tell(name, stands)
        # The first time an engine is looked at is no change, but nothing that asks is held back.
        if stands == before or (before is None and not stands.asks):
            return None
        notice = Notice(
            engine=name,
            before=before or Standing(),
            now=stands,
            text=self._words(record),
            made_at=now.isoformat(timespec="seconds"),
            command=self._messenger.run is not None,
            mail=self._messenger.mail_settings is not None,
        )
        self._memory.keep(notice)
        return notice

    # What stands in the way is told when it begins and when it ends

    def _no_logbook(self, error: VibetrendError) -> Iterator[Event]:
        self.blocked = True
        self._retry.failed("logbook")
        yield from self._in_the_way("logbook", f"{error}; it is tried again")

    def _logbook_works(self) -> Iterator[Event]:
        self._retry.worked("logbook")
        yield from self._cleared("logbook", "logbook-back", "the logbook can be used again")

    def _save(self) -> Iterator[Event]:
        try:
            self._memory.save()
        except OSError as error:
            yield from self._in_the_way(
                "memory",
                f"{self._memory.path}: cannot be written ({error.strerror or error}); what was "
                f"read is read again after the next start",
            )
        else:
            self._said.pop("memory", None)
        self._saved_at = self._clock()

    def _in_the_way(self, what: str, message: str, *, code: str | None = None) -> Iterator[Event]:
        if self._said.get(what) != message:
            self._said[what] = message
            yield Remark(code or what, message)

    def _cleared(self, what: str, code: str, message: str) -> Iterator[Event]:
        if self._said.pop(what, None) is not None:
            yield Remark(code, message)
