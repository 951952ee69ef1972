"""An engine in plain words: what it is, which orders to expect, where to record it."""

from collections.abc import Iterable

from vibetrend.cli.terminal import cell, columns, plain, titled, width, wrapped
from vibetrend.engine import Engine
from vibetrend.engine.expected import ExpectedOrder, expected_orders
from vibetrend.engine.firing import Firing, firing
from vibetrend.engine.limits import DIMENSIONS, NAMES, Limits
from vibetrend.engine.recording_speed import RecordingSpeed, conflict_words, recording_speed
from vibetrend.report.isolating import isolated

_NARROW = 60  # columns below which the words stand under their numbers
_BLIND = "At fast idle these orders say next to nothing of the damper's stiffness."
_SURFACES = ("rim", "face", "pulley")
_NO_TWIST = ("type", "renew_hours", "renew_years", "renew_source")  # of a damper
_ONLY_OF = {
    "rubber": ("mark_offset", "element_recess", "face_wobble"),
    "viscous": ("casing_spread", "casing_thickness", "fluid_viscosity_loss"),
}


def engine_words(engine: Engine) -> str:
    """Return what is known of an engine, what to expect of it and what is not known."""
    fired = firing(engine)
    return "\n".join(
        [
            *titled(isolated(engine.name)),
            *_described(engine, fired),
            "",
            *_orders(engine),
            "",
            *wrapped(speed_words(recording_speed(engine))),
            "",
            *_limits(engine),
        ]
    )


def speed_words(speed: RecordingSpeed) -> str:
    """Return at which speed to record, and what is wrong with the present one."""
    if speed.rpm is None or speed.present_rpm is None:
        return "Recording speed: state fast_idle_rpm to see whether it is clear of mains."
    wrong = "; ".join(conflict_words(speed.conflicts))
    if speed.governed:
        said = (
            f"Recording speed: a generator set is recorded at its governed speed, "
            f"{speed.rpm:g} rpm, unloaded, breaker open, with shore power off."
        )
        return f"{said} Mind: {wrong}. No other speed can be had." if wrong else said
    if not wrong:
        return (
            f"Recording speed: {speed.rpm:g} rpm is clear of mains, 50 and 60 Hz, and of half the "
            f"usual sampling rates."
        )
    said = f"Recording speed: at {speed.present_rpm:g} rpm {wrong}."
    if speed.rpm == speed.present_rpm:
        return f"{said} No speed near it is better, between idle and rated speed."
    left = "; ".join(conflict_words(speed.remaining))
    advice = f"{said} Better record at {speed.rpm:g} rpm"
    if left:
        return f"{advice}, the best there is near it, although {left}."
    return f"{advice}, clear of mains and of half the usual sampling rates."


def _described(engine: Engine, fired: Firing) -> list[str]:
    rows = [
        ("engine", _layout(engine)),
        ("fires", _fires(engine, fired)),
        ("speeds", _speeds(engine)),
        ("mounts", engine.mounts if engine.mounts != "unknown" else ""),
        *(("drives", each) for each in _drives(engine)),
        ("damper", _damper(engine)),
        ("twist", _twist(engine)),
        ("matters", _matters(engine)),
    ]
    return [
        line
        for name, text in rows
        if text
        for line in wrapped(text, indent=f"  {name:<9}", hanging=" " * 11)
    ]


def _layout(engine: Engine) -> str:
    cylinders = "1 cylinder" if engine.cylinders == 1 else f"{engine.cylinders} cylinders"
    strokes = "four-stroke" if engine.strokes == 4 else "two-stroke"
    if engine.layout == "inline":
        return f"{cylinders} in line, {strokes}"
    pins = {"shared": "shared crank pins", "split": "split crank pins", None: "pins not stated"}
    return (
        f"{cylinders} in a vee of {engine.bank_angle_deg:g} degrees, {strokes}, "
        + (pins[engine.pins])
    )


def _fires(engine: Engine, fired: Firing) -> str:
    order = "-".join(map(str, fired.sequence)) if engine.firing_order else "order not stated"
    intervals = (
        f"every {fired.intervals_deg[0]:.4g} degrees"
        if fired.even
        else "after " + ", ".join(f"{each:g}" for each in fired.intervals_deg) + " degrees"
    )
    return " ".join([f"{order}, {intervals}.", *fired.remarks])


def _speeds(engine: Engine) -> str:
    stated = (
        ("idle", engine.idle_rpm),
        ("fast idle", engine.fast_idle_rpm),
        ("rated", engine.rated_rpm),
    )
    said = [f"{name} {rpm:g}" for name, rpm in stated if rpm is not None]
    return f"{', '.join(said)} rpm" if said else "not stated"


def _drives(engine: Engine) -> Iterable[str]:
    if engine.generator is not None:
        yield (
            f"a generator of {engine.generator.poles} poles at {engine.generator.frequency_hz:g} "
            f"Hz: governed at {engine.generator.governed_rpm:g} rpm"
        )
    for part in engine.driven:
        pulleys = ""
        if part.crank_pulley_mm is not None and part.pulley_mm is not None:
            pulleys = f", pulleys {part.crank_pulley_mm:g} and {part.pulley_mm:g} mm"
        belt = "" if part.belt_length_mm is None else f", belt {part.belt_length_mm:g} mm"
        yield f"{part.name} at {part.ratio:.4g} times crank speed{pulleys}{belt}"


