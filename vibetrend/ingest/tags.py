"""What a person states about a recording, and the places they may state it in."""

import datetime as dt
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal, TypedDict, get_args

from vibetrend import toml
from vibetrend.errors import ReadError
from vibetrend.quoting import named, quoted
from vibetrend.recording import CHOICES, SI_UNITS, Circumstances, Kind, Manner, Note

_LARGEST_SIDE_FILE = 100_000  # bytes; a handful of tags needs a few hundred
_SMALLEST = 1e-9  # rpm, hours, Hz, turns per turn: what is smaller is a slip
_LONGEST = 500  # characters of a text; looking at long ones takes long
_LONGEST_REMARK = 300  # characters


class Statements(TypedDict, total=False):
    """What a person may state about a file as they give it; :class:`Stated` once checked."""

    rpm: float | None
    end_rpm: float | None
    hours: float | None
    date: dt.date | str | None
    position: str | None
    device: str | None
    condition: str | None
    manner: Manner | None
    coolant_c: float | None
    damper_c: float | None
    room_c: float | None
    other_engine: str | None
    alternator_load: str | None
    lying: str | None
    shore_power: str | None
    automatic_gain: str | None
    kind: Kind | None
    unit: str | None
    columns: Sequence[str | int] | None
    rate: float | None
    full_scale: str | None
    sensitivity: str | None
    tacho_column: str | int | None
    teeth: str | None
    poles: int | None
    pulley_ratio: float | None


@dataclass(frozen=True, kw_only=True)
class Stated:
    """Tags and reading hints from one place; None where that place says nothing."""

    rpm: float | None = None
    end_rpm: float | None = None  # of a sweep: where it ends
    hours: float | None = None
    date: dt.date | None = None
    position: str | None = None
    device: str | None = None
    condition: str | None = None
    manner: Manner | None = None
    coolant_c: float | None = None  # from here on as in `Circumstances`
    damper_c: float | None = None
    room_c: float | None = None
    other_engine: Literal["off", "running"] | None = None
    alternator_load: Literal["low", "high"] | None = None
    lying: Literal["afloat", "ashore"] | None = None
    shore_power: Literal["off", "on"] | None = None
    automatic_gain: Literal["off", "on"] | None = None
    kind: Kind | None = None  # from here on hints for reading
    unit: str | None = None  # "g", or "0.0039 g": what one count stands for
    columns: tuple[str | int, ...] | None = None
    rate: float | None = None  # Hz
    full_scale: str | None = None  # "1 g": what the value 1.0 of a sound file stands for
    sensitivity: str | None = None  # "100 mV/g": what turns volts into the quantity
    tacho_column: str | int | None = None  # of a tacho signal, or of edge times alone
    teeth: str | None = None  # a turn: "1", "118", with missing ones "60-2", "36-2-1"
    poles: int | None = None  # of an alternator whose phase terminal is the tacho
    pulley_ratio: float | None = None  # alternator turns per turn of the crank

    def over(self, weaker: "Stated") -> "Stated":
        """Return these statements, completed by those of a place that counts less."""
        gaps = [field.name for field in fields(self) if getattr(self, field.name) is None]
        return replace(self, **{name: getattr(weaker, name) for name in gaps})

    def reading(self) -> dict[str, Any]:
        """Return the hints without which the file would be read otherwise."""
        hints = {name: getattr(self, name) for name in _HINTS}
        return {name: value for name, value in hints.items() if value is not None}

    def circumstances(self) -> Circumstances:
        """Return what is stated of the circumstances."""
        stated = {field.name: getattr(self, field.name) for field in fields(Circumstances)}
        return Circumstances(**{key: value for key, value in stated.items() if value is not None})

    def not_in(self, other: "Stated") -> "Stated":
        """Return only what `other` leaves open."""
        said = [field.name for field in fields(self) if getattr(other, field.name) is not None]
        return replace(self, **dict.fromkeys(said))


KEYS = tuple(field.name for field in fields(Stated))
_HINTS = KEYS[KEYS.index("kind") :]
_TEMPERATURES = tuple(field.name for field in fields(Circumstances) if field.name.endswith("_c"))


def stated(values: Mapping[str, Any], *, where: str) -> Stated:
    """Check values by key and return them as statements; `where` names them in errors.

    Raises
    ------
    ReadError
        If a key is not known or a value is not of its type.
    """
    checked = {}
    for key, value in values.items():
        if key not in KEYS:
            near = get_close_matches(key, KEYS, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(KEYS)}"
            raise ReadError(f"{where}: {named(key)} is not a known key; {hint}")
        if value is not None:
            try:
                checked[key] = _checked(key, value)
            except ReadError as error:
                raise ReadError(f"{where}: {key} is {quoted(value)}; {error}") from None
    return Stated(**checked)


def beside(path: Path) -> tuple[Stated, Path | None]:
    """Return what the side file of a recording states, and its path if there is one.

    For ``clip.csv.zip`` that is ``clip.csv.zip.toml``, ``clip.csv.toml`` or ``clip.toml``, the
    first that exists.

    Raises
    ------
    ReadError
        If the side file is not TOML, a key or value in it is wrong, or it is an engine file.
    """
    names = [path.name, path.stem]
    if path.suffix.lower() in (".zip", ".gz"):
        names.append(Path(path.stem).stem)
    for name in names:
        side = path.with_name(name + ".toml")
        if side != path and _is_file(side):
            values = read_toml(
                side,
                too_large="too large for a side file of tags; remove or rename it",
                remedy="correct or remove it",
            )
            if "cylinders" in values:
                raise ReadError(
                    f"{side}: looks like an engine file, and by its name it would hold the tags of "
                    f"{path.name}; rename one of the two"
                )
            return stated(values, where=str(side)), side
    return Stated(), None


