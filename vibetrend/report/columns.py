"""What each column of the tables for other uses is, and its unit."""

import datetime as dt
import textwrap
from collections.abc import Mapping

Meaning = tuple[str, str]  # unit ("" for none) and what it is

_WHOSE: dict[str, Meaning] = {
    "engine": ("", "name of the engine"),
    "damper_since": ("", "day the damper was fitted or found that was on the engine then"),
}
OF_SERIES = {**_WHOSE, "series": ("", "number of the series: recordings that may be compared")}
_FEATURE: dict[str, Meaning] = {
    "feature": ("", "order, or driven:, overall: or resonance: and its name"),
    "order": ("1", "cycles per turn of the crankshaft; empty for a feature that has none"),
}
_USE: dict[str, Meaning] = {
    "baseline": ("", "true if it is part of the baseline"),
    "used": ("", "true if the verdict used it"),
}
_RECORDING: dict[str, Meaning] = {
    "recording": ("", "short name: the first digits of its file's SHA-256"),
    "visit": ("", "name of the check-up"),
    "hours": ("h", "true engine hours"),
    "date": ("", "day"),
}

OF_ORDERS: Mapping[str, Meaning] = {
    **_FEATURE,
    "state": ("", "what was concluded"),
    "change_db": (
        "dB",
        "now against the baseline by all check-ups; what all orders did together is taken out",
    ),
    "scatter_db": ("dB", "standard deviation of one check-up when nothing changes"),
    "evidence_z": ("1", "standard deviations that speak for a change; below 0 for a fall"),
    "since_hours": ("h", "true engine hours at which it left its level"),
    "slope_db_per_1000h": ("dB/1000 h", "how fast it changes"),
    "hours_to_limit": ("h", "hours from now to the limit, likely; see hours_to_limit_never"),
    "hours_to_limit_low": ("h", "the same, early: 5 in 100 are earlier"),
    "hours_to_limit_high": ("h", "the same, late: 5 in 100 are later"),
    "probability_never": ("1", "chance that the limit is never reached, 0 to 1"),
    "noticeable_db": ("dB", "jump that a second day would confirm in nine cases of ten"),
    "limit_db": ("dB", "limit of the change"),
    "small": ("", "true if it is so weak that it does not matter, as the engine file says"),
    "at_least": ("", "true if noise hid it at the baseline: it rose by more than is shown"),
    "steady_share": ("1", "share of the change that its slope accounts for: 0 a step, 1 a ramp"),
    "change_error_db": ("dB", "standard error of change_db"),
    "shared_db": ("dB", "of scatter_db, what all recordings of a check-up share, if it was stated"),
}
"""The columns of a verdict's rows."""

