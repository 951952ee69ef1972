"""Times written as text, taken apart into time of day, fraction of a second, date and zone.

Among millions of stamps hardly one differs from that before in more than its seconds. Those digits
are read for all stamps of one length at once, the rest once for each time it changes.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from vibetrend.ingest.fields import MISSING
from vibetrend.recording import FloatArray

Stamps: TypeAlias = NDArray[np.bytes_]
"""Shape (n,), UTF-8; Python's texts would take three times the memory."""

LONGEST = 64  # bytes; what is longer is no time
_AT_ONCE = 500_000  # stamps
_LONGEST_MISSING = max(map(len, MISSING))
_ZONE = rb"\s*(?P<zone>Z|[+-]\d\d(?::?\d\d)?|[A-Z]{3,5})?"
_OF_DAY = (
    rb"(?P<h>\d{1,2}):(?P<m>\d\d)(?::(?P<s>\d\d))?(?:[.,:](?P<f>\d{1,9}))?"
    rb"\s*(?P<half>[AaPp]\.?[Mm]\.?)?" + _ZONE
)
_FORMS = tuple(
    re.compile(form)
    for form in (
        rb"(?P<date>\d{8})T(?P<h>\d\d)(?P<m>\d\d)(?P<s>\d\d)(?:[.,](?P<f>\d{1,9}))?(?P<half>)"
        + _ZONE,
        rb"(?:(?P<date>.*?\S),?[T\s]+)?(?P<h>\d{1,2})\.(?P<m>\d\d)\.(?P<s>\d\d)[.,](?P<f>\d{1,9})"
        rb"(?P<half>)(?P<zone>)",
        _OF_DAY + rb",?\s+(?P<date>\S*\d\D+\d.*)",
        rb"(?:(?P<date>.*?\S),?(?:[T\s]+|T))?" + _OF_DAY,
    )
)
_BLANKS = ("\N{NO-BREAK SPACE}".encode(), "\N{NARROW NO-BREAK SPACE}".encode())


@dataclass(frozen=True, eq=False)
class Parts:
    """What each of n stamps says; `dates` and `zones` list what is written, "" for nothing."""

    of_day: FloatArray  # (n,) whole seconds; NaN where the stamp cannot be read
    fraction: FloatArray  # (n,) of a second
    date: NDArray[np.int32]  # (n,) places in `dates`; any where the stamp cannot be read
    zone: NDArray[np.int32]  # (n,) places in `zones`, likewise
    dates: tuple[str, ...] = ()
    zones: tuple[str, ...] = ()

    @classmethod
    def unread(cls, count: int) -> "Parts":
        """Return those of stamps that cannot be read."""
        codes = np.zeros((2, count), dtype=np.int32)
        return cls(np.full(count, np.nan), np.zeros(count), *codes)

    def put(self, rows: slice | NDArray[np.intp], other: "Parts") -> None:
        """Put in what some of the stamps say."""
        self.of_day[rows], self.fraction[rows] = other.of_day, other.fraction
        self.date[rows], self.zone[rows] = other.date, other.zone


def of_texts(texts: Sequence[str]) -> Stamps:
    """Return texts, as typed columns hold them, as stamps."""
    return tidied(np.array([text.encode()[:LONGEST] for text in texts], dtype=f"S{LONGEST}"))


def tidied(stamps: Stamps) -> Stamps:
    """Return stamps without spaces around them, in as few bytes as they need."""
    if (np.ascontiguousarray(stamps).view(np.uint8) > 127).any():
        for blank in _BLANKS:
            stamps = np.strings.replace(stamps, blank, b" ")
    cut = np.flatnonzero(np.strings.str_len(stamps) >= LONGEST)
    stamps = np.strings.strip(stamps)
    for row in cut:  # perhaps to something that can be read
        stamps[row] = stamps[row][:40] + b" ..."
    return stamps.astype(f"S{max(1, int(np.strings.str_len(stamps).max(initial=0)))}")


def present(stamps: Stamps) -> NDArray[np.bool_]:
    """Say of each field whether it holds anything."""
    found = np.asarray(np.strings.str_len(stamps) > _LONGEST_MISSING)
    short = np.flatnonzero(~found)
    found[short] = [text_of(stamp) not in MISSING for stamp in stamps[short]]
    return found


def text_of(stamp: bytes) -> str:
    """Return one stamp as text."""
    return stamp.decode(errors="replace")


