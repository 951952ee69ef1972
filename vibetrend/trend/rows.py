"""The rows of a history, checked column by column, as plain arrays."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.errors import JudgeError
from vibetrend.trend import resonance

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

REQUIRED = ("recording", "visit", "hours", "order", "amplitude", "standard_error", "baseline")
# One value each in one series; a history may carry any of them.
SERIES = (
    "series", "engine", "installation", "epoch", "position", "device", "kind", "codec", "manner",
    "condition",
)  # fmt: skip

BEYOND = 1e30  # amplitudes in no unit come near it
MOST_HOURS = 1e7

# What the person may state of the day, and how a sentence names it.
CIRCUMSTANCES = {
    "other_engine": "the other engine",
    "alternator_load": "the alternator's load",
    "lying": "the boat",
    "shore_power": "shore power",
}


@dataclass(frozen=True, eq=False)
class Rows:
    """One entry for each recording and feature."""

    recording: Indices  # (rows,) into `recordings`
    recordings: list[Hashable]
    visit: Indices  # (recordings,) into `visits`
    visits: list[Hashable]
    feature: Indices  # (rows,) into `features`
    features: list[tuple[str, float]]  # text and order, orders first
    hours: Floats  # (recordings,)
    baseline: Bools  # (recordings,)
    amplitude: Floats  # (rows,)
    standard_error: Floats  # (rows,) NaN where unknown
    shared_error: Floats  # (rows,) one standard deviation all of a visit share; NaN unknown
    seen: Bools  # (rows,) told from the noise level
    floor: Floats  # (rows,) the noise level; NaN where unknown
    limit_db: Floats  # (rows,) NaN where not given
    velocity_mm_s: Floats  # (rows,) NaN where unknown
    rpm: Floats  # (recordings,)
    temperature_c: Floats  # (recordings,)
    damper_c: Floats  # (recordings,) of the damper's ring; NaN where not stated
    date: NDArray[np.datetime64]  # (recordings,) NaT where unknown
    stated: dict[str, list[str]]  # circumstance -> (recordings,) "" where nobody said


def label(feature: str, order: float) -> str:
    """Return the name of a feature as a person reads it, e.g. ``order 4.5``."""
    if resonance.parts(feature).quantity:
        return resonance.label(feature, order)
    kind, _, name = feature.partition(": ")
    words = {"order": f"order {order:g}", "driven": "driven line", "overall": "overall level"}
    return f"{words.get(kind, kind)} {name}".strip()


def names_of(features: Sequence[tuple[str, float]]) -> list[str]:
    """Return the names of some features, of a resonance one for all that is followed of it."""
    names = [
        resonance.named(text, np.nan) if resonance.is_resonance(text) else label(text, order)
        for text, order in features
    ]
    return list(dict.fromkeys(names))


def check(history: pd.DataFrame) -> Rows:
    """Check a history and return its rows.

    Raises
    ------
    JudgeError
        If a column is missing, a value has no meaning, a row is there twice, or more than one
        series is in it.
    """
    _check_table(history)
    recording, recordings = _codes(history, "recording")
    visit, visits = _codes(history, "visit")
    feature, order, features, numbers = _features(history, recording, recordings)

    def refuse(wrong: Bools, what: str) -> None:
        at = np.flatnonzero(wrong)
        if at.size:
            name = label(feature[at[0]], order[at[0]])
            raise JudgeError(f"recording {recordings[recording[at[0]]]}, {name}, {what}")

    hours, amplitude = _numbers(history, "hours"), _numbers(history, "amplitude")
    error, limit = _numbers(history, "standard_error"), _numbers(history, "limit_db")
    shared = _numbers(history, "shared_error")
    refuse(~np.isfinite(hours), "has no engine hours; give the hours of every row")
    refuse((hours < 0) | (hours > MOST_HOURS), "has impossible engine hours; correct them")
    seen = _seen(history, amplitude)
    refuse(
        seen & ~(np.isfinite(amplitude) & (amplitude > 0)),
        "has an amplitude that is not above 0; correct it or set visible to False",
    )
    refuse(
        seen & ~((amplitude > 1 / BEYOND) & (amplitude < BEYOND)),
        "has an amplitude that no sensor gives; correct its unit",
    )
    refuse(error < 0, "has a standard error below 0; correct it")
    refuse(error > BEYOND, "has an impossible standard error; correct it or leave it out")
    refuse((shared < 0) | (shared > BEYOND), "has a shared_error that is none; correct it")
    floor = _numbers(history, "floor")
    refuse((floor < 0) | np.isinf(floor), "has a floor that is no noise level; correct it")
    refuse(limit <= 0, "has a limit_db that is not above 0; correct it")
    twice = np.ones(len(history), dtype=bool)
    twice[np.unique(recording * len(features) + numbers, return_index=True)[1]] = False
    refuse(twice, "is there twice; keep one row for each recording and feature")
    _check_units(history, numbers, features)

    first = np.unique(recording, return_index=True)[1]
    for name, values in (("visit", visit), ("hours", hours)):
        mixed = np.flatnonzero(values != values[first][recording])
        if mixed.size:
            raise JudgeError(
                f"recording {recordings[recording[mixed[0]]]} has more than one value of {name}; "
                f"a recording belongs to one check-up at one time"
            )
    marked = np.zeros(len(recordings), dtype=bool)
    np.logical_or.at(marked, recording, _truths(history["baseline"]))
    rpm, warmth = _numbers(history, "rpm"), _numbers(history, "temperature_c")
    refuse((rpm <= 0) | np.isinf(rpm), "has an rpm that is not above 0; correct it or leave it out")
    refuse((warmth < -60) | (warmth > 300), "has an impossible temperature_c; correct it")
    damper = _numbers(history, "damper_c")
    refuse((damper < -60) | (damper > 300), "has an impossible damper_c; correct it")
    return Rows(
        recording=recording,
        recordings=recordings,
        visit=visit[first],
        visits=visits,
        feature=numbers,
        features=features,
        hours=hours[first],
        baseline=marked,
        amplitude=amplitude,
        standard_error=np.where(np.isfinite(error), error, np.nan),  # not to be told is unknown
        shared_error=shared,
        seen=seen,
        floor=floor,
        limit_db=limit,
        velocity_mm_s=_numbers(history, "velocity_mm_s"),
        rpm=_each(rpm, recording, "rpm", recordings),
        temperature_c=_each(warmth, recording, "temperature_c", recordings),
        damper_c=_each(damper, recording, "damper_c", recordings),
        date=_each(_dates(history, recording, recordings), recording, "date", recordings),
        stated={
            name: _words(history[name], recording, recordings)
            for name in CIRCUMSTANCES
            if name in history.columns
        },
    )


def _check_table(history: pd.DataFrame) -> None:
    if not isinstance(history, pd.DataFrame):
        raise JudgeError(
            f"the history is a {type(history).__name__}, a pandas DataFrame is needed; "
            f"give one row for each recording and feature"
        )
    doubled = history.columns[history.columns.duplicated()]
    if doubled.size:
        raise JudgeError(f"the history has two columns {doubled[0]}; keep one")
    missing = [name for name in REQUIRED if name not in history.columns]
    if missing:
        raise JudgeError(
            f"the history has no column {', '.join(missing)}; needed are {', '.join(REQUIRED)}"
        )
    if history.empty:
        raise JudgeError("the history has no rows; add a recording first")
    for name in ("recording", "visit", "baseline"):
        empty = np.flatnonzero(history[name].isna())
        if empty.size:
            raise JudgeError(f"row {empty[0] + 1} of the history has no {name}; fill it in")
    for name in SERIES:
        if name not in history.columns:
            continue
        found = {str(value) for value in history[name]}
        if len(found) > 1:
            values = ", ".join(sorted(found)[:4])
            raise JudgeError(
                f"the history holds more than one series: column {name} has {values}; "
                f"judge each by itself"
            )


def _codes(history: pd.DataFrame, name: str) -> tuple[Indices, list[Hashable]]:
    """Return numbers for labels by the labels' own order, whatever the order of rows."""
    try:
        codes, labels = pd.factorize(history[name])
    except TypeError as error:
        raise JudgeError(
            f"column {name} of the history holds something that is no label ({error}); give text "
            f"or numbers"
        ) from error
    found = list(labels)
    order = sorted_labels(found)
    rank = {value: place for place, value in enumerate(order)}
    return np.array([rank[value] for value in found], dtype=np.intp)[codes], order


