"""A crankshaft's model in plain words: how it twists, at which speeds, and what ageing shows."""

from collections.abc import Hashable, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from vibetrend.cli.terminal import cell, columns, plain, titled, width, wrapped
from vibetrend.report.isolating import isolated
from vibetrend.trend.advice import CAUTIONS as ALWAYS
from vibetrend.trend.sweeps import RUN_UP_CAUTIONS

if TYPE_CHECKING:
    import pandas as pd

    from vibetrend.engine import Engine
    from vibetrend.torsion import Crankshaft, Mode, Range

ESTIMATE = (
    "An estimate from a chain of inertias and springs: good to see where to look, no calculation "
    "for class approval, and no limit follows from it."
)


def cautions(engine: "Engine") -> tuple[str, ...]:
    """Return what always has to be said; those of a run-up where one can be made."""
    return (ESTIMATE, *(() if engine.generator else RUN_UP_CAUTIONS), *ALWAYS)


_SEES = "A slow run-up sees it."
_GOVERNED = (
    "A set's governor allows no run-up; only a coast-down of 20 s or more, recorded to its end, "
    "could see it."
)
_OWN, _SHARED = 0.5, 0.15  # a ring's share of a mode's energy from which on it is called so
_NOTHING_DB = 0.05


def crankshaft_words(
    engine: "Engine",
    model: "Crankshaft",
    running: "Range",
    critical: "pd.DataFrame",
    ageing: "pd.DataFrame",
    seen: "pd.DataFrame | None",
) -> str:
    """Return all of it; `seen` is what a change asked for would show."""
    return "\n".join(
        [
            *titled(f"{isolated(engine.name)}: how the crankshaft twists"),
            *wrapped(ESTIMATE),
            *_typical(model),
            "",
            *_modes(model, critical),
            "",
            *_speeds(engine, running, critical),
            "",
            *(_ageing(ageing, engine, model) if seen is None else _change(seen)),
            "",
            *(
                line
                for each in cautions(engine)[1:]
                for line in wrapped(each, indent="- ", hanging="  ")
            ),
        ]
    )


def _typical(model: "Crankshaft") -> list[str]:
    if not model.typical:
        return []
    return wrapped(
        f"Typical values, which the engine file does not state: {'; '.join(model.typical)}. "
        f"With these a frequency is right to some 20 % at best; state what you know under "
        f"[crankshaft] and [damper]."
    )


def _modes(model: "Crankshaft", critical: "pd.DataFrame") -> list[str]:
    lines = ["Natural frequencies:"]
    for mode in model.modes[: int(critical["mode"].max())]:
        head = f"  mode {mode.number}  "
        lines += wrapped(_mode(mode, model), indent=head, hanging=" " * len(head))
    return lines + wrapped(
        "Most phones' accelerometers are too slow for that, sound is not. A tacho at the nose sees "
        "all of a mode, one at the flywheel the share told here."
    )


def _mode(mode: "Mode", model: "Crankshaft") -> str:
    nodes = "1 node" if mode.nodes == 1 else f"{mode.nodes} nodes"
    ring = abs(mode.swings[0])
    if model.viscous:
        whose = f"the crank's own; the ring in its fluid swings {ring:.1f} times as far as the nose"
    elif mode.ring_share >= _OWN:
        whose = (
            f"the damper's own: its ring swings {ring:.1f} times as far as the nose, and "
            f"{100 * mode.ring_share:.0f} % of the energy is in its rubber"
        )
    elif mode.ring_share >= _SHARED:
        whose = (
            f"the crank against its damper: {100 * mode.ring_share:.0f} % of the energy is in the "
            f"ring's rubber"
        )
    else:
        whose = "the crank's own; the damper's spring hardly matters"
    wheel = abs(mode.swings[model.flywheel])
    return (
        f"{mode.frequency_hz:.0f} Hz, {nodes}: {whose}. The flywheel swings {wheel:.2f} of the "
        f"nose. Damping ratio {mode.damping_ratio:.3f}. To reach it, record more than "
        f"{mode.least_rate_hz:.0f} samples a second."
    )


def _speeds(engine: "Engine", running: "Range", critical: "pd.DataFrame") -> list[str]:
    at = {
        (float(each["order"]), int(each["mode"])): each
        for each in critical.to_dict("records")
        if each["drives"]
    }
    numbers = sorted(set(critical["mode"]))
    met = sorted({order for (order, _), each in at.items() if each["within"]})
    span = f"{running.idle_rpm:g} to {running.rated_rpm:g} rpm"
    top = "governed" if engine.generator else "rated"
    if not met:
        return wrapped(f"No order meets a mode from {span}, idle to {top} speed.")
    lines = ["Orders meet modes at these rpm:"]
    lines.append(
        f"{'order':>7}" + "".join(f"{f'mode {number}':>9} " for number in numbers).rstrip()
    )
    for order in met:
        cells = [_cell(at.get((order, number))) for number in numbers]
        lines.append(plain(f"{order:>7g}{''.join(cells)}".rstrip()))
    lines += wrapped(
        f"In brackets: outside {span}, idle to {top} speed; orders that meet no mode within are "
        f"left out. Without a star an order twists the crank strongly; with one weakly, by a "
        f"quarter of what the strongest does or less, and need not stand out of a recording. "
        f"Cylinders that are not alike drive all others too, a little."
    )
    if engine.generator:
        lines += wrapped("A generator set passes these speeds when it starts and stops.")
    return lines


