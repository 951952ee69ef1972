"""What a column's heading says: a unit, a kind, an axis, or that it is no signal at all.

Only common words in a few languages; what they leave open, `columns` settles by behaviour.
"""

import re
from dataclasses import dataclass
from typing import Literal

from vibetrend import units
from vibetrend.errors import VibetrendError
from vibetrend.ingest.layout import TIME_UNITS
from vibetrend.recording import SI_UNITS, Kind

Role = Literal["time", "signal", "tag", "other", ""]

_TIME = {
    "time", "timestamp", "t", "zeit", "zeitstempel", "date", "datetime", "datum", "uhrzeit",
    "seconds", "elapsed", "epoch", "millis", "milliseconds", "nanoseconds", "microseconds",
    "secs", "temps", "tiempo", "tempo", "tid", "tijd",
}  # fmt: skip
_KINDS: dict[str, Kind] = {
    **dict.fromkeys(
        ("acc", "accel", "acceleration", "accelerations", "accelerometer", "lacc", "beschleunigung",
         "beschl", "aceleracion", "aceleración", "accélération", "accelerazione", "ax", "ay", "az"),
        "acceleration",
    ),
    **dict.fromkeys(
        ("gyro", "gyroscope", "gyr", "rotation", "omega", "angular", "drehrate",
         "winkelgeschwindigkeit", "wx", "wy", "wz", "gx", "gy", "gz"),
        "rotation",
    ),
    **dict.fromkeys(("velocity", "vel", "schwinggeschwindigkeit", "vx", "vy", "vz"), "velocity"),
    **dict.fromkeys(("pressure", "druck"), "pressure"),
    **dict.fromkeys(("sound", "audio", "mic", "microphone", "schall"), "sound"),
}  # fmt: skip
_NO_SIGNAL = {
    "mag", "magnetic", "magnetometer", "magnetfeld", "lat", "latitude", "lon", "longitude",
    "altitude", "heading", "bearing", "course", "temp", "temperature", "temperatur", "battery",
    "accuracy", "light", "roll", "pitch", "yaw", "azimuth", "quaternion", "index", "sample",
    "samples", "no", "nr", "count", "counter", "id", "row", "unnamed", "rpm", "hours",
}  # fmt: skip
_MAGNITUDE = {"absolute", "abs", "magnitude", "norm", "total", "resultant", "betrag", "gesamt"}
_LINEAR = {"linear", "lineare", "lin", "lacc", "user", "without", "ohne", "excluding"}
_TAGS = {
    "rpm": "rpm", "engine rpm": "rpm", "hours": "hours", "engine hours": "hours",
    "position": "position", "device": "device", "condition": "condition",
}  # fmt: skip
_BRACKET = re.compile(r"\s*[\[(]\s*([^\])]*?)\s*[\])]")
_SUFFIX = re.compile(
    r"[\s_,.;:/-]+(m/s\^?2|m/s²|m/s\*\*2|mps2|ms2|ms\^?-2|m_s2|mm/s|mm_s|rad/s|rad_s|rads|radps|"
    r"deg/s|deg_s|dps|mg|g|mv|v|kpa|pa|bar|ns|us|µs|ms|s|sec)$",
    re.IGNORECASE,
)
_SPELT = {
    **dict.fromkeys(("mps2", "ms2", "m_s2", "ms^-2", "ms-2"), "m/s^2"),
    **dict.fromkeys(("rad_s", "rads", "radps"), "rad/s"),
    "deg_s": "deg/s",
    "mm_s": "mm/s",
    "pa": "Pa", "kpa": "kPa", "v": "V", "mv": "mV",
}  # fmt: skip


@dataclass(frozen=True)
class Heading:
    """A column's heading, taken apart."""

    name: str  # as written
    label: str  # without its unit
    words: frozenset[str]
    unit: str  # as written, "" if none

    @property
    def role(self) -> Role:
        """What the column is for; "" if the heading does not tell."""
        if self.tag:
            return "tag"
        if self.unit.lower() in TIME_UNITS or (self.words & _TIME and self.kind is None):
            return "time"
        if self.kind is not None or (self.axis and not self.words & _NO_SIGNAL):
            return "signal"
        # "gravity x" is what a phone subtracted, not what shook it.
        return "other" if self.words & (_NO_SIGNAL | {"gravity"}) else ""

    @property
    def kind(self) -> Kind | None:
        """The kind its words and its unit agree on; the unit decides if they do not."""
        said = next((kind for word, kind in _KINDS.items() if word in self.words), None)
        if self.words & _NO_SIGNAL:
            return None
        known = self.known_unit
        if said is not None and (known is None or known.si in SI_UNITS[said]):
            return said
        return said if known is None or known.si == "1" else kind_of(known)

    @property
    def known_unit(self) -> units.Unit | None:
        """The unit, if it is one of ours."""
        try:
            return units.unit(self.unit) if self.unit else None
        except VibetrendError:
            return None

    @property
    def axis(self) -> str:
        """The letter x, y or z; "" if none or several are named."""
        named = {
            a for a in "xyz" if self.words & {a, f"a{a}", f"g{a}", f"v{a}", f"w{a}", f"{a}axis"}
        }
        return named.pop() if len(named) == 1 else ""

    @property
    def tag(self) -> str:
        """The tag that the column is named like, e.g. "rpm"; else ""."""
        return _TAGS.get(self.label.lower().replace("_", " ").strip(), "")

    @property
    def linear(self) -> bool:
        """Whether it says that gravity was taken out."""
        return bool(self.words & _LINEAR)

    @property
    def magnitude(self) -> bool:
        """Whether it is the length of a vector, which has lost the signs."""
        return bool(self.words & _MAGNITUDE)


def kind_of(unit: units.Unit) -> Kind:
    """Return the kind that a unit speaks of by itself."""
    return next(kind for kind in SI_UNITS if kind == unit.kind)


def heading(name: str, unit_row: str) -> Heading:
    """Take a heading apart; `unit_row` is the field below it in a row of units.

    Examples
    --------
    >>> heading("Acc X [g]", "").unit, heading("Acc X [g]", "").axis
    ('g', 'x')
    """
    label, unit = name.strip(), unit_row.strip().strip("[]()").strip()
    if not unit and (match := _BRACKET.search(label)):
        unit = match[1]
        label = _BRACKET.sub("", label, count=1).strip()
    elif not unit and (match := _SUFFIX.search(label)):
        unit = match[1]
        label = label[: match.start()].strip()
    unit = _SPELT.get(unit.lower(), unit)
    camel = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", label)  # accelX
    words = frozenset(word for word in re.split(r"[\W_]+", camel.lower()) if word)
    digits = frozenset(word.rstrip("0123456789") for word in words)  # acc1
    return Heading(name=name.strip(), label=label, words=words | digits, unit=unit)
