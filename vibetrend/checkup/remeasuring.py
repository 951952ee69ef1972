"""Measuring recordings again from their originals, by the method as it is now."""

import datetime as dt
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, cast

from vibetrend import hour_meter
from vibetrend.checkup.adding import described_then
from vibetrend.checkup.earlier import with_earlier
from vibetrend.checkup.records import SeriesRecord
from vibetrend.checkup.standing import standing
from vibetrend.checkup.what_changed import Rejudged, Remeasured, rejudged, remeasured
from vibetrend.errors import LogbookError, ReadError, VibetrendError
from vibetrend.ingest import Statements, read, tags
from vibetrend.logbook import Logbook, Remeasurable, keep_measurement, remeasurable
from vibetrend.logbook.trial import trial
from vibetrend.measuring import measure
from vibetrend.orders import Measurement
from vibetrend.orders.measurement import METHOD_VERSION
from vibetrend.recording import Circumstances, Note, Recording

Follow = Callable[[Sequence[Remeasurable]], Iterable[Remeasurable]]

_TAGS = (
    "position",
    "device",
    "condition",
    "manner",
    "end_rpm",
    *(each.name for each in fields(Circumstances)),
)
_RPM_TAKEN = re.compile(r"(?<=: )rpm [^,]*(?:, |$)")