def sorted_labels(labels: list[Any]) -> list[Any]:
    """Sort labels of any kind."""
    try:
        return sorted(labels)
    except TypeError:
        return sorted(labels, key=lambda value: (type(value).__name__, str(value)))


def _features(
    history: pd.DataFrame, recording: Indices, recordings: list[Hashable]
) -> tuple[NDArray[np.object_], Floats, list[tuple[str, float]], Indices]:
    order = _numbers(history, "order")
    if "feature" in history.columns:
        text = history["feature"].fillna("order").astype(str).to_numpy(dtype=object)
    else:
        text = np.full(len(history), "order", dtype=object)
    kind, found = pd.factorize(text)
    names = sorted(found, key=lambda name: (name != "order", name))
    rank = np.array([names.index(name) for name in found], dtype=np.intp)[kind]
    is_order = text == "order"
    wrong = np.flatnonzero(is_order & ~((order > 0) & (order < 1000)))
    if wrong.size:
        raise JudgeError(
            f"recording {recordings[recording[wrong[0]]]} has a row whose order is "
            f"{order[wrong[0]]:g}; give an order above 0 or name its feature"
        )
    # A driven line's order creeps with its belt, so only orders are known by their number.
    key = rank * 1000 + np.where(is_order, np.round(order, 4), 0.0)
    _, first, number = np.unique(key, return_index=True, return_inverse=True)
    middle = [float(np.median(order[number == k])) for k in range(first.size)]
    features = [(str(text[i]), value) for i, value in zip(first, middle, strict=True)]
    return text, order, features, number