COLUMNS: Mapping[str, Mapping[str, Meaning]] = {
    "series.csv": {
        **OF_SERIES,
        "position": ("", "where the sensor sat"),
        "device": ("", "what recorded"),
        "kind": ("", "what was recorded"),
        "unit": ("", "unit of the amplitudes of orders"),
        "codec": ("", "coder of the sound, where there was one"),
        "condition": ("", "state of the engine"),
        "manner": ("", "how it was run"),
        "speed_rpm": ("rpm", "speed"),
        "epoch": ("", "how many works on the engine lie before it"),
        "baseline_kind": ("", "after-installation, or as-found: the damper was already there"),
        "ended": ("", "the work or the other damper that ended it"),
        "state": ("", "what was concluded"),
        "common_change_db": ("dB", "what all orders did together"),
        "common_state": ("", "what was concluded of that"),
    },
    "changes.csv": {
        **OF_SERIES,
        **OF_ORDERS,
        "hours_to_limit_never": ("", "true if hours_to_limit is never, false if it is a number"),
        "hours_to_limit_low_never": ("", "the same of hours_to_limit_low"),
        "hours_to_limit_high_never": ("", "the same of hours_to_limit_high"),
    },
    "amplitudes.csv": {
        **OF_SERIES,
        **_RECORDING,
        **_FEATURE,
        "amplitude": ("see unit", "rms, all axes together"),
        "unit": ("", "unit of amplitude, standard_error and noise_level"),
        "standard_error": ("see unit", "of the amplitude"),
        "noise_level": ("see unit", "amplitude below which it cannot be told from noise"),
        "velocity_mm_s": ("mm/s", "the vibration velocity that the amplitude amounts to, rms"),
        "visible": ("", "true if it stands out of the noise"),
        **_USE,
        "change_db": (
            "dB",
            "against the baseline; of all but a resonance, what all orders did together is taken "
            "out",
        ),
        "together_db": ("dB", "what all orders of this recording did together"),
    },
    "recordings.csv": {
        **OF_SERIES,
        **_RECORDING,
        "name": ("", "name of the file"),
        "sha256": ("", "SHA-256 of the file"),
        "stated_rpm": ("rpm", "speed as it was stated"),
        "speed_rpm": ("rpm", "speed as it was measured"),
        "speed_standard_error_rpm": ("rpm", "of the measured speed"),
        "speed_spread_percent": ("%", "how far the speed strayed within the recording"),
        **_USE,
        "why_not": ("", "why the verdict left it out"),
        "unusable": ("", "true if nothing can be told from it"),
        "quality": ("", "codes of the doubts about it, blanks between them"),
        "circumstances": ("", "what was stated of the day"),
        "method_version": ("", "version of the method that measured it"),
    },
    "installation.csv": {
        **_WHOSE,
        "entry": ("", "number of the entry; one may hold two readings"),
        "kind": ("", "runout, bolt, belt, mark, casing or fluid"),
        "name": ("", "surface, bolt, belt or mark"),
        "what": ("", "what was read"),
        "stage": ("", "as-installed, after-run-in or re-check"),
        "date": ("", "day it was read"),
        "value": ("see unit", "what is held against the limit"),
        "unit": ("", "unit of value, standard_error and resolution"),
        "standard_error": ("see unit", "of the value"),
        "resolution": ("see unit", "of the instrument"),
        "limit_value": ("see limit_unit", "what the maker wants"),
        "limit_tolerance": ("see limit_unit", "to either side of limit_value"),
        "limit_min": ("see limit_unit", "the least that the maker allows"),
        "limit_max": ("see limit_unit", "the most that the maker allows"),
        "limit_unit": ("", "unit of the limit"),
        "limit_source": ("", "where the limit stands written"),
        "limit_added_later": ("", "true if it was written into the engine file later"),
        "state": ("", "within, at-limit, beyond, limit-unknown or information"),
        "side": ("", "of the limit, where it is beyond or at it"),
        "person": ("", "who read it"),
        "instrument": ("", "what it was read with"),
        "note": ("", "note"),
    },
    "work.csv": {
        **_WHOSE,
        "date": ("", "day"),
        "hours": ("h", "true engine hours"),
        "what": ("", "what was worked on"),
        "note": ("", "note"),
    },
    "hours.csv": {
        **_WHOSE,
        "date": ("", "day"),
        "hours": ("h", "true engine hours"),
        "meter_hours": ("h", "what the hour meter showed"),
        "what": ("", "recording, work, installation, reading or change of the meter"),
    },
    "corrections.csv": {
        **_WHOSE,
        "entry": ("", "id of what was corrected: a recording's short name, or work-3 and so on"),
        "about": ("", "name of its file, kind of work, what was read and so on"),
        "what": ("", "what of it was corrected; set aside: whether it counts for nothing"),
        "was": ("", "what counted before; hours in h, speed in rpm"),
        "now": ("", "what counts instead"),
        "reason": ("", "why"),
        "person": ("", "who corrected it"),
        "made_at": ("", "when it was corrected, UTC"),
    },
}
"""The columns of each table, in their order."""

_HEAD = """\
Tables of vibetrend, made {made}.

CSV in UTF-8: commas between the cells, decimal points, dates as 2026-05-01. An empty cell: not
known, or it has no meaning there. A text that a spreadsheet would take for a formula has an
apostrophe (') before it. Amplitudes are rms; a change in dB is 20 lg of a ratio.

The maker's interval and limits stand above any trend; a trend never proves that a damper is sound.
"""


def explained(made_at: dt.datetime, tables: Mapping[str, Mapping[str, Meaning]] = COLUMNS) -> str:
    """Return some tables and their columns as plain text."""
    text = _HEAD.format(made=f"{made_at:%Y-%m-%d %H:%M}")
    for name, columns in tables.items():
        text += f"\n{name}\n"
        for column, (unit, meaning) in columns.items():
            said = f"{column}{f' [{unit}]' if unit not in ('', '1') else ''}: {meaning}"
            text += textwrap.fill(said, 98, initial_indent="  ", subsequent_indent="      ") + "\n"
    return text