@dataclass(frozen=True)
class LeftAsItWas:
    """A recording that cannot be measured again; its older result stays."""

    recording: str  # its short id
    why: str


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What measuring again came to."""

    recordings: tuple[Remeasured, ...]
    left: tuple[LeftAsItWas, ...]
    series: tuple[Rejudged, ...]  # those that hold one of the recordings
    kept: bool  # whether all of it is in the logbook now
    method_version: int = METHOD_VERSION

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "method_version": self.method_version,
            "kept": self.kept,
            "recordings": [each.to_dict() for each in self.recordings],
            "left": [vars(each) for each in self.left],
            "series": [each.to_dict() for each in self.series],
        }


def remeasure(
    logbook: Logbook,
    *,
    engine_name: str | None = None,
    every: bool = False,
    dry_run: bool = False,
    today: dt.date,
    follow: Follow = iter,
) -> Outcome:
    """Measure again what an earlier version of the method measured, and judge anew.

    Each recording is kept at once and by itself. Whatever stops this, the logbook is whole and
    the next time goes on from there; with `every` it begins anew. What cannot be measured again
    is left with its older result. Verdicts are kept as they are before and after.

    Parameters
    ----------
    engine_name : str, optional
        Only this engine; all if left out.
    every : bool
        Measure also what this version has measured.
    dry_run : bool
        Do it on a copy that is gone afterwards.
    follow : callable
        Hands out the recordings one by one, for whoever wants to show how far it has come.

    Raises
    ------
    LogbookError
        If there is no such engine, or the logbook cannot be read or written.
    """
    if dry_run:
        with trial(logbook) as copy:
            return _remeasure(copy, engine_name, every, today, follow, kept=False)
    if logbook.read_only:
        raise LogbookError(
            f"{logbook.folder}: it may only be read, so nothing can be kept that is measured "
            f"again; allow writing to it, or see what it would come to with --dry-run"
        )
    return _remeasure(logbook, engine_name, every, today, follow, kept=True)


def measured_again(logbook: Logbook, kept: Remeasurable) -> Measurement:
    """Read the original of a recording and measure it, as if the file were added now.

    What was stated counts as it is kept, and so does the engine as it was described for the
    damper that was on it.

    Raises
    ------
    VibetrendError
        If the original is missing, damaged, or cannot be read or measured by this version.
    """
    try:
        recording = _read_again(logbook, kept)
        engine = described_then(logbook, kept.engine_name, kept.date, kept.hours)
        return measure(recording, engine=engine or logbook.engine(kept.engine_name))
    except VibetrendError as error:
        raise type(error)(f"recording {kept.id} ({kept.name}): {error}") from error


def _remeasure(
    logbook: Logbook,
    engine_name: str | None,
    every: bool,
    today: dt.date,
    follow: Follow,
    *,
    kept: bool,
) -> Outcome:
    names = None if engine_name is None else [engine_name]
    before = _judged(logbook, names, today)
    found = [
        each
        for each in remeasurable(logbook, engine_name)
        if every or each.method_version < METHOD_VERSION
    ]
    done, left = [], []
    for each in follow(found):
        was = logbook.measurement(each.id)
        if not every and was["method_version"] >= METHOD_VERSION:
            continue  # another process has measured it meanwhile
        try:
            measurement = measured_again(logbook, each)
        except VibetrendError as error:
            left.append(LeftAsItWas(each.id, str(error)))
            continue
        now = measurement.to_dict()
        keep_measurement(logbook, each.id, measurement)
        done.append(remeasured(each, was, now))
    after = _judged(logbook, names, today) if found else before
    again = {each.recording for each in done}
    return Outcome(
        recordings=tuple(done),
        left=tuple(left),
        series=tuple(
            rejudged(name, one, before[key][1])
            for key, (name, one) in after.items()
            if key in before and not again.isdisjoint(one.recordings["recording"])
        ),
        kept=kept,
    )


def _judged(
    logbook: Logbook, names: Sequence[str] | None, today: dt.date
) -> dict[int, tuple[str, SeriesRecord]]:
    """Judge every series, those of earlier dampers too; return engine and record by series.

    Every verdict is kept: what was concluded from a method stays to be read beside what is
    concluded from the next.
    """
    found = {}
    for record in with_earlier(logbook, standing(logbook, names, today=today)):
        for one in record.earlier_series:
            logbook.keep_verdict(one.info["id"], one.verdict.to_dict(), one.verdict.state)
        for one in (*record.series, *record.earlier_series):
            found[int(one.info["id"])] = (record.engine.name, one)
    return found


def _read_again(logbook: Logbook, kept: Remeasurable) -> Recording:
    """Return a recording as it was read when it was added, with all that was stated then."""
    changes = logbook.meter_changes(kept.engine_name)
    stated: dict[str, Any] = {
        "rpm": kept.rpm,
        "hours": hour_meter.shown_hours(changes, kept.date, kept.hours),
        "date": kept.date,
        **{name: kept.tags.get(name) for name in _TAGS},
    }
    given = {name: value for name, value in stated.items() if value not in (None, "")}
    options = {**kept.reading, **given}
    tags.stated(options, where="as kept")  # no other keys get to `read`
    recording = _read(logbook.original(kept.sha256), cast(Statements, options))
    for name in ("kind", "unit"):
        was, now = kept.tags.get(name), getattr(recording, name)
        if was != now:
            raise ReadError(
                f"this version reads its {name} as {now!r}, and it was kept as {was!r}, so the two "
                f"results cannot be compared; its older one stays, and what is recorded from now "
                f"on makes a series of its own"
            )
    before = logbook.measurement(kept.id)
    assert recording.source is not None
    path = str(before["recording"]["path"] or kept.name)  # it was not read there now, but came so
    return replace(
        recording,
        notes=(*recording.notes, *_taken(before, kept.rpm, recording.notes)),
        source=replace(recording.source, path=path),
    )


def _read(original: bytes, options: Statements) -> Recording:
    """Read bytes as a file whose name tells nothing."""
    try:
        with tempfile.TemporaryDirectory(prefix="vibetrend-") as folder:
            file = Path(folder) / "original"
            file.write_bytes(original)
            try:
                return read(file, **options)
            except ReadError as error:
                raise ReadError(str(error).removeprefix(f"{file}: ")) from error
    except OSError as error:
        raise ReadError(
            f"it cannot be put into a temporary folder to be read "
            f"({(error.strerror or str(error)).lower()}); free some space, then try again"
        ) from error


def _taken(
    before: Mapping[str, Any], rpm: float | None, read_now: Sequence[Note]
) -> Iterator[Note]:
    """Give the notes on where a tag was taken from: the name a file had cannot be read again."""
    corrected = before["speed"]["tag_rpm"] != rpm
    for each in before["quality"]:
        message = each["message"]
        if each["code"] != "tag-assumed":
            continue
        if corrected:  # what counts now was taken from nowhere
            message = _RPM_TAKEN.sub("", message).removesuffix(", ")
        note = Note("tag-assumed", "note", message)
        if note not in read_now and not message.endswith(": "):
            yield note
