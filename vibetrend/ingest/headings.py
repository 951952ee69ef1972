"""What a column's heading says: a unit, a kind, an axis, or that it is no signal at all.

Only common words in a few languages; what they leave open, `columns` settles by behaviour.
"""

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

from vibetrend import units
from vibetrend.ingest.layout import TIME_UNITS
from vibetrend.quoting import printable
from vibetrend.recording import SI_UNITS, Kind

Role = Literal["time", "signal", "tag", "other", ""]

# All words without accents; English, German, French, Spanish, Italian, Portuguese, Dutch, Danish,
# Norwegian, Swedish; of other scripts a few.
_TIME = {
    "time", "timestamp", "timestamps", "t", "zeit", "zeitstempel", "date", "datetime", "datum",
    "uhrzeit", "seconds", "elapsed", "epoch", "millis", "milliseconds", "nanoseconds",
    "microseconds", "secs", "temps", "heure", "horodatage", "tiempo", "hora", "fecha", "tempo",
    "ora", "data", "tid", "tidspunkt", "dato", "tijd", "tijdstempel", "marca", "時間", "時刻",
    "时间", "시간", "время", "χρονος",
}  # fmt: skip
_KINDS: dict[str, Kind] = {
    **dict.fromkeys(
        ("acc", "accel", "acceleration", "accelerations", "accelerometer", "lacc", "beschleunigung",
         "beschl", "beschleunigungssensor", "aceleracion", "acelerometro", "accelerometre",
         "accelerazione", "accelerometro", "aceleracao", "versnelling", "versnellingsmeter",
         "akselerasjon", "akselerometer", "加速度", "가속도", "ускорение", "επιταχυνση",
         "ax", "ay", "az", "gfx", "gfy", "gfz"),
        "acceleration",
    ),
    **dict.fromkeys(
        ("gyro", "gyroscope", "gyr", "gyroskop", "giroscopio", "giroscopo", "rotation", "omega",
         "angular", "angulaire", "angolare", "drehrate", "winkelgeschwindigkeit", "hoeksnelheid",
         "vinkelhastighed", "vinkelhastighet", "角速度", "각속도", "wx", "wy", "wz", "gx",
         "gy", "gz"),
        "rotation",
    ),
    **dict.fromkeys(
        ("velocity", "vel", "schwinggeschwindigkeit", "schwingschnelle", "velocidad", "velocita",
         "velocidade", "snelheid", "hastighed", "hastighet", "vx", "vy", "vz"),
        "velocity",
    ),
    **dict.fromkeys(
        ("pressure", "druck", "pression", "presion", "pressione", "pressao", "tryk", "trykk",
         "tryck"),
        "pressure",
    ),
    **dict.fromkeys(
        ("sound", "audio", "mic", "microphone", "mikrofon", "schall", "sonido", "suono", "geluid",
         "lyd", "ljud"),
        "sound",
    ),
}  # fmt: skip
_NO_SIGNAL = {
    "mag", "magnetic", "magnetometer", "magnetfeld", "lat", "latitude", "lon", "lng", "longitude",
    "altitude", "heading", "bearing", "course", "temp", "temperature", "temperatur", "temperatura",
    "battery", "batterie", "akku", "bateria", "batteria", "accuracy", "light", "licht", "roll",
    "pitch", "yaw", "azimuth", "quaternion", "attitude", "orientation", "index", "sample",
    "samples", "no", "nr", "count", "counter", "id", "row", "unnamed", "rpm", "hours", "gps",
    "humidity", "satellites", "compass", "breitengrad", "laengengrad", "langengrad", "latitud",
    "longitud", "latitudine", "longitudine",
}  # fmt: skip
_GRAVITY = {
    "gravity", "grav", "schwerkraft", "gravite", "gravedad", "gravita", "gravidade",
    "zwaartekracht", "tyngdekraft", "tyngdkraft",
}  # fmt: skip
_MAGNITUDE = {
    "absolute", "abs", "magnitude", "norm", "total", "resultant", "betrag", "gesamt", "norme",
    "modulo", "modulus", "module", "rss", "resultante", "absolut",
}  # fmt: skip
_LINEAR = {"linear", "lineare", "lineal", "lineaire", "lin", "lacc", "user", "excluding"}
_WITHOUT = {"without", "ohne", "sans", "sin", "senza", "sem", "zonder", "uden", "uten", "utan",
            "no", "excl"}  # fmt: skip