def read_toml(path: Path, *, too_large: str, remedy: str) -> dict[str, Any]:
    """Return what a file of statements holds.

    Parameters
    ----------
    too_large, remedy : str
        What to say of a file that is too large, and to do about one that cannot be read.

    Raises
    ------
    ReadError
        If it cannot be read, is too large, or is not TOML.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST_SIDE_FILE + 1)
    except OSError as error:
        raise ReadError(f"{path}: cannot be read ({error.strerror}); {remedy}") from error
    if len(content) > _LARGEST_SIDE_FILE:
        raise ReadError(f"{path}: {too_large}")
    try:
        return toml.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise ReadError(f"{path}: not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise ReadError(f"{path}: not valid TOML: {error}; correct that line") from error


# "600-1800rpm" is a range, hence no speed; the 01 of "2026-05-01-1800rpm" is a day.
_RANGE = re.compile(r"(?<!\d)\d{3,5}(?:rpm)?\s*(?:-|–|to|_to_)\s*\d{3,5}\s*rpm", re.IGNORECASE)
_RPM = re.compile(
    r"(?<![\d.])(\d{2,5}(?:\.\d+)?)[ _-]?rpm(?![a-z])|(?<![a-z])rpm[ _=-]?(\d{2,5})(?!\d|\.\d)",
    re.IGNORECASE,
)
_HOURS = re.compile(
    r"(?<![\d.])(\d{1,6}(?:\.\d+)?)[ _-]?(?:h|hrs|hours)(?![a-z0-9])", re.IGNORECASE
)
_DATE = re.compile(r"(?<!\d)(20\d\d)([-_.]?)([01]\d)\2([0-3]\d)(?!\d)")


def in_name(name: str) -> Stated:
    """Return what a file name states, e.g. ``idle_1000rpm_3120h_2026-05-01.csv``.

    Examples
    --------
    >>> in_name("idle_1000rpm_3120h_20260501.csv").hours
    3120.0
    """
    rpm = None if _RANGE.search(name) else _RPM.search(name)
    hours = _HOURS.search(name)
    return Stated(
        rpm=(float(rpm[1] or rpm[2]) or None) if rpm else None,  # "00rpm" is some other number
        hours=float(hours[1]) if hours else None,
        date=_date_in(name),
    )


def note_assumed(stated_by_file: Stated, place: str) -> tuple[Note, ...]:
    """Return a note saying which tags were taken from `place` because nobody gave them."""
    taken = {key: getattr(stated_by_file, key) for key in KEYS}
    text = ", ".join(
        f"{key} {value:g}" if isinstance(value, float) else f"{key} {value}"
        for key, value in taken.items()
        if value is not None
    )
    said = f"taken from {place}: {text[:_LONGEST_REMARK]}"
    return (Note("tag-assumed", "note", said),) if text else ()


def _date_in(text: str) -> dt.date | None:
    for found in _DATE.finditer(text):
        try:
            return dt.date(int(found[1]), int(found[3]), int(found[4]))
        except ValueError:  # 20269999 is some other number
            continue
    return None


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # the longer name may be one too long
        return False


def _checked(key: str, value: Any) -> Any:
    match key:
        case "rpm" | "end_rpm" | "hours" | "rate" | "pulley_ratio":
            return _number(value, above_zero=key != "hours")
        case _ if key in _TEMPERATURES:
            return _temperature(value)
        case _ if key in CHOICES:
            return _choice(value, CHOICES[key])
        case "poles":
            return _even_count(value)
        case "tacho_column":
            return _columns(value)[0]
        case "date":
            return _date(value)
        case "columns":
            return _columns(value)
        case "kind" if value not in tuple(SI_UNITS):  # what a file holds may be no key
            raise ReadError(f"write one of {', '.join(SI_UNITS)}")
        case "manner" if value not in get_args(Manner):
            raise ReadError(f"write one of {', '.join(get_args(Manner))}")
        case _ if not isinstance(value, str):
            raise ReadError("text in quotes is needed")
        case _ if len(value) > _LONGEST:
            raise ReadError(f"it has {len(value)} characters; shorten it to {_LONGEST} at most")
    return value


def _number(value: Any, *, above_zero: bool) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ReadError("a number is needed")
    if not (_SMALLEST < value < 1e9 or (value == 0 and not above_zero)):
        raise ReadError("it must be above 0" if above_zero else "it cannot be below 0")
    return float(value)


def _temperature(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ReadError("a number is needed")
    if not -60 <= value <= 250:
        raise ReadError("degrees Celsius between -60 and 250 are needed")
    return float(value)


def _choice(value: Any, choices: tuple[str, ...]) -> str:
    if value not in choices:
        raise ReadError(f"write {' or '.join(choices)}")
    return str(value)


def _even_count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 2 or value % 2:
        raise ReadError("an even number of poles is needed, e.g. 12")
    return value


def _date(value: Any) -> dt.date:
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    try:
        return dt.date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ReadError("write the date as year-month-day, e.g. 2026-05-01") from None


def _columns(value: Any) -> tuple[str | int, ...]:
    listed = [value] if isinstance(value, str | int) else value
    if (
        not isinstance(listed, Sequence)
        or not listed
        or not all(isinstance(c, str | int) and not isinstance(c, bool) for c in listed)
    ):
        raise ReadError("a list of column names or numbers is needed, counted from 1")
    return tuple(listed)