def _cell(met: Mapping[Hashable, Any] | None) -> str:
    if met is None:
        return f"{'–':>9} "
    told = f"{met['speed_rpm']:.0f}{'' if met['strong'] else '*'}"
    told = told if met["within"] else f"({told})"
    return f"{told:>9} " if told[-1].isdigit() else f"{told:>10}"


def _ageing(ageing: "pd.DataFrame", engine: "Engine", model: "Crankshaft") -> list[str]:
    rows = [("damper", "speeds", "peak", "width", "firing", "most, of order")]
    for each in ageing.to_dict("records"):
        rows.append(
            (
                str(each["change"]),
                f"{each['shift_percent']:+.1f} %",
                f"{_no_minus(each['height_db'], _NOTHING_DB):+.1f} dB",
                f"x {each['width_factor']:.2f}",
                f"{_no_minus(each['firing_order_db'], _NOTHING_DB):+.1f} dB",
                f"{_no_minus(each['fast_idle_db'], _NOTHING_DB):+.1f} dB "
                f"({each['fast_idle_order']:g})",
            )
        )
    return [
        *wrapped("What would show a damper's ageing, in mode 1:"),
        *_table(rows),
        *wrapped(
            "speeds: by how much all its critical speeds move; peak and width: of its strongest "
            "order's peak in a slow sweep. The last two columns are of the nose at the steady "
            "speed of recording: the firing order's level, and the strong order that moves most."
        ),
        *wrapped(f"The last ones stand for: {_stands_for(ageing)}."),
        *wrapped(
            f"A steady speed is nearly blind to the damper: the firing order does not move, and "
            f"what other orders do a few rpm do as well. {_GOVERNED if engine.generator else _SEES}"
            f" Your own case: {_own_case(model)}."
        ),
    ]


def _stands_for(ageing: "pd.DataFrame") -> str:
    named = ageing.loc[ageing["means"] != ""]
    return "; ".join(f"{row['change']}: {row['means']}" for _, row in named.iterrows())


def _own_case(model: "Crankshaft") -> str:
    """Return the options that change something of such a damper."""
    if not model.viscous:
        return "--stiffness 0.9, or --loss, --slip"
    sprung = bool(model.chain.stiffness_nm_rad[0])
    return "--fluid 0.5" + (", or --stiffness" if sprung else "")


def _change(seen: "pd.DataFrame") -> list[str]:
    rows = [("what", "before", "after", "difference")]
    for each in seen.to_dict("records"):
        unit = str(each["unit"])
        before, after, change = (
            _number(float(each[key]), unit) for key in ("before", "after", "difference")
        )
        signed = change if change.startswith("-") else f"+{change}"
        relative = unit == "dB" or "critical speeds" in str(each["observable"])
        rows.append(
            (
                str(each["observable"]),
                "" if relative else before,
                "" if relative else after,
                f"{signed} {unit}",
            )
        )
    return [
        *wrapped("What that change of the damper would show:"),
        *_table(rows),
        *wrapped("Twist is 0 to peak, out of gear; right to a factor of 2. Speeds are surer."),
    ]


def _number(value: float, unit: str) -> str:
    digits = {"Hz": 1, "rpm": 0, "%": 1, "deg": 3, "dB": 1}[unit]
    return f"{_no_minus(value, 0.5 * 10**-digits):.{digits}f}"


def _no_minus(value: float, nothing: float) -> float:
    """Return 0 for what would be written as -0."""
    return 0.0 if abs(value) < nothing else value


def _table(rows: Iterable[tuple[str, ...]]) -> list[str]:
    """Return rows as columns; where they are too wide, words on a line above their numbers."""
    found = list(rows)
    wide = [max(width(row[k]) for row in found) for k in range(len(found[0]))]
    narrow = sum(wide) + 2 * len(wide) + 2 > columns()
    lines = []
    for row in found:
        cells = "  ".join(cell(row[k], wide[k], ">") for k in range(1, len(row)))
        if narrow and row is found[0]:
            lines += wrapped(f"{row[0]}: {', '.join(row[1:])}", indent="  ")
        elif narrow:
            lines += wrapped(row[0], indent="  ")
            lines += wrapped(", ".join(filter(None, row[1:])), indent="    ")
        else:
            lines.append(f"  {cell(row[0], wide[0])}  {cells}".rstrip())
    return lines
