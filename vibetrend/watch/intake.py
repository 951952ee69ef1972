"""Taking in what has arrived: each file added once, or set aside with the reason."""

import datetime as dt
import importlib.metadata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from vibetrend.checkup.adding import add_file
from vibetrend.errors import LogbookError, ReadError, VibetrendError
from vibetrend.ingest import Statements
from vibetrend.logbook import Logbook
from vibetrend.recording import Recording
from vibetrend.watch import folder as folders
from vibetrend.watch.defaults import read_defaults
from vibetrend.watch.events import Event, Kept, Remark, SetAside
from vibetrend.watch.folder import Arrival
from vibetrend.watch.memory import Became, Memory, Seen, digest
from vibetrend.watch.patience import Retry, Settling


@dataclass(frozen=True, kw_only=True)
class Filing:
    """What was stated for everything that arrives."""

    engine: str | None = None  # counts more than a folder file's
    baseline: bool = False
    options: Statements = field(default_factory=Statements)


class Intake:
    """Takes in what one folder holds, for one logbook."""

    def __init__(self, memory: Memory, filing: Filing, *, clock: Callable[[], float]) -> None:
        """Prepare to take files in; `clock` gives seconds that never run back."""
        self.arriving = False  # whether files are still changing
        self.failed = False  # whether a file was set aside since the beginning
        self.filing = filing
        self._memory = memory
        self._settling = Settling()
        self._retry = Retry(clock, first_seconds=60.0, longest_seconds=3600.0)
        # With another version of this program, what could not be read may be readable.
        self._stated = digest((filing, importlib.metadata.version("vibetrend")))

    def arrived(self, arrivals: Mapping[str, Arrival]) -> list[Arrival]:
        """Return what is new or has changed and is no longer changing, oldest first."""
        new = {}
        for name, arrival in arrivals.items():
            seen = self._memory.files.get(name)
            if seen is not None and seen.became == "kept" and seen.stamp == arrival.stamp:
                continue
            stated = digest((self._stated, arrival.defaults))
            if seen is None or not seen.covers(arrival, stated):
                self._retry.worked(name)  # it has changed since: no reason to wait
            elif seen.became != "refused" or not self._retry.due(name):
                continue
            new[name] = (arrival, stated)
        settled, self.arriving = self._settling.look(new)
        return settled

    def add(self, book: Logbook, arrival: Arrival, *, today: dt.date) -> Iterator[Event]:
        """Add one file, or set it aside.

        Raises
        ------
        LogbookError
            If the logbook cannot be used, which is no fault of the file.
        """
        before = self._memory.files.get(arrival.name)
        try:
            defaults = read_defaults([Path(name) for name, *_ in arrival.defaults])
            engine = self.filing.engine or defaults.engine or _no_engine(arrival)
            added = add_file(
                book,
                arrival.path,
                engine_name=engine,
                today=today,
                baseline=self.filing.baseline,
                defaults=defaults.stated,
                complete=_needs(arrival),
                **self.filing.options,
            )
        except VibetrendError as error:
            if isinstance(error, LogbookError) and _from_outside(error):
                raise  # no file's fault
            yield from self._not_taken(arrival, error)
            return
        self._retry.worked(arrival.name)
        self._remember(arrival, "kept", added.kept.id)
        yield Kept(replace(added, path=arrival.name), engine)
        if before is not None and before.became == "kept" and before.said != added.kept.id:
            yield Remark(
                "changed-after",
                f"{arrival.name}: its content changed after it was added as {before.said}; both "
                f"are in the logbook now",
            )

    def late_side_files(self, arrivals: Mapping[str, Arrival]) -> Iterator[Event]:
        """Say which side files came too late to count."""
        none = digest(())
        for name, arrival in arrivals.items():
            seen = self._memory.files.get(name)
            if seen is None or seen.became != "kept" or (seen.sides == none and not arrival.sides):
                continue
            sides = digest(arrival.sides)
            if seen.sides != sides and seen.stamp == arrival.stamp:
                self._memory.remember(name, replace(seen, sides=sides))
                yield Remark(
                    "side-file-late",
                    f"{name}: its side file came or changed after it was added as {seen.said}; "
                    f"what it states was not used",
                )

    def _not_taken(self, arrival: Arrival, error: VibetrendError) -> Iterator[Event]:
        if folders.stamp_of(arrival.path) != arrival.stamp:
            self._settling.begin_again(arrival.name)  # still arriving, or gone
            self.arriving = True
            return
        # The disk, a program that holds the file, or what the logbook knows by then may change
        # without the file changing.
        later = isinstance(error, LogbookError) or _from_outside(error)
        if later:
            self._retry.failed(arrival.name)
        before = self._memory.files.get(arrival.name)
        self._remember(arrival, "refused" if later else "set-aside", str(error))
        self.failed = True
        if before is None or before.said != str(error) or before.stamp != arrival.stamp:
            yield SetAside(arrival.name, str(error), later)

    def _remember(self, arrival: Arrival, became: Became, said: str) -> None:
        stated = digest((self._stated, arrival.defaults))
        seen = Seen(became, arrival.stamp, digest(arrival.sides), stated, said)
        self._memory.remember(arrival.name, seen)


def _needs(arrival: Arrival) -> Callable[[Recording], Recording]:
    """Return what refuses a recording without rpm or hours, and says where to write them."""

    def complete(recording: Recording) -> Recording:
        missing = [key for key in ("rpm", "hours") if getattr(recording, key) is None]
        if missing:
            raise ReadError(
                f"{arrival.path}: {' and '.join(missing)} stated nowhere; write "
                f"{' and '.join(f'{key} = N' for key in missing)} into "
                f"{folders.side_name(arrival.path.name)} beside it"
            )
        return recording

    return complete


def _no_engine(arrival: Arrival) -> str:
    raise ReadError(
        f'{arrival.path}: no engine is stated; write engine = "NAME" into {folders.DEFAULTS} in '
        f"this folder, or start with --engine NAME"
    )


def _from_outside(error: BaseException | None) -> bool:
    """Say whether it was system or disk that failed, and not what a file or a person says."""
    while error is not None:
        # A damaged packed file is an OSError too, but one without a number.
        if isinstance(error, OSError) and error.errno is not None:
            return True
        if isinstance(error, LogbookError):
            cause = error.__cause__
            if cause is not None and not isinstance(cause, VibetrendError):
                return True
        error = error.__cause__
    return False