_TAGS = {
    **dict.fromkeys(
        ("rpm", "engine rpm", "engine speed", "drehzahl", "motordrehzahl", "regime",
         "regime moteur", "giri", "giri motore", "toerental", "omdrejninger", "omdrejningstal",
         "turtall", "varvtal", "rotacao"),
        "rpm",
    ),
    **dict.fromkeys(("hours", "engine hours", "running hours", "betriebsstunden"), "hours"),
    "position": "position", "device": "device", "condition": "condition",
}  # fmt: skip
_TEMPERATURE = {"°c", "℃", "degc", "deg c", "°f", "℉", "degf", "deg f", "k"}
_RPM_UNITS = {"rpm", "1/min", "u/min", "r/min", "rev/min", "tr/min", "min-1", "min^-1", "o/min"}
# Letters as wide as Chinese ones, and other brackets: "Ｘ［ｇ］" is "X[g]".
_FULL_WIDTH = str.maketrans(
    "".join(map(chr, range(0xFF01, 0xFF5F))) + "\u3000【】〔〕「」",
    "".join(map(chr, range(0x21, 0x7F))) + " [][][]",
)
_LONGEST = 100  # characters
_BRACKET = re.compile(r"\s*[\[(]\s*((?:[^\[\]()]|\([^()]*\))*?)\s*[\])]")
_SUFFIX = re.compile(
    r"[\s_,.;:/-]+(m/s\^?2|m/s²|m/s\*\*2|m/s/s|mps2|ms2|ms\^?-2|m_s2|m_per_s2|ft/s\^?2|ft/s²|mm/s|"
    r"mm_s|in/s|ips|rad/s|rad_s|rads|radps|deg/s|deg_s|degps|dps|mdps|°/s|mg|g|mv|v|kpa|pa|bar|"
    r"ns|us|µs|ms|s|sec|millis|micros|nanos|rpm|м/с\^?2|м/с²|мкс|мс|с)$",
    re.IGNORECASE,
)
_SPELT = {
    **dict.fromkeys(("mps2", "ms2", "m_s2", "ms^-2", "ms-2", "m_per_s2"), "m/s^2"),
    **dict.fromkeys(("rad_s", "rads", "radps"), "rad/s"),
    **dict.fromkeys(("deg_s", "degps"), "deg/s"),
    "mm_s": "mm/s",
    "pa": "Pa", "kpa": "kPa", "v": "V", "mv": "mV",
    **dict.fromkeys(("м/с²", "м/с2", "м/с^2"), "m/s^2"), "с": "s", "мс": "ms", "мкс": "us",
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
        if self.unit.lower() in _TEMPERATURE:
            return "other"  # "T [°C]"
        if self.unit.lower() in TIME_UNITS or (self.words & _TIME and self.kind is None):
            return "time"
        if self.kind is not None or (self.axis and not self.words & _NO_SIGNAL):
            return "signal"
        return "other" if self.words & (_NO_SIGNAL | _GRAVITY) else ""

    @property
    def kind(self) -> Kind | None:
        """The kind its words and its unit agree on; the unit decides if they do not."""
        said = next((kind for word, kind in _KINDS.items() if word in self.words), None)
        if self.words & _NO_SIGNAL or (said is None and self.words & _GRAVITY):
            return None  # "gravity x" is what a phone subtracted, not what shook it
        known = self.known_unit
        if said is not None and (known is None or known.si in SI_UNITS[said]):
            return said
        return said if known is None or known.si == "1" else kind_of(known)

    @property
    def known_unit(self) -> units.Unit | None:
        """The unit, if it is one of ours."""
        return units.unit(self.unit) if units.is_known(self.unit) else None

    @property
    def axis(self) -> str:
        """The letter x, y or z; "" if none or several are named."""
        named = {
            a
            for a in "xyz"
            if self.words & {a, f"a{a}", f"g{a}", f"v{a}", f"w{a}", f"gf{a}", f"{a}axis"}
        }
        return named.pop() if len(named) == 1 else ""

    @property
    def tag(self) -> str:
        """The tag that the column is named like, e.g. "rpm"; else ""."""
        if self.unit.lower() in _RPM_UNITS:
            return "rpm"
        return _TAGS.get(_plain(self.label).replace("_", " ").strip(), "")

    @property
    def linear(self) -> bool:
        """Whether it says that gravity was taken out."""
        return bool(self.words & _LINEAR or (self.words & _WITHOUT and self.words & _GRAVITY))

    @property
    def magnitude(self) -> bool:
        """Whether it is the length of a vector, which has lost the signs."""
        return bool(self.words & _MAGNITUDE) or "|" in self.label


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
    name = printable(name.strip())[:_LONGEST]
    label, unit = name.translate(_FULL_WIDTH), unit_row.strip().strip("[]()").strip()
    brackets = list(_BRACKET.finditer(label))
    if not unit and brackets:
        bracket = next((each for each in brackets if _is_known(each[1])), brackets[0])
        unit = bracket[1]
        label = f"{label[: bracket.start()]} {label[bracket.end() :]}".strip()
    elif not unit and (match := _SUFFIX.search(label)):
        unit = match[1]
        label = label[: match.start()].strip()
    elif not unit and TIME_UNITS.get(label.lower(), 1.0) < 1:
        unit = label  # "ms" and nothing else
    unit = _SPELT.get(unit.lower(), unit)
    camel = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", label)  # accelX
    spelled = re.split(r"[\W_]+", f"{_apart(_plain(camel))} {_plain(label)}")
    words = frozenset(word for word in spelled if word)
    digits = frozenset(word.rstrip("0123456789") for word in words)  # acc1
    return Heading(name=name, label=label, words=words | digits, unit=unit)


def _is_known(unit: str) -> bool:
    return unit.lower() in TIME_UNITS or units.is_known(_SPELT.get(unit.lower(), unit))


def _apart(text: str) -> str:
    """Put spaces between Latin and other letters: X軸加速度."""
    return re.sub(r"(?<=[a-z])(?=[\u0370-\uffff])|(?<=[\u0370-\uffff])(?=[a-z])", " ", text)


def _plain(text: str) -> str:
    """Return small letters without accents."""
    letters = unicodedata.normalize("NFKD", text.lower())
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return unicodedata.normalize("NFC", bare)  # Korean syllables whole again
