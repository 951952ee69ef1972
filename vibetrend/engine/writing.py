"""An engine file as text: what is known, and as comments what could be added."""

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any

from vibetrend.shell import typed

_COMMENT_AT = 31  # column
_BARE = re.compile(r"[A-Za-z0-9_-]+")

# Key, what to write where it is not known, and what it is.
_TOP = (
    ("name", '"main"', ""),
    ("cylinders", "6", ""),
    ("strokes", "4", "4 or 2"),
    ("firing_order", "[1, 5, 3, 6, 2, 4]", ""),
    ("layout", '"vee"', "inline or vee"),
    ("bank_angle_deg", "90", "of a vee: the angle between its banks"),
    ("pins", '"shared"', "of a vee: shared or split"),
    ("bank_numbering", '"across"', "1, 2 on one throw; or along: 1 to N/2 in a bank"),
    ("firing_intervals_deg", "[90, 150, 90, 150, 90, 150]", "if not even"),
    ("idle_rpm", "700", ""),
    ("fast_idle_rpm", "1080", "the speed you record at, warm and out of gear"),
    ("rated_rpm", "2600", ""),
    ("mounts", '"resilient"', "rigid, resilient or unknown"),
)
_MATTERS = (
    ("limit_db", "6.02", "the rise of an order that matters: doubled"),
    ("small_velocity_mm_s", "0.5", "rms; below it no order matters"),
)
_DRIVEN = (
    ("name", '"alternator"', ""),
    ("ratio", "2.2", "turns per turn of the crank"),
    ("crank_pulley_mm", "180", "instead of a ratio: where the belt runs"),
    ("pulley_mm", "82", ""),
    ("belt_length_mm", "1250", "its belt then is looked for, too"),
)
_GENERATOR = (("poles", "4", ""), ("frequency_hz", "50", ""))
_DAMPER = (
    ("type", '"rubber"', "rubber, viscous, other or unknown"),
    ("renew_hours", "4000", "the maker's own figures; without them the"),
    ("renew_years", "6", "interval is unknown"),
    ("renew_source", '"workshop manual, sheet 4"', ""),
)
_RING = (
    ("hub_inertia_kg_m2", "0.02", "from its maker, as all that follows"),
    ("ring_inertia_kg_m2", "0.06", ""),
    ("ring_stiffness_nm_rad", "65000", ""),
)
_RUBBER = (
    *_RING,
    ("ring_loss_factor", "0.2", "of a viscous one: ring_damping_nm_s_rad"),
    ("stiffness_percent_per_c", "0.5", "what its rubber loses when a degree C warmer"),
)
_VISCOUS = (*_RING, ("ring_damping_nm_s_rad", "60", ""))
_CRANKSHAFT = (
    ("inertias_kg_m2", "[0.02, 0.06, 0.06, 0.06, 1.1, 2]", "nose to flywheel, rotor"),
    ("stiffnesses_nm_rad", "[9e5, 13e5, 13e5, 15e5, 12e5]", "between them"),
    ("loss_factor", "0.03", "of these lengths"),
    ("bore_mm", "100", ""),
    ("stroke_mm", "115", ""),
    ("rod_ratio", "1.75", "rod length over stroke"),
    ("reciprocating_mass_kg", "1.6", "of one cylinder"),
    ("compression_ratio", "17", ""),
)
_LIMITS_EXAMPLE = (
    "# [limits]",
    '# bolt_torque = { value = 100, unit = "N m", source = "manual, sheet 4" }',
    '# belt_tension_run_in = { min = 400, unit = "N", source = "manual, sheet 5" }',
    '# runout.rim = { max = 0.5, unit = "mm", source = "manual, sheet 4" }',
)

_Keys = Iterable[tuple[str, str, str]]


def engine_file(values: Mapping[str, Any], *, file: str) -> str:
    """Return the text of an engine file.

    Parameters
    ----------
    values : mapping
        Named and nested as in the file.
    file : str
        Its name, which its first line tells.
    """
    driven, generator = values.get("driven", ()), values.get("generator")
    command = f"vibetrend engine add {_one_line(typed(file))}"
    lines = [
        f"# An engine file; `{command}` puts it into the logbook.",
        "# What is not known may stay out: take away a # only where you know better.",
        *_lines(values, _TOP),
        "",
        *_lines(values, _MATTERS),
        "",
        "# Parts driven by belt or gear, as many as you know.",
    ]
    for part in driven:
        lines += ["[[driven]]", *_lines(part, _DRIVEN, examples=False)]
    if not driven:
        lines += ["# [[driven]]", *_lines({}, _DRIVEN)]
    lines += ["", "# A generator set: of its alternator."]
    lines += ["# [generator]" if generator is None else "[generator]"]
    lines += _lines(generator or {}, _GENERATOR)
    damper, crank = values.get("damper", {}), values.get("crankshaft", {})
    lines += ["", "[damper]", *_lines(damper, _DAMPER)]
    lines += ["", "# Of damper and crankshaft, for `vibetrend crankshaft`; else typical values."]
    lines += _lines(damper, _VISCOUS if damper.get("type") == "viscous" else _RUBBER)
    lines += ["[crankshaft]" if crank else "# [crankshaft]", *_lines(crank, _CRANKSHAFT)]
    lines += ["", "# The maker's limits, each with its unit and where it stands written."]
    lines += _limits(values.get("limits", {})) or _LIMITS_EXAMPLE
    return "\n".join([*lines, ""])


def _lines(values: Mapping[str, Any], keys: _Keys, *, examples: bool = True) -> list[str]:
    """Return a line for each key; those not known as comments, if wanted."""
    lines = []
    for key, example, comment in keys:
        known = values.get(key)
        if known is None and not examples:
            continue
        line = f"# {key} = {example}" if known is None else f"{key} = {toml(known)}"
        lines.append(f"{line:<{_COMMENT_AT - 1}} # {comment}" if comment else line)
    return lines


def _limits(limits: Mapping[str, Any]) -> list[str]:
    found = {key: limit for key, limit in limits.items() if key != "runout"}
    found |= {
        f"runout.{surface if _BARE.fullmatch(surface) else toml(surface)}": limit
        for surface, limit in limits.get("runout", {}).items()
    }
    return ["[limits]"] * bool(found) + [f"{key} = {toml(limit)}" for key, limit in found.items()]


def toml(value: Any) -> str:
    """Return a value as TOML writes it on one line.

    Raises
    ------
    TypeError
        If it is neither text, number, list nor table.
    """
    if isinstance(value, str):
        # JSON's escapes are TOML's, too; what TOML forbids beyond them no engine file takes.
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        whole = float(value).is_integer() and abs(value) < 1e15
        return str(int(value)) if whole else repr(float(value))
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key} = {toml(each)}" for key, each in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    raise TypeError(f"{value!r} has no place in an engine file")


def _one_line(text: str) -> str:
    """Return text that cannot end the comment it stands in."""
    return "".join(each if each.isprintable() else "?" for each in text)