def _damper(engine: Engine) -> str:
    damper = engine.damper
    kind = "type not known" if damper.type == "unknown" else damper.type
    each = [
        *([] if damper.renew_hours is None else [f"{damper.renew_hours:g} hours"]),
        *([] if damper.renew_years is None else [f"{damper.renew_years:g} years"]),
    ]
    if not each:
        return f"{kind}; the maker's renewal interval is not known"
    source = f" ({damper.renew_source})" if damper.renew_source else ""
    first = ", whichever comes first" if len(each) > 1 else ""
    return f"{kind}; to be renewed after {' or '.join(each)}{first}{source}"


def _twist(engine: Engine) -> str:
    """Return what is stated of the crank for the model of its twist, and where to state more."""
    parts = (("crankshaft", engine.crankshaft), ("damper", engine.damper))
    stated = [
        f"{part}.{name}"
        for part, values in parts
        for name in type(values).model_fields
        if name not in _NO_TWIST and getattr(values, name) is not None
    ]
    if not stated:
        return (
            "nothing of crankshaft and ring is stated, so vibetrend crankshaft takes typical "
            "values; keys such as stroke_mm under [crankshaft] and ring_inertia_kg_m2 under "
            "[damper] replace them"
        )
    return f"{', '.join(stated)}; for what else vibetrend crankshaft needs, typical values stand in"


def _matters(engine: Engine) -> str:
    rise = (
        "6.02 dB, doubled: the program's own"
        if engine.limit_db is None
        else (f"{engine.limit_db:g} dB")
    )
    small = (
        ""
        if engine.small_velocity_mm_s is None
        else (f"; nothing below {engine.small_velocity_mm_s:g} mm/s rms")
    )
    return f"a rise of an order by {rise}{small}"


def _orders(engine: Engine) -> list[str]:
    rows = expected_orders(engine)
    rpm, order = engine.usual_rpm, engine.firing_order_number
    at = "state fast_idle_rpm to see its frequency"
    if rpm is not None:
        at = f"{order * rpm / 60:.1f} Hz at {rpm:g} rpm"
    twist = "the same in a linear twist of the crank, 1 at the flywheel's throw."
    if all(row.twist_sum is None for row in rows):
        twist = "not known without firing order and throws."
    return [
        *wrapped(f"Firing order {order:g}: {at}. Orders to expect:"),
        f"{'order':>7} {'Hz':>7} {'sum':>6} {'twist':>6}  {'':<6} "
        f"{'' if columns() < _NARROW else 'speaks of'}".rstrip(),
        *(line for row in rows for line in _row(row)),
        *wrapped(
            f"sum: how many of {engine.cylinders} equal cylinders add up, the rest cancel; "
            f"twist: {twist}"
        ),
        *wrapped("" if engine.generator else _BLIND),
    ]


def _row(row: ExpectedOrder) -> list[str]:
    hertz = "–" if row.frequency_hz is None else f"{row.frequency_hz:.1f}"
    sums = ["–" if each is None else f"{each:.2f}" for each in (row.phase_sum, row.twist_sum)]
    numbers = plain(f"{row.order:7.4g} {hertz:>7} {sums[0]:>6} {sums[1]:>6}  {row.role:<6} ")
    words = row.speaks_of if row.note is None else f"{row.speaks_of}; {row.note}"
    if columns() < _NARROW:
        return [numbers.rstrip(), *wrapped(words, indent=" " * 8, hanging=" " * 8)]
    return wrapped(words, indent=numbers, hanging=" " * len(numbers))


def _limits(engine: Engine) -> list[str]:
    stated = engine.limits.stated()
    rows = [(_name(path), limit.words, limit.source) for path, limit in stated.items()]
    lines = ["The maker's limits:"] if rows else ["The maker's limits: none is stated."]
    wide = min(max((width(name) for name, _, _ in rows), default=0), columns() // 2)
    for name, words, source in rows:
        first = f"  {cell(name, wide)}  "
        lines += wrapped(f"{words} ({source})", indent=first, hanging=" " * (wide + 4))
    missing = _missing(engine.limits, engine.damper.type)
    if missing:
        lines += wrapped(
            f"Not known: {', '.join(missing)}. Without the maker's figure nothing is judged there."
        )
    return lines


def _name(path: tuple[str, ...]) -> str:
    return " ".join([*path[1:], NAMES[path[0]]])


def _missing(limits: Limits, damper: str) -> list[str]:
    """Return the limits that are not stated and could be of such a damper."""
    foreign = [name for kind, names in _ONLY_OF.items() if kind != damper for name in names]
    skipped = foreign if damper in _ONLY_OF else []
    known = {surface.casefold() for surface in limits.runout}
    of_runout = [_name(("runout", each)) for each in _SURFACES if each not in known]
    return of_runout + [
        NAMES[name]
        for name in DIMENSIONS
        if name != "runout" and name not in skipped and getattr(limits, name) is None
    ]