def taken_apart(columns: Sequence[Stamps]) -> Parts:
    """Take stamps apart; where they stand in two columns, a date and a time, these are joined."""
    reader = _Reader()
    whole = Parts.unread(len(columns[0]))
    for start in range(0, len(columns[0]), _AT_ONCE):
        rows = slice(start, start + _AT_ONCE)
        joined = columns[0][rows]
        for column in columns[1:]:
            joined = np.strings.add(np.strings.add(joined, b" "), column[rows])
        whole.put(rows, reader.read(np.strings.strip(joined)))
    return Parts(
        whole.of_day,
        whole.fraction,
        whole.date,
        whole.zone,
        dates=tuple(reader.dates),
        zones=tuple(reader.zones),
    )


class _Reader:
    """Reads stamps by and by; keeps the dates and zones seen so far, and how they are written."""

    def __init__(self) -> None:
        self.dates: dict[str, int] = {}
        self.zones: dict[str, int] = {}
        self._forms = _FORMS

    def read(self, stamps: Stamps) -> Parts:
        parts = Parts.unread(len(stamps))
        self._match(stamps[0])  # the form of most is that of the first
        lengths = np.strings.str_len(stamps)
        for length in np.flatnonzero(np.bincount(lengths)):
            rows = np.flatnonzero(lengths == length)
            alike = stamps[rows].astype(f"S{max(1, length)}")
            parts.put(rows, self._read_alike(alike))
        for row in np.flatnonzero(np.isnan(parts.of_day)):
            if match := self._match(stamps[row]):
                parts.put(np.array([row]), self._said([match]))
        return parts

    def _match(self, stamp: bytes) -> re.Match[bytes] | None:
        for form in self._forms:
            if match := form.fullmatch(stamp):
                self._forms = (form,)
                return match
        return None

    def _read_alike(self, stamps: Stamps) -> Parts:
        """Read stamps of one length as far as they are written like the first of them."""
        pattern = self._match(stamps[0])
        if pattern is None:
            return Parts.unread(len(stamps))
        letters = stamps.view(np.uint8).reshape(len(stamps), -1)
        seconds, digits = (letters[:, slice(*pattern.span(key))] - ord("0") for key in "sf")
        blank = letters.copy()
        for key in "sf":
            blank[:, slice(*pattern.span(key))] = ord("0")
        starts = np.flatnonzero(np.insert((blank[1:] != blank[:-1]).any(axis=1), 0, True))
        runs = np.diff(starts, append=len(stamps))
        said = self._said([self._match(row.tobytes()) for row in blank[starts]], like=pattern)
        of_day = np.repeat(said.of_day, runs) + _number(seconds)
        of_day[(seconds > 9).any(axis=1) | (digits > 9).any(axis=1)] = np.nan
        return Parts(
            of_day,
            _number(digits) / 10.0 ** digits.shape[1],
            np.repeat(said.date, runs),
            np.repeat(said.zone, runs),
        )

    def _said(
        self,
        matches: Sequence[re.Match[bytes] | None],
        *,
        like: re.Match[bytes] | None = None,
    ) -> Parts:
        """Return what matches say; those whose seconds stand elsewhere than in `like` nothing."""
        parts = Parts.unread(len(matches))
        for row, match in enumerate(matches):
            if match and (like is None or all(match.span(k) == like.span(k) for k in "sf")):
                parts.of_day[row], parts.fraction[row] = _of_day(match)
                date, zone = (text_of(match[key] or b"").strip(" ,") for key in ("date", "zone"))
                parts.date[row] = self.dates.setdefault(date, len(self.dates))
                parts.zone[row] = self.zones.setdefault(zone, len(self.zones))
        return parts


def _of_day(match: re.Match[bytes]) -> tuple[float, float]:
    """Return whole seconds and their fraction."""
    hours, minutes, seconds = int(match["h"]), int(match["m"]), int(match["s"] or 0)
    if match["f"] and not match["s"]:  # 05:12.041 has no hours
        hours, minutes, seconds = 0, hours, minutes
    if match["half"]:  # 12 am is midnight
        hours = hours % 12 + 12 * match["half"].lower().startswith(b"p")
    return 3600.0 * hours + 60 * minutes + seconds, float(b"0." + (match["f"] or b"0"))


def _number(digits: NDArray[np.uint8]) -> FloatArray:
    """Return the whole number that each row of digits stands for."""
    number = np.zeros(len(digits))
    for column in digits.T:
        number = 10 * number + column
    return number