def _numbers(history: pd.DataFrame, name: str) -> Floats:
    if name not in history.columns:
        return np.full(len(history), np.nan)
    try:
        return history[name].to_numpy(dtype=np.float64, na_value=np.nan)
    except (TypeError, ValueError) as error:
        raise JudgeError(
            f"column {name} of the history holds something that is no number ({error}); correct it"
        ) from error


def _seen(history: pd.DataFrame, amplitude: Floats) -> Bools:
    if "visible" not in history.columns:
        return ~(amplitude <= _numbers(history, "floor"))
    visible = history["visible"]
    return _truths(visible.where(visible.notna(), True))


def _truths(column: "pd.Series[Any]") -> Bools:
    if not column.isin([True, False]).all():  # 1 and 0 are taken for them
        odd = column[~column.isin([True, False])].iloc[0]
        raise JudgeError(
            f"column {column.name} of the history holds {odd!r}; give True or False in every row"
        )
    return column.to_numpy(dtype=bool)


def _check_units(history: pd.DataFrame, number: Indices, features: list[tuple[str, float]]) -> None:
    if "unit" not in history.columns or history["unit"].nunique() <= 1:
        return
    mixed = history["unit"].groupby(number).nunique()
    for k in mixed.index[mixed > 1]:
        raise JudgeError(f"{label(*features[k])} comes in two units; convert its amplitudes to one")


def _each(
    values: NDArray[Any], recording: Indices, name: str, recordings: list[Hashable]
) -> NDArray[Any]:
    """Return the one value of each recording that any of its rows gives, missing where none does.

    Raises
    ------
    JudgeError
        If two rows of a recording contradict each other.
    """
    given = np.flatnonzero(~pd.isna(values))
    which, first = np.unique(recording[given], return_index=True)
    missing = "NaT" if values.dtype.kind == "M" else "nan"
    out = np.full(len(recordings), missing, dtype=values.dtype)
    out[which] = values[given[first]]
    wrong = given[values[given] != out[recording[given]]]
    if wrong.size:
        raise JudgeError(
            f"recording {recordings[recording[wrong[0]]]} has more than one value of {name}; "
            f"give one"
        )
    return out


def _words(column: "pd.Series[Any]", recording: Indices, recordings: list[Hashable]) -> list[str]:
    """Return what is stated of each recording, "" where nothing is."""
    codes, words = pd.factorize(column.astype("string"))
    stated = _each(
        np.where(codes < 0, np.nan, codes.astype(float)), recording, str(column.name), recordings
    )
    return ["" if np.isnan(code) else str(words[int(code)]) for code in stated]


def _dates(
    history: pd.DataFrame, recording: Indices, recordings: list[Hashable]
) -> NDArray[np.datetime64]:
    """Return the date of each row, NaT where unknown."""
    if "date" not in history.columns or history["date"].isna().all():
        return np.full(len(history), np.datetime64("NaT", "s"))
    when = pd.to_datetime(history["date"], errors="coerce", utc=True, format="mixed")
    wrong = np.flatnonzero(when.isna() & history["date"].notna())
    if wrong.size:
        raise JudgeError(
            f"recording {recordings[recording[wrong[0]]]} has the date "
            f"{history['date'].iloc[wrong[0]]!r}, which is none; give YYYY-MM-DD"
        )
    return when.dt.tz_localize(None).to_numpy(dtype="datetime64[s]")
