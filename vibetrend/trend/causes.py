"""Where to look first, from which orders moved: usual causes, never a diagnosis.

Common practice in the trade, no single source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from vibetrend.engine import Engine

HIGH_ORDER = 6.0  # from here on, beyond twice the firing order, a crankshaft's own twist can show


@dataclass(frozen=True)
class Pattern:
    """One way orders move together, and what usually causes it."""

    what: str
    first: str
    second: str
    check: str  # separates the two


ONCE = Pattern(
    "Order 1 goes once per turn",
    "run-out or imbalance of the damper, its ring or a pulley",
    "engine mounts that have softened or worked loose",
    "measure the run-out of rim and face again and compare it with the installation record",
)
TWICE = Pattern(
    "Order 2 goes twice per turn",
    "engine mounts or something bolted to the engine that has worked loose",
    "alignment or a coupling, if the shaft turns along",
    "check mounts and brackets by hand and torque with the engine stopped",
)
HALF = Pattern(
    "Half orders speak of cylinders that work unevenly",
    "injection (a nozzle, a leak, the timing of one cylinder)",
    "compression or valve clearance of one cylinder",
    "have the injectors tested; if they are good, compare the compression of all cylinders",
)
FIRING = Pattern(
    "The firing order carries what all cylinders do together",
    "engine mounts",
    "load or speed that differs from the baseline, or an exhaust that has worked loose",
    "look at the rubber of the mounts, and repeat with the same gear, load and temperature",
)
HIGH = Pattern(
    "High orders lie nearest to the crankshaft's own twist",
    "the damper, whose rubber or fluid has changed",
    "a speed that differs a little from the baseline's, which moves high orders too",
    "repeat at exactly the baseline's speed, and look at the damper's index marks",
)
OTHER = Pattern(
    "A single whole order has no one usual cause",
    "engine mounts, brackets or pipes that touch something",
    "a part that runs at that multiple of the crankshaft speed",
    "look for loose or touching parts and see whether the change stays with the phone elsewhere",
)
OVERALL = Pattern(
    "An overall level holds everything in its band",
    "a loose bracket, belt or panel",
    "another sound or vibration source nearby that was not running at the baseline",
    "repeat with everything else off",
)
FREQUENCY = Pattern(
    "A critical speed follows the stiffness of crankshaft and damper",
    "damper rubber that has hardened, softened or come loose",
    "another temperature: rubber softens by about half a per cent per degree C",
    "repeat the run-up after the same warm-up and look at the damper's index marks",
)


def patterns(moved: Sequence[tuple[str, float]], engine: Engine | None) -> list[Pattern]:
    """Return the patterns that features which moved belong to, strongest first, each once."""
    found = [_pattern(feature, order, engine) for feature, order in moved]
    return list(dict.fromkeys(found))


def _pattern(feature: str, order: float, engine: Engine | None) -> Pattern:
    kind, _, name = feature.partition(": ")
    if kind == "driven":
        return Pattern(
            f"The line {name} belongs to that driven part",
            f"the belt or bearings of {name}",
            f"the pulley or bracket of {name}",
            "check belt tension and pulley run-out, and turn the part by hand, engine stopped",
        )
    if kind in ("overall", "resonance"):
        return OVERALL if kind == "overall" else FREQUENCY
    firing = engine.firing_order_number if engine else None
    if firing and order == firing:
        return FIRING
    if order in (1.0, 2.0):
        return ONCE if order == 1 else TWICE
    if order > max(HIGH_ORDER, 2 * firing if firing else 0.0):
        return HIGH
    if order % 1:
        return HALF
    return FIRING if firing and order % firing == 0 else OTHER
