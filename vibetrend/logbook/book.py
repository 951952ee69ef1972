"""The logbook: one folder that keeps everything, for years, whatever happens to the power."""

import datetime as dt
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal, Self

import pandas as pd

from vibetrend.engine import Engine
from vibetrend.hashing import digest
from vibetrend.hour_meter import MeterChange
from vibetrend.logbook import (
    closing,
    engines,
    entries,
    filing,
    meter,
    recordings,
    tables,
    verdicts,
    works,
)
from vibetrend.logbook import hours as engine_hours
from vibetrend.logbook.checking import Checked, check, explain
from vibetrend.logbook.database import Database
from vibetrend.logbook.engines import EngineFile, Installation
from vibetrend.logbook.entries import Entry
from vibetrend.logbook.filing import Series
from vibetrend.logbook.hours import KnownHours
from vibetrend.logbook.meter import MeterEntry
from vibetrend.logbook.opening import ORIGINALS, opened
from vibetrend.logbook.originals import Originals
from vibetrend.logbook.recordings import KeptRecording
from vibetrend.logbook.works import Work

if TYPE_CHECKING:  # only the type: to look into a logbook, nothing has to be measured
    from vibetrend.orders.measurement import Measurement


class Logbook:
    """A folder with a database and the original of every recording; open one with `open`.

    Entries are only ever added, each whole or not at all; several processes may add and read at
    once. Every method raises LogbookError when disk or database fails, and changes nothing then.
    """

    def __init__(self, folder: Path, database: Database) -> None:
        """Wrap an opened database; use `open`."""
        self.folder = folder
        self.database = database
        self.originals = Originals(folder / ORIGINALS)

    @classmethod
    def open(cls, directory: str | Path, *, make: bool = True) -> "Logbook":
        """Open the logbook in a folder; `make` it (private to the user) where there is none."""
        folder = Path(directory)
        return cls(folder, opened(folder, make=make))

    @property
    def read_only(self) -> bool:
        """Whether nothing can be added: it may only be read, or the disk is full."""
        return bool(self.database.read_only)

    def check(self, *, printed: str = "") -> Checked:
        """Check that all is as it was entered, and that a hash `printed` once is still there."""
        return check(self, printed=printed)

    def close(self) -> None:
        """Let go of the files."""
        self.database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, _: object, error: BaseException | None, __: object) -> None:
        try:
            if error is not None:
                explain(self, error)
        finally:
            self.close()

    def put_engine(self, text: str, engine: Engine) -> Literal["added", "updated", "unchanged"]:
        """Keep an engine's file, `text` being what `engine` was read from; older ones stay."""
        with self.database.writing() as connection:
            return engines.put(connection, text, engine)

    def engine_names(self) -> list[str]:
        """Return the names of all engines, in the order they were added."""
        with self.database.reading() as connection:
            return engines.names(connection)

    def engine(self, name: str) -> Engine:
        """Return an engine as its current file describes it.

        Raises
        ------
        LogbookError
            If there is no such engine; lists those that are there.
        """
        return engines.parse(self.engine_text(name), name)

    def engine_text(self, name: str) -> str:
        """Return an engine's current file; raises LogbookError as `engine` does."""
        with self.database.reading() as connection:
            return engines.file_text(connection, name)

    def engine_files(self, name: str) -> list[EngineFile]:
        """Return every file of an engine, oldest first."""
        with self.database.reading() as connection:
            return engines.files(connection, name)

    def start_installation(
        self,
        engine_name: str,
        *,
        date: dt.date,
        hours: float,
        as_found: bool = False,
        details: Mapping[str, Any] | None = None,
    ) -> Installation:
        """Begin a damper's time on an engine, when its meter showed `hours`.

        It keeps a copy of the engine's current file. Recordings made since, and added before
        this was entered, are filed under it. The same date and hours again give the same one.
        `details` are kept as its entry of that kind; of several, the newest counts.

        Raises
        ------
        LogbookError
            If it lies before the engine's previous one, in date or in hours, its hours contradict
            what is known of the engine, or the details cannot be kept.
        """
        with self.database.writing() as connection:
            row = engines.start_installation(
                connection, engine_name, date=date, shown=hours, as_found=as_found
            )
            if details is not None:
                entries.add_to(
                    connection, row.engine_id, row.id, "details", date=date, content=details
                )
            filing.file_again(connection, row.engine_id)
            every = engines.installations(connection, engine_name)
            return next(each for each in every if each.id == row.id)

    def installations(self, engine_name: str) -> list[Installation]:
        """Return an engine's installations, earliest first."""
        with self.database.reading() as connection:
            return engines.installations(connection, engine_name)

    def add_entry(
        self,
        engine_name: str,
        kind: str,
        *,
        date: dt.date,
        content: Mapping[str, Any],
        file: BinaryIO | None = None,
    ) -> Entry:
        """Add to the record of the installation that was on the engine: the last begun by then.

        A `file` that belongs to it, as a photo, is kept like the original of a recording.

        The same again is one entry, marked `duplicate`. Where the newest counts ("details",
        "check" of an item, "finish"), it is the same only if nothing else was said since.

        Raises
        ------
        LogbookError
            If no installation had begun by then, or the content is not plain: texts of one line,
            finite numbers, lists and mappings of these, 20 kB in all.
        """
        with self.database.writing() as connection, ExitStack() as with_file:
            if file is not None:
                with_file.enter_context(self.originals.kept(digest(file), file))
            return entries.add(connection, engine_name, kind, date=date, content=content)

    def entries(self, engine_name: str, installation_id: int | None = None) -> list[Entry]:
        """Return the record of one installation, or of all, by date, then as it was added.

        What was dated after an installation that was entered late is part of that one.
        """
        with self.database.reading() as connection:
            found = entries.of_engine(connection, engines.number(connection, engine_name))
            return [each for each in found if installation_id in (None, each.installation_id)]

    def add_meter_reading(self, engine_name: str, *, date: dt.date, shown: float) -> MeterEntry:
        """Keep what the hour meter showed on a day; raises LogbookError where it cannot be."""
        with self.database.writing() as connection:
            return meter.add_reading(connection, engine_name, date=date, shown=shown)

    def change_meter(
        self,
        engine_name: str,
        *,
        date: dt.date,
        before: float,
        after: float,
        what: str,
        note: str = "",
    ) -> MeterEntry:
        """Keep that the hour meter was "replaced" or has "rolled-over".

        Entered late, it corrects the true hours of what was entered before it and made after it.

        Parameters
        ----------
        before, after : float
            What the old meter showed last, and the new one first (h).

        Raises
        ------
        LogbookError
            If it contradicts what is known of the engine.
        """
        with self.database.writing() as connection:
            kept = meter.change(
                connection, engine_name, date=date, before=before, after=after, what=what, note=note
            )
            if kept.recounted:
                filing.file_again(connection, engines.number(connection, engine_name))
            return kept

    def meter(self, engine_name: str) -> list[MeterEntry]:
        """Return the readings and changes of an engine's hour meter, by date."""
        with self.database.reading() as connection:
            return meter.of_engine(connection, engines.number(connection, engine_name))

    def meter_changes(self, engine_name: str) -> list[MeterChange]:
        """Return what `hour_meter` needs to tell true hours from what is shown, and back."""
        with self.database.reading() as connection:
            return engine_hours.changes(connection, engines.number(connection, engine_name))

    def known_hours(self, engine_name: str) -> list[KnownHours]:
        """Return everything known of an engine's hours, by date, then true hours."""
        with self.database.reading() as connection:
            return engine_hours.known(connection, engines.number(connection, engine_name))

    def add_work(
        self, engine_name: str, *, date: dt.date, hours: float, what: str, note: str = ""
    ) -> Work:
        """Keep what was done to an engine at `hours` of its meter and may have moved levels.

        It begins a new epoch of the installation: recordings made since, and added before this
        was entered, are filed under it. What has the same date and hours as the work lies before
        it if it was added before the work was entered, else after it. The same work again is one
        entry, marked `duplicate`.

        Raises
        ------
        LogbookError
            If no installation had begun by then, the hours contradict what is known of the
            engine, there is no such kind of work, or the note is no plain line.
        """
        with self.database.writing() as connection:
            work = works.add(connection, engine_name, date=date, shown=hours, what=what, note=note)
            engine_id = engines.number(connection, engine_name)
            if not work.duplicate:
                filing.file_again(connection, engine_id)
            return filing.with_neighbours(connection, engine_name, work)

    def work(self, engine_name: str) -> list[Work]:
        """Return the work on an engine, earliest first."""
        with self.database.reading() as connection:
            return works.of_engine(connection, engines.number(connection, engine_name))

    def find_recording(self, engine_name: str, sha256: str) -> KeptRecording | None:
        """Return the engine's recording with this content, None if there is none."""
        with self.database.reading() as connection:
            return recordings.find(connection, engines.number(connection, engine_name), sha256)

    def circumstances(self, engine_name: str, visit: str) -> dict[str, Any]:
        """Return what the recordings of a check-up state of the circumstances, the last first."""
        with self.database.reading() as connection:
            engine_id = engines.number(connection, engine_name)
            return recordings.circumstances(connection, engine_id, visit)

    def add_recording(
        self,
        engine_name: str,
        content: BinaryIO,
        measurement: "Measurement",
        *,
        visit: str,
        hours: float,
        date: dt.date,
        baseline: bool,
        before: bool,
    ) -> KeptRecording:
        """Keep a file's content, what was measured in it and what the person stated.

        Content that is there already stays as it is, whatever is stated now: the recording
        kept then comes back, marked `duplicate`. Tags come from `measurement.recording`.

        Parameters
        ----------
        hours : float
            What the hour meter showed when it was recorded.

        Raises
        ------
        LogbookError
            If `content` is not what was measured, the engine is not known, or what is stated
            makes no sense: hours that run back against the date of another recording, a check-up
            that holds recordings of another day, something recorded on the present damper as of
            the one before, or one more day for a baseline that is complete or that an ordinary
            check-up has ended.
        """
        recordings.check_entry(visit=visit, hours=hours, baseline=baseline, before=before)
        sha256 = recordings.check_content(content, measurement)
        # The original is safe on the disk before any entry speaks of it. A crash in between leaves
        # an original without an entry, which the next try makes use of.
        with self.database.writing() as connection, self.originals.kept(sha256, content):
            engine_id = engines.number(connection, engine_name)
            kept = recordings.find(connection, engine_id, sha256)
            if kept is not None:
                return replace(kept, duplicate=True)
            kept = recordings.add(
                connection,
                engine_id,
                sha256,
                measurement,
                visit=visit,
                shown=hours,
                date=date,
                baseline=baseline,
                before=before,
            )
            if baseline:
                closing.refuse_what_comes_late(connection, kept)
            return kept

    def series(self, engine_name: str) -> list[Series]:
        """Return the engine's series that hold recordings, in the order they were begun."""
        with self.database.reading() as connection:
            return filing.all_series(connection, engine_name)

    def recordings(self, series_id: int) -> pd.DataFrame:
        """Return a row for each recording of a series, by hours.

        Columns: `recording` (short id), `name`, `sha256`, `visit`, `hours`, `meter_hours`,
        `date` (datetime.date), `rpm` (as stated), `baseline`, `before`, `reading` (options of
        `ingest.read`), `circumstances` (a dict, as stated), `unusable`, `speed_rpm` (as measured,
        NaN if not found), `speed_standard_error_rpm`, `speed_spread_percent`, `method_version`,
        `quality` (list of dicts: code, severity, message), `overall` (of dicts: name, band_hz,
        value, unit), `added_at` (UTC).
        """
        with self.database.reading() as connection:
            filing.check_series(connection, series_id)
            return tables.recordings(connection, series_id)

    def history(self, series_id: int, *, before: bool = False) -> pd.DataFrame:
        """Return a row for each recording and feature of a series, as `judge` takes it.

        Columns: `recording` (short id), `visit`, `hours`, `order` (NaN for overall levels),
        `amplitude` (rms, above 0), `standard_error`, `baseline`, `feature`, `floor`, `visible`,
        `date`, `rpm` (measured, else as stated), `temperature_c` (coolant, as stated),
        `velocity_mm_s` (rms, of orders; NaN where it has no meaning), and `other_engine`,
        `alternator_load`, `lying` and `shore_power` (text as stated, None where not). Unusable
        recordings are left out, and so are those from before the damper was renewed, which
        `judge` must not see: with `before` it is these alone.
        """
        with self.database.reading() as connection:
            filing.check_series(connection, series_id)
            return tables.history(connection, series_id, before=before)

    def measurement(self, recording: str) -> dict[str, Any]:
        """Return what was measured in a recording, by its short id: `Measurement.to_dict()`."""
        with self.database.reading() as connection:
            return recordings.measured(connection, recording)

    def original(self, sha256: str) -> bytes:
        """Return the bytes kept of a recording or a file, checked against their digest.

        Raises
        ------
        LogbookError
            If they are missing or damaged.
        """
        return self.originals.read(sha256)

    def keep_verdict(
        self, series_id: int, verdict: dict[str, Any], state: str, *, newest: str | None = None
    ) -> None:
        """Keep a verdict, unless the last one says the same; `newest` is a recording's short id."""
        verdicts.keep(self.database, series_id, verdict, state, newest=newest)

    def verdicts(self, series_id: int) -> pd.DataFrame:
        """Return the verdicts kept of a series, oldest first.

        Columns: `made_at` (UTC), `state`, `newest` (date of the newest recording it knew).
        """
        with self.database.reading() as connection:
            filing.check_series(connection, series_id)
            return verdicts.table(connection, series_id)
